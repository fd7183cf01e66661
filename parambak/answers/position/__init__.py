"""The questions about a position: one is put on record."""
