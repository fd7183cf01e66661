"""What the archive knows: vessels, units, reads, copies, and which copies are verified."""
