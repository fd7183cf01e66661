"""The commands of `place`."""
