"""Storage: objects, records and the index of a vault. Begin at vault.py; formats/vault.md."""
