"""The questions of second places: added, sent to, listed, given up."""
