"""A number with its noun."""

from __future__ import annotations

import pytest

from parambak.memory.counted import counted, either


@pytest.mark.parametrize(
    ("number", "words", "said"),
    [
        (0, ("byte",), "0 bytes"),
        (1, ("byte",), "1 byte"),
        (2, ("byte",), "2 bytes"),
        (1, ("entry", "entries"), "1 entry"),
        (2, ("entry", "entries"), "2 entries"),
    ],
)
def test_one_is_said_in_the_singular(number: int, words: tuple[str, ...], said: str) -> None:
    """And no other number is."""
    assert counted(number, *words) == said


def test_a_choice_reads_as_a_sentence() -> None:
    """One word, two, or more."""
    assert [either(("a",)), either(("a", "b")), either(("a", "b", "c"))] == [
        "a",
        "a or b",
        "a, b or c",
    ]
