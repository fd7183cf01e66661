"""Dumps: the files that readers write, read strictly and written plainly.

Start with `registry.py`, the table of the formats; each is one record of `format.py`, at the
end of its own module: `intel_hex.py`, `s_record.py`, `raw.py`. `records.py` reads what the text
formats share; `second_opinion.py` has a dump decoded by unrelated code; `profile.py` has how
one reader's files are to be read.
"""
