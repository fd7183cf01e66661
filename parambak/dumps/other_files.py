"""Files that are no dumps, by their first bytes: a document or a photo named by mistake."""

from __future__ import annotations

from typing import Final

FIRST_BYTES: Final = (
    ("PDF", "25 50 44 46 2D"),
    ("JPEG", "FF D8 FF"),
    ("PNG", "89 50 4E 47 0D 0A 1A 0A"),
    ("GIF", "47 49 46 38"),
    ("WebP", "52 49 46 46 .. .. .. .. 57 45 42 50"),
    ("HEIC or MP4", ".. .. .. .. 66 74 79 70"),
    ("TIFF", "49 49 2A 00"),
    ("TIFF", "4D 4D 00 2A"),
    ("BMP", "42 4D .. .. .. .. 00 00 00 00"),
    ("ZIP", "50 4B 03 04"),
    ("ZIP", "50 4B 05 06"),
    ("ZIP", "50 4B 07 08"),
    ("gzip", "1F 8B 08"),
    ("7z", "37 7A BC AF 27 1C"),
    ("RAR", "52 61 72 21 1A 07"),
    ("OLE", "D0 CF 11 E0 A1 B1 1A E1"),
    ("ELF", "7F 45 4C 46"),
    ("Windows program", "4D 5A 90 00 03 00"),
)
"""Each kind with its first bytes in hexadecimal, `..` for any byte (`formats/raw.md`)."""


def other_file(data: bytes) -> str | None:
    """Return the kind of file that the content begins as, None if it may be a dump."""
    return next((kind for kind, first in FIRST_BYTES if _begins(data, first.split())), None)


def _begins(data: bytes, first: list[str]) -> bool:
    """Return whether the content begins with these bytes."""
    begin = data[: len(first)]
    return len(begin) == len(first) and all(
        expected in {"..", f"{byte:02X}"} for byte, expected in zip(begin, first, strict=True)
    )
