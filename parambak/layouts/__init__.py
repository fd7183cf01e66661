"""The layout language: what the bytes of an image mean, as a user describes it.

Read `model.py` first (the tables and keys of the language), then `field_types.py` (each type,
from its word to its bytes), `load.py` (a file's text becomes a Layout, or a list of
mistakes), `slots.py` (every field at its address) and `decode.py` (a Layout and an Image
become values). `formats/field-layout.md` is the specification.
"""
