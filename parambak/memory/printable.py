"""Foreign text made safe to show: characters that move or hide text are spelled out."""

from __future__ import annotations

import unicodedata

# Categories of characters that a terminal obeys instead of showing, or hides: control,
# format (bidirectional ones are in it), surrogate, private, unassigned, separators of lines.
_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def hidden(text: str) -> bool:
    """Return whether any character of `text` would be obeyed or hidden, not shown."""
    return not text.isprintable() and any(unicodedata.category(char) in _HIDDEN for char in text)


def printable(text: str | bytes) -> str:
    r"""Return the text, each control, format and bidirectional character as `\u{202E}`.

    Of bytes, all that is not plain ASCII is spelled out.
    """
    if isinstance(text, bytes):
        return "".join(chr(value) if 0x20 <= value < 0x7F else _spelled(value) for value in text)
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        _spelled(ord(char)) if unicodedata.category(char) in _HIDDEN else char for char in text
    )


def _spelled(number: int) -> str:
    return f"\\u{{{number:04X}}}"
