"""Everything hashed again, and a vault made anew from what survived."""
