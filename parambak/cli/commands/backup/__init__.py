"""The commands of `backup`."""
