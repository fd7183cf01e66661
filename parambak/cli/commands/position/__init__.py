"""The commands of `position`."""
