"""What is in records/, kept at hand so that no command reads all of it."""
