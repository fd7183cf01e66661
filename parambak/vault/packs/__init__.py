"""Whole vessels as one file: written, read strictly, salvaged."""
