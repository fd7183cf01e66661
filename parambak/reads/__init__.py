"""Reads: whether what came off a chip can be what the chip holds."""
