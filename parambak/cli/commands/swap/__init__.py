"""The commands of `swap`."""
