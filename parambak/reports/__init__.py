"""Printable pages: of a copy, a visit and a swap, each one HTML file that needs no other."""
