"""Whether an address line changes anything: the image against itself, a power of two apart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.memory.image import Image

_NARROW: Final[dict[int, Literal["B", "H", "I", "Q"]]] = {1: "B", 2: "H", 4: "I", 8: "Q"}
_PIECE: Final = 65536


class Window(NamedTuple):
    """What address lines are judged on: bytes from the address at which all lines are low.

    `held` marks by 01 the bytes that are present, None where all are. `dull` are the values
    that tell nothing by repeating: 00, FF and the whole image's commonest.
    """

    data: bytes
    held: bytes | None
    dull: bytes


def window(image: Image, start: int, dull: bytes) -> Window:
    """Return the image as a window that begins at `start`, at or below its first byte."""
    if len(image.blocks) == 1 and image.start == start:
        return Window(image.blocks[0].data, None, dull)
    held = bytearray(image.end - start)
    for block in image.blocks:
        held[block.start - start : block.end - start] = b"\x01" * len(block.data)
    return Window(image.filled(start, image.end, 0), bytes(held), dull)


def repeating(seen: Window, step: int) -> int:
    """Return how many telling bytes have an equal partner `step` higher; 0 where one differs.

    Partners are two bytes present whose places differ in the bit `step` alone.
    """
    count = 0
    for low, high in _pairs(seen, step):
        if low != high:
            return 0
        count += len(low.translate(None, seen.dull))
    return count


def _pairs(seen: Window, step: int) -> Iterator[tuple[bytes, bytes]]:
    """Yield stretches of bytes with the line low, and their partners; what lacks one is 00."""
    if seen.held is None:
        yield from _halves(seen.data, step)
        return
    held = _halves(seen.held, step)
    for (low, high), (low_held, high_held) in zip(_halves(seen.data, step), held, strict=True):
        if low_held == high_held:
            yield low, high
            continue
        present = _and(low_held, high_held).replace(b"\x01", b"\xff")
        yield _and(low, present), _and(high, present)


def _and(one: bytes, other: bytes) -> bytes:
    both = int.from_bytes(one, "little") & int.from_bytes(other, "little")
    return both.to_bytes(len(one), "little")


def _halves(data: bytes, step: int) -> Iterator[tuple[bytes, bytes]]:
    """Yield the bytes whose address bit `step` is low, and those where it is high.

    A last piece without a full partner is cut to what has one.
    """
    if step in _NARROW:
        for at in range(0, len(data), _PIECE):
            piece = data[at : at + _PIECE]
            whole = len(piece) // (2 * step) * (2 * step)
            cells = memoryview(piece[:whole]).cast(_NARROW[step])
            yield cells[0::2].tobytes(), cells[1::2].tobytes()
            yield from _last(piece[whole:], step)
        return
    for at in range(0, len(data), 2 * step):
        yield from _last(data[at : at + 2 * step], step)


def _last(piece: bytes, step: int) -> Iterator[tuple[bytes, bytes]]:
    high = piece[step:]
    if high:
        yield piece[: len(high)], high
