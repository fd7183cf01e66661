"""What each type of the layout language is: its family and its length."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Mapping

Family = Literal[
    "integer", "float", "bcd", "sign-magnitude", "gray", "bits", "text", "date-time", "bytes"
]


class TypeWord(NamedTuple):
    """A type: its family, its length in bytes (None: the field says it), the longest length."""

    family: Family
    length: int | None
    longest: int
    signed: bool = False


def _integers() -> dict[str, TypeWord]:
    made = {}
    for bits in range(8, 72, 8):
        made[f"u{bits}"] = TypeWord("integer", bits // 8, bits // 8)
        made[f"s{bits}"] = TypeWord("integer", bits // 8, bits // 8, signed=True)
    return made


TYPES: Mapping[str, TypeWord] = MappingProxyType(
    {
        **_integers(),
        "f16": TypeWord("float", 2, 2, signed=True),
        "f32": TypeWord("float", 4, 4, signed=True),
        "f64": TypeWord("float", 8, 8, signed=True),
        "mbf32": TypeWord("float", 4, 4, signed=True),
        "mbf40": TypeWord("float", 5, 5, signed=True),
        "mbf64": TypeWord("float", 8, 8, signed=True),
        "ibm32": TypeWord("float", 4, 4, signed=True),
        "ibm64": TypeWord("float", 8, 8, signed=True),
        "ffp32": TypeWord("float", 4, 4, signed=True),
        "bcd": TypeWord("bcd", None, 16),
        "sign-magnitude": TypeWord("sign-magnitude", None, 8, signed=True),
        "gray": TypeWord("gray", None, 8),
        "flag": TypeWord("bits", None, 8),
        "bits": TypeWord("bits", None, 8),
        "text": TypeWord("text", None, 4096),
        "date-time": TypeWord("date-time", None, 16),
        "bytes": TypeWord("bytes", None, 16 * 1024 * 1024),
    }
)


def stored_number(text: str) -> int:
    """Return the number that a key of `meaning` writes: decimal, or hexadecimal with 0x."""
    return int(text, 16 if "x" in text else 10)
