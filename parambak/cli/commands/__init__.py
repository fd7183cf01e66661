"""One module a command, in folders named as its group: words in, lines out."""
