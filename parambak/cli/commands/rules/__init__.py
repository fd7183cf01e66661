"""The commands of `rules`."""
