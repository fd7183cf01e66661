"""The layout language: what the bytes of an image mean, as a user describes it.

Read `model.py` first (the words of the language), then `load.py` (a file's text
becomes a Layout, or a list of mistakes), `places.py` (every field where it stands)
and `decode.py` (a Layout and an Image become values). `formats/field-layout.md`
is the specification.
"""
