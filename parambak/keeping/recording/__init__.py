"""What is put on record, and whether it may be."""
