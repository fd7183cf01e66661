"""The commands of `visit`."""
