"""The commands of `report`."""
