"""The documents that are made from the program itself: what it says cannot drift from what it does.

`python -m documents` writes them; with `--check` it only shows which differ.
"""
