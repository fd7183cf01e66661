"""The commands of `location`."""
