"""What is asked of a layout file, and where a layout may be found."""
