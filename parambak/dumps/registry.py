"""The formats by name: which one a file is in, and reading and writing by its name."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, Protocol, cast

from parambak.dumps import intel_hex, raw, s_record
from parambak.dumps.dump import LOOKS_OTHERWISE, Dump, Style, Terms
from parambak.dumps.faults import DUMP_NAME_DIFFERS, DUMP_NO_SUCH_FORMAT
from parambak.dumps.looks import first_record, signature

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.memory.image import Image


class Format(Protocol):
    """What each format's module offers."""

    def read(self, data: bytes, *, terms: Terms = ...) -> Dump:
        """Return the dump that a whole file stands for, or raise DumpRefused."""

    def write(self, image: Image, *, style: Style = ...) -> bytes:
        """Return a whole file that stands for the image, or raise CallRefused."""


FORMATS: Final[Mapping[str, Format]] = MappingProxyType(
    {
        "intel-hex": cast("Format", intel_hex),
        "s-record": cast("Format", s_record),
        "raw": cast("Format", raw),
    }
)
"""Every format, by the name that scripts use."""

_SUFFIXES: Final = {
    "hex": "intel-hex",
    "ihx": "intel-hex",
    "ihex": "intel-hex",
    "s19": "s-record",
    "s28": "s-record",
    "s37": "s-record",
    "srec": "s-record",
    "mot": "s-record",
}


def detect(name: str, data: bytes) -> str:
    """Return the format of a file by its name where that says it, else by its content.

    By content: the first line that is not blank has a record's whole shape, else raw.
    Raise DumpRefused where name and content say different formats.
    """
    seen = first_record(data)
    named = _SUFFIXES.get(name.rpartition(".")[2].lower()) if "." in name else None
    if named is None:
        return seen or "raw"
    other = signature(data) or (seen if seen != named else None)
    if other is not None:
        raise DUMP_NAME_DIFFERS.error(expected=f"{named}, as the name says", found=other)
    return named


def read_dump(
    name: str,
    data: bytes,
    *,
    format: str | None = None,  # noqa: A002 - the word that the contract uses
    terms: Terms = Terms(),  # noqa: B008 - Terms is immutable
) -> Dump:
    """Return the dump in `data`, the content of a file called `name`.

    `format` declares it; a dump declared raw may look like another format. A text format
    that fails to parse is refused, and never tried as raw.
    """
    if format == raw.NAME:
        terms = replace(terms, accepted=terms.accepted | {LOOKS_OTHERWISE})
    return _format(detect(name, data) if format is None else format).read(data, terms=terms)


def write_dump(
    image: Image,
    format: str,  # noqa: A002 - the word that the contract uses
    style: Style = Style(),  # noqa: B008 - Style is immutable
) -> bytes:
    """Return `image` as a file in the format of that name."""
    return _format(format).write(image, style=style)


def _format(name: str) -> Format:
    if name not in FORMATS:
        raise DUMP_NO_SUCH_FORMAT.error(expected=", ".join(FORMATS), found=name)
    return FORMATS[name]
