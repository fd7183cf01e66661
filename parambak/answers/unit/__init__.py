"""The questions about a unit: one is put on record."""
