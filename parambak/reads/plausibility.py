"""Whether an image can be what its chip holds, or shows a bad read.

The text of a suspicion gives its evidence. A suspicion that is normal for the memory is lifted,
and stays visible; a blank or constant image is never lifted.

The thresholds, and why (false alarms are counted by `tests/reads/`):

- an address line is suspected only if at least `_TELLING` bytes that are neither 00, FF
  nor the image's commonest each have an equal partner: two blank halves are equal too, and
  prove nothing. With random bytes that happens once in 2 ** 64 images.
- a data line is suspected only if at least `_STEADY` bytes that are neither 00, FF nor
  the commonest, of at least `_VALUES` values, never change it: by chance once in 2 ** 28.
- an image of at most `_FEW_VALUES` values, of which `_STEADY` bytes or more are not the
  commonest, is suspected if at least `_MOST_LINES` data lines never change.
- two lines are taken for shorted only if `_SHORTED` different bytes agree.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal, NamedTuple

from msgspec import Struct

from parambak.memory.findings import Finding
from parambak.memory.image import Image, Range
from parambak.memory.relations import filling

if TYPE_CHECKING:
    from collections.abc import Iterator

_TELLING: Final = 8
_VALUES: Final = 8
_FEW: Final = 3
_STEADY: Final = 32
_SHORTED: Final = 32
_FEW_VALUES: Final = 4
_MOST_LINES: Final = 5
_SAMPLE: Final = 4096  # bytes of which the commonest is taken for the filling
_WINDOW: Final = 16 * 1024 * 1024
"""Bytes over which address lines are judged."""

_NARROW: Final[dict[int, Literal["B", "H", "I", "Q"]]] = {1: "B", 2: "H", 4: "I", 8: "Q"}
_PIECE: Final = 65536


class Normal(Struct, frozen=True):
    """What is normal for a memory, by its layout or by a remark with name and reason.

    `mirrored`: the upper half of the memory repeats the lower. `blocks`: (start, start of
    the duplicate, length) of each block that the layout declares mirrored; a repeat that these
    alone explain is lifted. `seven_bit`: data line D7 stays low. `constant_line`: any line may.
    """

    mirrored: bool = False
    blocks: tuple[tuple[int, int, int], ...] = ()
    seven_bit: bool = False
    constant_line: bool = False


class Suspicion(Struct, frozen=True):
    """A finding against an image: `fatal` if nothing can lift it, `lifted` if it is normal.

    `subject` is what it is about, such as "A8" or "D7 low". If findings of two images have one
    code and one subject, the images show the same peculiarity.
    """

    finding: Finding
    fatal: bool = False
    lifted: bool = False
    subject: str = ""

    @property
    def stands(self) -> bool:
        """Return whether the finding counts against the image."""
        return self.fatal or not self.lifted


def judge(
    image: Image,
    *,
    memory_size: int | None = None,
    base: int = 0,
    left_out: int | None = None,
    normal: Normal = Normal(),  # noqa: B008 - Normal is immutable
) -> tuple[Suspicion, ...]:
    """Return every suspicion against `image`, read from a memory of `memory_size` bytes.

    `base` is the address of the memory's first byte; `left_out` the value of the bytes
    that the reader leaves out of its files, by its profile.
    """
    if not image.size:
        return ()
    single = _of_one_value(image.content)
    size = tuple(_size(image, memory_size, base, left_out))
    if single is not None:
        return (single, *size)
    fill = filling(image.content, _SAMPLE)
    of_chip = image if memory_size is None else image.part(base, base + memory_size)
    return (
        *size,
        *_address_lines(of_chip, base, fill, normal),
        *_data_lines(image.content, fill, normal),
    )


def _of_one_value(content: bytes) -> Suspicion | None:
    if content.count(content[:1]) != len(content):
        return None
    value = content[0]
    if value in (0x00, 0xFF):
        text = (
            f"every byte is {value:02X}: the chip is blank, was not seated, or was not "
            "powered while it was read"
        )
        return Suspicion(Finding("read-blank", text), fatal=True)
    text = f"every byte is {value:02X}: no parameter memory holds one value throughout"
    return Suspicion(Finding("read-constant", text), fatal=True)


def _size(
    image: Image, memory_size: int | None, base: int, left_out: int | None
) -> Iterator[Suspicion]:
    if memory_size is None:
        return
    end = base + memory_size
    if image.start < base or image.end > end:
        yield Suspicion(_past_the_chip(image, memory_size, base), fatal=True)
        return
    absent = memory_size - image.size
    if absent:
        text = f"the dump holds {image.size} of the memory's {memory_size} bytes: {absent} absent"
        if left_out is not None:
            text += f", because the reader leaves out bytes that are {left_out:02X}"
        yield Suspicion(Finding("read-size", text), lifted=left_out is not None)


def _past_the_chip(image: Image, memory_size: int, base: int) -> Finding:
    chip = image.part(base, base + memory_size)
    more = image.part(base + memory_size, image.end)
    if more.size and image.start >= base and _repeat_of(chip, more, memory_size):
        text = (
            f"the dump runs past the end of the {memory_size}-byte chip, and its "
            f"{more.size} further bytes repeat the chip from its start: a larger chip was "
            "selected on the reader"
        )
        return Finding("read-past-chip", text, offset=more.start)
    outside = image.size - chip.size
    text = f"{outside} of the dump's {image.size} bytes are outside the {memory_size}-byte memory"
    first = image.start if image.start < base else more.start
    return Finding("read-size", text, offset=first)


def _repeat_of(chip: Image, more: Image, memory_size: int) -> bool:
    """Return whether every byte past the chip equals the byte of the chip that it repeats."""
    for block in more.blocks:
        at = block.start
        while at < block.end:
            turn = (at - chip.start) // memory_size * memory_size
            stop = min(block.end, chip.start + turn + memory_size)
            if chip.read(at - turn, stop - at) != block.data[at - block.start : stop - block.start]:
                return False
            at = stop
    return True


def _address_lines(image: Image, base: int, fill: int, normal: Normal) -> Iterator[Suspicion]:
    judged = _window(image, base)
    if judged is None:
        return
    image, start = judged
    dull = bytes({0x00, 0xFF, fill})
    steps = _steps(image, start, dull)
    if not steps:
        return
    beyond = steps
    if normal.blocks:
        beyond = _steps(image.without(_duplicates(normal)), start, dull)
    span = image.end - start
    if len(steps) > _FEW and steps[-1] * 2 >= span:
        text = _repeats_text(steps)
        lifted = not set(steps) & set(beyond)
        finding = Finding("read-address-line", text, offset=start + steps[0])
        yield Suspicion(finding, lifted=lifted, subject=" ".join(map(_line, steps)))
        return
    for step in steps:
        finding = Finding("read-address-line", _line_text(step, span), offset=start + step)
        halves = normal.mirrored and step * 2 >= span
        yield Suspicion(finding, lifted=halves or step not in beyond, subject=_line(step))


def _steps(image: Image, start: int, dull: bytes) -> list[int]:
    """Return the powers of two at which the whole image repeats itself."""
    if not image.size:
        return []
    lines = _lines_from(image, start, dull)
    bits = (len(lines.data) - 1).bit_length()
    return [1 << bit for bit in range(bits) if _repeating(lines, 1 << bit) >= _TELLING]


class _Lines(NamedTuple):
    """The bytes by which address lines are judged, from the address at which all lines are low.

    `held` marks by 01 the bytes that are present, None if all are. `dull` are the values whose
    repeats prove nothing: 00, FF and the commonest of the image.
    """

    data: bytes
    held: bytes | None
    dull: bytes


def _lines_from(image: Image, start: int, dull: bytes) -> _Lines:
    """Return the image as a window that begins at `start`, at or below its first byte."""
    if len(image.blocks) == 1 and image.start == start:
        return _Lines(image.blocks[0].data, None, dull)
    held = bytearray(image.end - start)
    for block in image.blocks:
        held[block.start - start : block.end - start] = b"\x01" * len(block.data)
    return _Lines(image.filled(start, image.end, 0), bytes(held), dull)


def _repeating(lines: _Lines, step: int) -> int:
    """Return how many bytes, not dull, have an equal partner `step` higher; 0 if one differs.

    Partners are two present bytes with offsets that differ in the bit `step` alone.
    """
    count = 0
    for low, high in _pairs(lines, step):
        if low != high:
            return 0
        count += len(low.translate(None, lines.dull))
    return count


def _pairs(lines: _Lines, step: int) -> Iterator[tuple[bytes, bytes]]:
    """Yield stretches of bytes with the line low, and their partners; 00 if one is absent."""
    if lines.held is None:
        yield from _halves(lines.data, step)
        return
    held = _halves(lines.held, step)
    for (low, high), (low_held, high_held) in zip(_halves(lines.data, step), held, strict=True):
        if low_held == high_held:
            yield low, high
            continue
        present = _and(low_held, high_held).replace(b"\x01", b"\xff")
        yield _and(low, present), _and(high, present)


def _and(first: bytes, second: bytes) -> bytes:
    both = int.from_bytes(first, "little") & int.from_bytes(second, "little")
    return both.to_bytes(len(first), "little")


def _halves(data: bytes, step: int) -> Iterator[tuple[bytes, bytes]]:
    """Yield the bytes whose address bit `step` is low, and those where it is high.

    A last piece is cut to the bytes that have a partner.
    """
    if step in _NARROW:
        for at in range(0, len(data), _PIECE):
            piece = data[at : at + _PIECE]
            paired = len(piece) // (2 * step) * (2 * step)
            cells = memoryview(piece[:paired]).cast(_NARROW[step])
            yield cells[0::2].tobytes(), cells[1::2].tobytes()
            yield from _last(piece[paired:], step)
        return
    for at in range(0, len(data), 2 * step):
        yield from _last(data[at : at + 2 * step], step)


def _last(piece: bytes, step: int) -> Iterator[tuple[bytes, bytes]]:
    high = piece[step:]
    if high:
        yield piece[: len(high)], high


def _duplicates(normal: Normal) -> list[Range]:
    return [Range(second, length) for _, second, length in normal.blocks]


def _line(step: int) -> str:
    return f"A{step.bit_length() - 1}"


def _line_text(step: int, span: int) -> str:
    line = _line(step)
    cause = ", a chip of the wrong size was selected" if step * 2 >= span else ""
    return (
        f"each byte at an address with line {line} high equals the byte {step} lower: address "
        f"line {line} is stuck{cause}, or the memory keeps its data twice"
    )


def _repeats_text(steps: list[int]) -> str:
    lines = ", ".join(map(_line, steps))
    return (
        f"the image repeats itself at {len(steps)} distances, from {steps[0]} bytes up: address "
        f"lines {lines} change nothing, so they are stuck, or a much larger chip was selected"
    )


def _window(image: Image, base: int) -> tuple[Image, int] | None:
    """Return what to judge address lines on, and the address at which all lines are low."""
    if image.size and image.start >= base and image.end - base <= _WINDOW:
        return image, base
    largest = max(image.blocks, key=lambda block: len(block.data), default=None)
    if largest is None:
        return None
    span = 1 << (len(largest.data) - 1).bit_length()
    return Image((largest,)), largest.start // span * span


def _data_lines(content: bytes, fill: int, normal: Normal) -> Iterator[Suspicion]:
    values = [value for value in range(256) if value in content]
    rare = [value for value in values if value not in (0x00, 0xFF, fill)]
    telling = len(content.translate(None, bytes({0x00, 0xFF, fill})))
    if len(values) <= _FEW_VALUES and len(content) - content.count(fill) >= _STEADY:
        yield from _most_lines_dead(values, len(content), normal)
        return
    if telling < _STEADY or len(rare) < _VALUES:
        return
    for bit, level in _steady_lines(values):
        lifted = normal.constant_line or (normal.seven_bit and bit == 7 and level == 0)
        subject = f"D{bit} {'high' if level else 'low'}"
        yield Suspicion(_steady(bit, level, len(content)), lifted=lifted, subject=subject)
    yield from _shorted(rare)


def _lines_of(values: list[int]) -> list[int]:
    """Return for each data line its levels in all these bytes, as bits of one whole number."""
    together = int.from_bytes(values, "little")
    ones = int.from_bytes(b"\x01" * len(values), "little")
    return [together >> bit & ones for bit in range(8)]


def _steady_lines(values: list[int]) -> list[tuple[int, int]]:
    """Return the data lines that have one level in all these bytes, each with that level."""
    high = int.from_bytes(b"\x01" * len(values), "little")
    lines = _lines_of(values)
    return [(bit, int(line == high)) for bit, line in enumerate(lines) if line in (0, high)]


def _most_lines_dead(values: list[int], length: int, normal: Normal) -> Iterator[Suspicion]:
    """Yield the lines that never change, if they are most of the eight."""
    steady = [bit for bit, _ in _steady_lines(values)]
    if len(steady) < _MOST_LINES:
        return
    lines = ", ".join(f"D{bit}" for bit in steady)
    text = (
        f"only {len(values)} different values in {length} bytes: data lines {lines} never change, "
        "so they are stuck or open, or the memory uses few of its bits"
    )
    finding = Finding("read-data-line", text)
    yield Suspicion(finding, lifted=normal.constant_line, subject=lines)


def _steady(bit: int, level: int, length: int) -> Finding:
    word = "high" if level else "low"
    text = (
        f"data line D{bit} is {word} in each of the {length} bytes: the line is stuck, or its "
        "contact is open"
    )
    text += ", or the memory holds seven-bit data" if bit == 7 else ""
    return Finding("read-data-line", text)


def _shorted(values: list[int]) -> Iterator[Suspicion]:
    """Yield all pairs of data lines that change and always have the same level."""
    if len(values) < _SHORTED:
        return
    lines = _lines_of(values)
    steady = {bit for bit, _ in _steady_lines(values)}
    for high in range(8):
        for low in range(high):
            if lines[high] == lines[low] and high not in steady:
                text = (
                    f"data lines D{low} and D{high} have the same level in each of {len(values)} "
                    "different bytes: the two lines may be shorted"
                )
                finding = Finding("read-data-short", text)
                yield Suspicion(finding, subject=f"D{low} D{high}")
