"""What the writers of the text formats share."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.dumps.faults import DUMP_NOTHING_TO_WRITE, DUMP_STYLE

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from parambak.dumps.dump import Style
    from parambak.memory.image import Image

_SEGMENT = 0x1_0000
_LONGEST_HEADER = 252
_LINE_ENDS = (b"\n", b"\r\n", b"\r")


class Width(NamedTuple):
    """What an address width allows: addresses below `end`, `longest` data bytes in a record."""

    end: int
    longest: int


def check_style(
    image: Image, style: Style, widths: Mapping[int, Width], name: str, *, header: bool = False
) -> int:
    """Return the address width to write with, in bits; refuse what does not fit the image.

    `widths` are those of the format, by their bits, the one to prefer first; `header` says
    whether it has a header.
    """
    if not image.size:
        raise DUMP_NOTHING_TO_WRITE.error(expected="at least one byte", found="none")
    if style.line_end not in _LINE_ENDS:
        raise DUMP_STYLE.error(expected="LF, CR LF or CR", found=repr(style.line_end))
    if style.fill is not None or style.base:
        raise DUMP_STYLE.error(expected="fill and base for raw only", found=name)
    if style.header and not header:
        raise DUMP_STYLE.error(expected="a header in S-records only", found=name)
    if len(style.header) > _LONGEST_HEADER:
        raise DUMP_STYLE.error(
            expected=f"a header of at most {_LONGEST_HEADER} bytes", found=str(len(style.header))
        )
    width = style.address_width
    if width is None:
        width = next((bits for bits in widths if image.end <= widths[bits].end), 32)
    if width not in widths:
        raise DUMP_STYLE.error(
            expected=f"an address width of {', '.join(map(str, widths))} bits", found=str(width)
        )
    if image.end > widths[width].end:
        raise DUMP_STYLE.error(
            expected=f"addresses under 0x{widths[width].end:X} for {width} bits",
            found=f"0x{image.end - 1:X}",
        )
    most = widths[width].longest
    if style.record_length is not None and not 1 <= style.record_length <= most:
        raise DUMP_STYLE.error(
            expected=f"a record length of 1 to {most}", found=str(style.record_length)
        )
    return width


def pieces(image: Image, length: int) -> Iterator[tuple[int, bytes]]:
    """Yield the image in pieces of at most `length` bytes, none across a 64 KiB boundary."""
    for block in image.blocks:
        at = 0
        while at < len(block.data):
            address = block.start + at
            step = min(length, _SEGMENT - address % _SEGMENT)
            yield address, block.data[at : at + step]
            at += step
