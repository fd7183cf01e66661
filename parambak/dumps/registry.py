"""The formats by name: which one a file is in, and reading and writing by its name.

A new format is one module with its `FORMAT`, and one place in `FORMATS`.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from msgspec.structs import replace

from parambak.dumps import intel_hex, raw, s_record
from parambak.dumps.dump import LOOKS_OTHERWISE, Dump, Style, Terms
from parambak.dumps.faults import (
    DUMP_FORMAT_DIFFERS,
    DUMP_NAME_DIFFERS,
    DUMP_NO_SUCH_FORMAT,
    DUMP_OTHER_FILE,
)
from parambak.dumps.format import Format, Look
from parambak.dumps.other_files import other_file
from parambak.dumps.text import BYTE_ORDER_MARKS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.memory.image import Image

_LOOKED_AT: Final = 1 << 16
"""How much of the file is searched for a record among other text."""


def look(data: bytes) -> Look | None:
    """Return what other format the content looks like, None where it may be a chip's bytes.

    A record, or the greater part of one, at the start of a line betrays a text format even
    where the rest is damaged; so does one in UTF-16.
    """
    kind = other_file(data)
    if kind is not None:
        return Look(kind, offset=0, no_dump=True)
    head = data[:_LOOKED_AT]
    if head.startswith(tuple(BYTE_ORDER_MARKS)) or 0 in head[:2]:
        plain = head.replace(b"\x00", b"")
        for mark in BYTE_ORDER_MARKS:
            plain = plain.removeprefix(mark)
        if _format_begun(plain) is not None:
            return Look("records in UTF-16 or after a byte-order mark", line=1, offset=0)
    for form in FORMATS.values():
        trace = form.trace.search(head.replace(b"\r", b"\n")) if form.trace else None
        if trace:
            before = head[: trace.start()]
            line = 1 + (before.count(b"\n") or before.count(b"\r"))
            return Look(form.contents, line=line, offset=trace.start())
        if form.trace is None and form.begins is not None and form.begins(head):
            return Look(form.contents, offset=0)
    return None


FORMATS: Final[Mapping[str, Format]] = MappingProxyType(
    {form.name: form for form in (intel_hex.FORMAT, s_record.FORMAT, raw.format_with(look))}
)
"""Every format, by the name that options, profiles and records use."""


def detect(name: str, data: bytes) -> str:
    """Return the format of a file by its name where that says it, else by its content.

    By content: the format as whose files it begins, else raw. Raise DumpRefused where name and
    content say different formats.
    """
    begun = _format_begun(data)
    ending = name.rpartition(".")[2].lower() if "." in name else ""
    named = next((form.name for form in FORMATS.values() if ending in form.endings), None)
    if named is None:
        return begun or raw.NAME
    if begun not in (None, named):
        raise DUMP_NAME_DIFFERS.error(expected=f"{named}, by the name", found=begun)
    return named


def _format_begun(data: bytes) -> str | None:
    """Return the name of the format as whose files the content begins."""
    forms = (form for form in FORMATS.values() if form.begins is not None and form.begins(data))
    return next((form.name for form in forms), None)


def read_dump(
    name: str,
    data: bytes,
    *,
    format: str | None = None,  # noqa: A002 - the word that the contract uses
    usual: str | None = None,
    terms: Terms = Terms(),  # noqa: B008 - Terms is immutable
) -> Dump:
    """Return the dump in `data`, the content of a file called `name`.

    `format` declares it; a dump declared raw may look like another format. `usual` is the format
    of this reader's files, which declares nothing of this file. A text format that fails to
    parse is refused, and never tried as raw.
    """
    if format == raw.NAME:
        terms = replace(terms, accepted=terms.accepted | {LOOKS_OTHERWISE})
    form = format_named(format or usual or detect(name, data))
    if form.parser is not None:
        _refuse_other_content(form, data)
    return form.read(data, terms=terms)


def _refuse_other_content(form: Format, data: bytes) -> None:
    """Refuse a file for a text format that begins as no dump does, or as another format's."""
    kind = other_file(data)
    if kind is not None:
        raise DUMP_OTHER_FILE.error(offset=0, expected=form.contents, found=kind)
    begun = _format_begun(data)
    if begun not in (None, form.name):
        raise DUMP_FORMAT_DIFFERS.error(expected=form.name, found=begun, format=begun)


def write_dump(
    image: Image,
    format: str,  # noqa: A002 - the word that the contract uses
    style: Style = Style(),  # noqa: B008 - Style is immutable
) -> bytes:
    """Return `image` as a file in the format of that name."""
    return format_named(format).write(image, style=style)


def format_named(name: str) -> Format:
    """Return the format of that name; raise CallRefused where there is none."""
    if name not in FORMATS:
        raise DUMP_NO_SUCH_FORMAT.error(expected=", ".join(FORMATS), found=name)
    return FORMATS[name]
