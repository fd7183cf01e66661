"""The commands of `vessel`."""
