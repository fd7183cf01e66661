"""The commands of `unit`."""
