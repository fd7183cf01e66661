"""What the records say now: worked out at each call, never stored."""
