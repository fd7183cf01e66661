"""Finding a layout: where the values that a panel shows may be stored.

Read `panel_values.py` first (what a panel or print-out shows, from a text file), then
`forms.py` and `encodings.py` (each value in every form that the language has), `chance.py`
(how likely a form occurs at an address by chance), `hits.py` (where it occurs),
`neighbours.py` and `ranking.py` (what to believe), `checks.py` (stored check values) and
`draft.py` (a layout for a person to confirm). `search.py` puts them together.
`formats/layout-find.md` is the specification.
"""
