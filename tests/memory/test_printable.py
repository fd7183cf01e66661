"""Foreign text on a screen: one spelling for every character that would move or hide something."""

from __future__ import annotations

import pytest

from parambak.memory.printable import hidden, printable


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain text", "plain text"),
        ("two\nlines", "two\\u{000A}lines"),
        ("\x1b[2J", "\\u{001B}[2J"),
        ("a\u202eb", "a\\u{202E}b"),
        ("\ud800", "\\u{D800}"),
        ("\U000e0001", "\\u{E0001}"),
        ("Zähler µ Ж 温", "Zähler µ Ж 温"),
        ("no\u00a0break", "no\u00a0break"),
    ],
)
def test_what_moves_or_hides_is_spelled_out(text: str, shown: str) -> None:
    """Letters of every script stay, spaces too; the rest has one spelling."""
    assert printable(text) == shown
    assert hidden(text) == (text != shown)


def test_of_bytes_all_but_plain_ascii_is_spelled_out() -> None:
    """What a byte of a dump file means is not known: it is never shown as a letter."""
    assert printable(b"S1 ~\x7f\x1a\xff") == "S1 ~\\u{007F}\\u{001A}\\u{00FF}"
