"""Where two images differ, byte by byte and field by field."""
