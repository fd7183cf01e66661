"""Raw dumps: the chip's bytes and nothing else, the first at the base address.

`formats/raw.md` specifies it, with the refusals and notes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from parambak.dumps import faults
from parambak.dumps.dump import LOOKS_OTHERWISE, Dump, Style, Terms
from parambak.dumps.format import Format
from parambak.dumps.limits import MAX_IMAGE
from parambak.dumps.placing import shown
from parambak.dumps.text import check_size, check_terms
from parambak.memory.counted import counted
from parambak.memory.findings import Finding
from parambak.memory.image import Image

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.dumps.format import Look

NAME: Final = "raw"


def format_with(look: Callable[[bytes], Look | None]) -> Format:
    """Return the format; `look` returns which other format a content looks like."""

    def read_raw(data: bytes, *, terms: Terms = Terms()) -> Dump:  # noqa: B008 - Terms is immutable
        return read(data, look, terms=terms)

    return Format(
        name=NAME,
        label="raw",
        endings=(),
        contents="a chip's bytes",
        read=read_raw,
        write=write,
        judge=lambda _data, _dump: "a raw dump is its own bytes: there is nothing to decode",
        has_addresses=False,
    )


def read(
    data: bytes,
    look: Callable[[bytes], Look | None],
    *,
    terms: Terms = Terms(),  # noqa: B008 - Terms is immutable
) -> Dump:
    """Return `data` as the image that begins at `terms.base`.

    `look` returns which other format a content looks like. Raise DumpRefused for
    everything that `formats/raw.md` refuses.
    """
    check_size(data)
    check_terms(terms)
    if not data:
        raise faults.RAW_EMPTY.error(expected="the chip's bytes", found="0 bytes")
    findings = _looks_otherwise(look(data), terms)
    if terms.memory_size is not None and len(data) != terms.memory_size:
        raise faults.RAW_SIZE.error(
            expected=f"{terms.memory_size} bytes", found=counted(len(data), "byte")
        )
    if len(data) % terms.word_bytes:
        raise faults.RAW_ODD_SIZE.error(
            expected=f"a multiple of {terms.word_bytes} bytes", found=f"{len(data)} bytes"
        )
    if len(data) > MAX_IMAGE:
        raise faults.RAW_TOO_MANY_BYTES.error(
            expected=f"at most {MAX_IMAGE} bytes", found=f"{len(data)} bytes"
        )
    return Dump(NAME, Image.of(data, terms.base), tuple(findings))


def _looks_otherwise(other: Look | None, terms: Terms) -> list[Finding]:
    if other is None:
        return []
    if not terms.allows(LOOKS_OTHERWISE):
        fault = faults.DUMP_OTHER_FILE if other.no_dump else faults.RAW_LOOKS_OTHERWISE
        raise fault.error(
            line=other.line, offset=other.offset, expected="a chip's bytes", found=other.what
        )
    text = f"allowed: taken as raw, though it looks like {other.what}"
    return [Finding("raw-looks-otherwise-accepted", text, line=other.line, offset=other.offset)]


def write(image: Image, *, style: Style = Style()) -> bytes:  # noqa: B008 - Style is immutable
    """Return the bytes from address `style.base` to the image's end.

    Addresses are the offsets in the file, counted from the base. Absent bytes, those
    between the base and the image's start among them, are `style.fill`; without one they
    are refused. Raise CallRefused too where the image begins below the base.
    """
    if not image.size:
        raise faults.DUMP_NOTHING_TO_WRITE.error(expected="at least one byte", found="none")
    if style.header or style.record_length is not None or style.address_width is not None:
        raise faults.DUMP_STYLE.error(expected="bytes alone", found="options of a text format")
    if image.start < style.base:
        raise faults.DUMP_STYLE.error(
            expected=f"no address below the base {shown(style.base)}", found=shown(image.start)
        )
    length = image.end - style.base
    if length > MAX_IMAGE:
        raise faults.DUMP_STYLE.error(
            expected=f"at most {MAX_IMAGE} bytes from the base", found=f"{length} bytes"
        )
    if style.fill is None:
        if image.size != length:
            raise faults.RAW_GAPS.error(
                offset=_first_absent(image, style.base),
                expected=f"{length} bytes from {shown(style.base)}",
                found=f"{image.size}",
            )
        return image.content
    if not 0 <= style.fill <= 0xFF:
        raise faults.DUMP_STYLE.error(expected="a fill of 0 to 255", found=str(style.fill))
    return image.filled(style.base, image.end, style.fill)


def _first_absent(image: Image, base: int) -> int:
    first = image.blocks[0]
    return first.end if first.start == base else base
