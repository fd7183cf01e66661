"""What a chip holds: bytes at addresses, their digests, and how two of them relate."""
