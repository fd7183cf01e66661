"""Dumps: the files that readers write, read strictly and written plainly.

Start with `registry.py`; `intel_hex.py`, `s_record.py` and `raw.py` have the same two
names, `read` and `write`; `second_opinion.py` has a dump decoded by unrelated code.
"""
