"""A document written piece by piece reads as one dumped whole."""

from __future__ import annotations

import json

from parambak.cli.written import Listed, pieces


def test_a_listed_document_is_the_one_that_json_writes() -> None:
    """To the byte: with entries, without any, and next to members of every other sort."""
    entries = [{"a": [1, {"b": "line\nline"}], "c": None}, {}, [], "é"]
    made = {"one": "x", "many": Listed(lambda: iter(entries)), "none": Listed(list), "last": [[1]]}
    plain = {"one": "x", "many": entries, "none": [], "last": [[1]]}
    assert "".join(pieces(made)) == json.dumps(plain, ensure_ascii=True, indent=2)
    assert "".join(pieces(plain)) == json.dumps(plain, ensure_ascii=True, indent=2)
