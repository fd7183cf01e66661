"""What the fuzzing calls: one input to one reader, and where the inputs begin from."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from parambak.dumps.dump import ALLOWANCES, Style, Terms
from parambak.dumps.records import read_by_record, text_of
from parambak.dumps.registry import FORMATS
from parambak.errors import ParambakError
from parambak.memory.image import Block, Image

if TYPE_CHECKING:
    import random

FIXTURES: Final = Path(__file__).resolve().parents[2] / "fixtures" / "dumps"
READERS: Final = tuple(FORMATS.values())
LONGEST: Final = 8192
"""Bytes of an input: the rarely met cases are of structure, not of size."""
TERMS: Final = (
    Terms(),
    Terms(frozenset(ALLOWANCES)),
    Terms(memory_size=2048, word_bytes=2, left_out=0xFF),
    Terms(frozenset(ALLOWANCES), memory_size=0x1_0000, base=0x8000),
)


def outcome(read: Any, *arguments: Any, **options: Any) -> object:
    """Return the dump, or every part of the refusal; any other exception escapes."""
    try:
        return read(*arguments, **options)
    except ParambakError as error:
        return tuple(error.document().values())


def one_input(data: bytes) -> None:
    """Read one input, whose first byte chooses the reader and the terms."""
    if not data:
        return
    reader = READERS[data[0] % len(READERS)]
    terms = TERMS[data[0] // len(READERS) % len(TERMS)]
    content = data[1:]
    taken = outcome(reader.read, content, terms=terms)
    if reader.parser is None:
        return
    try:
        text = text_of(reader.parser, content, terms)
    except ParambakError:
        return
    judged = outcome(read_by_record, reader.parser, text, terms)
    if taken != judged:
        raise AssertionError(f"in bulk {taken!r}, by record {judged!r}")


def seeds() -> list[bytes]:
    """Return the inputs to begin from: each fixture, and small files in each format."""
    contents = [
        path.read_bytes()[: LONGEST - 1]
        for path in sorted(FIXTURES.iterdir())
        if path.suffix != ".md"
    ]
    blocks = [Block(start, bytes(range(40))) for start in (0, 0xFFF0, 0x1_FFF0)]
    image = Image.from_blocks(blocks)
    for reader in READERS:
        for width in reader.widths:
            if image.end <= 1 << width:
                style = Style(address_width=width, record_length=1 + width % 5)
                contents.append(reader.write(image, style=style))
    choices = range(len(READERS) * len(TERMS))
    return [bytes((choice,)) + content for content in contents for choice in choices]


_DIGITS: Final = b"0123456789ABCDEFabcdef"
_PARTS: Final = (
    *(b":00000001FF\n", b":020000021000EC\n", b":020000020000FC\n", b":020000040001F9\n"),
    *(b"S9030000FC\n", b"S5030001FB\n", b"\r\n", b"\n", b"\r", b"\x1a", b"\x00", b":", b"S1", b" "),
)


def resummed(data: bytearray, rng: random.Random) -> bytearray:
    """Put one line's checksum right, so that a change in it reaches the code behind."""
    lines = bytes(data[1:]).split(b"\n")
    at = rng.randrange(len(lines))
    head = 1 if lines[at][:1] == b":" else 2
    try:
        record = bytes.fromhex(lines[at][head:].decode("ascii"))[:-1]
    except ValueError:
        return data
    total = -sum(record) if head == 1 else ~sum(record)
    lines[at] = lines[at][:head] + (record + bytes((total & 0xFF,))).hex().upper().encode()
    return data[:1] + b"\n".join(lines)


def changed(data: bytes, rng: random.Random) -> bytes:
    """Return an input a few changes away from the one given."""
    new = bytearray(data)
    for _ in range(rng.randrange(1, 5)):
        at, span = rng.randrange(len(new) + 1), rng.randrange(1, 60)
        kind = rng.randrange(7)
        if kind == 0 and at < len(new):
            new[at] = rng.choice(_DIGITS)
        elif kind == 1 and at < len(new):
            new[at] = rng.randrange(256)
        elif kind == 2:
            new[at:at] = rng.choice(_PARTS)
        elif kind == 3:
            del new[at : at + span]
        elif kind == 4:
            other = rng.randrange(len(new) + 1)
            new[at:at] = new[other : other + span]
        else:
            new = resummed(new, rng)
    return bytes(new[:LONGEST])
