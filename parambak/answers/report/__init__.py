"""Printable pages, written to a file."""
