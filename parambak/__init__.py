"""Parambak: keeps, verifies and compares the parameter memories of ships' control units."""

__version__ = "0.1.0"
