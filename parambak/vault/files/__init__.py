"""The disk: every read and write of a file, locks, flushes."""
