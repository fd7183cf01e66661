"""The commands of `card`."""
