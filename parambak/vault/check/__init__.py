"""Everything hashed again, and a vault made again from what survived."""
