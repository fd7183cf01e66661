"""The commands of `layout`."""
