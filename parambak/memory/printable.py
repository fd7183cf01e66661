"""Foreign text made safe to show: what moves or hides text is spelled out."""

from __future__ import annotations

import unicodedata

_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def printable(text: str) -> str:
    """Return the text with control, format and bidirectional characters spelled out."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        f"\\u{{{ord(each):04X}}}" if unicodedata.category(each) in _HIDDEN else each
        for each in text
    )
