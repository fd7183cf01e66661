"""The documents that are made from the program itself: the text cannot drift from the program.

`python -m documents` writes them; with `--check` it only shows which differ.
"""
