"""The questions about a visit: it is opened, and closed."""
