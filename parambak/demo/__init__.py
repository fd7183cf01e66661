"""An invented scenario: files as a reader would write them, and what a user would type."""
