"""Files of records made from sound ones: lines gone, twice or swapped, fields changed.

Checksums are corrected again after most changes, so that the change itself is judged.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.dumps.dump import Style
from parambak.dumps.registry import write_dump
from parambak.memory.image import Block, Image

if TYPE_CHECKING:
    import random

FORMATS = ("intel-hex", "s-record")
_EDGES = (0, 0x40, 0xFFF0, 0x1_0080, 0xF_FFF0, 0xFF_FFF0)
_ADDRESS_DIGITS = {0: 4, 1: 4, 2: 6, 3: 8, 5: 4, 6: 6, 7: 8, 8: 6, 9: 4}


def sound(format_name: str, rng: random.Random) -> bytes:
    """Return a whole file of one to three blocks, often across a border of the format."""
    blocks = [Block(edge + rng.randrange(8), rng.randbytes(rng.randrange(1, 50)))
              for edge in rng.sample(_EDGES, rng.randrange(1, 4))]  # fmt: skip
    image = Image.from_blocks(blocks)
    widths: tuple[int | None, ...] = (None, 32)
    if image.end <= 0x10_0000 and format_name == "intel-hex":
        widths = (None, 20, 32)
    style = Style(
        record_length=rng.choice((1, 8, 16, 32)),
        address_width=rng.choice(widths),
        line_end=rng.choice((b"\n", b"\n", b"\r\n")),
    )
    return write_dump(image, format_name, style)


def mutated(format_name: str, data: bytes, rng: random.Random, changes: int) -> bytes:
    """Return the file after some changes, each to one or two of its lines."""
    line_end = b"\r\n" if b"\r\n" in data else b"\n"
    lines = data.split(line_end)[:-1]
    for _ in range(changes):
        if not lines:
            break
        rng.choice(_CHANGES)(format_name, lines, rng)
    return b"".join(line + line_end for line in lines)


def resummed(format_name: str, line: bytes) -> bytes:
    """Return a record with its checksum made right; a line that is no record as it is."""
    head = 1 if format_name == "intel-hex" else 2
    try:
        record = bytes.fromhex(line[head:].decode("ascii"))[:-1]
    except ValueError:
        return line
    total = -sum(record) if format_name == "intel-hex" else ~sum(record)
    return line[:head] + (record + bytes((total & 0xFF,))).hex().upper().encode()


def _drop(_name: str, lines: list[bytes], rng: random.Random) -> None:
    del lines[rng.randrange(len(lines))]


def _twice(_name: str, lines: list[bytes], rng: random.Random) -> None:
    lines.insert(rng.randrange(len(lines) + 1), rng.choice(lines))


def _swap(_name: str, lines: list[bytes], rng: random.Random) -> None:
    one, other = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[one], lines[other] = lines[other], lines[one]


def _flip(name: str, lines: list[bytes], rng: random.Random) -> None:
    """Change one digit, mostly with the checksum corrected."""
    at = rng.randrange(len(lines))
    line = bytearray(lines[at])
    if not line:
        return
    line[rng.randrange(len(line))] = rng.choice(b"0123456789ABCDEFabcdef")
    lines[at] = resummed(name, bytes(line)) if rng.random() < 0.8 else bytes(line)


def _address(name: str, lines: list[bytes], rng: random.Random) -> None:
    """Give one record another address, the records of no data among them."""
    at = rng.randrange(len(lines))
    first, digits = 3, 4
    if name == "s-record":
        first = 4
        digits = _ADDRESS_DIGITS.get(lines[at][1] - 48, 4) if len(lines[at]) > 1 else 4
    address = rng.choice((0, 1, 0xFFFE, 0xFFFF, 0x40, rng.getrandbits(16)))
    if digits > 4 and rng.random() < 0.5:
        address = (1 << 4 * digits) - rng.randrange(1, 9)
    written = b"%0*X" % (digits, address)
    lines[at] = resummed(name, lines[at][:first] + written + lines[at][first + digits :])


def _type(name: str, lines: list[bytes], rng: random.Random) -> None:
    at = rng.randrange(len(lines))
    if name == "intel-hex":
        kind = b"%02X" % rng.choice((0, 1, 2, 3, 4, 5, 6, rng.randrange(256)))
        lines[at] = resummed(name, lines[at][:7] + kind + lines[at][9:])
    else:
        lines[at] = resummed(name, lines[at][:1] + b"%d" % rng.randrange(10) + lines[at][2:])


def _insert(name: str, lines: list[bytes], rng: random.Random) -> None:
    """Put in a record that both formats allow somewhere: a base, a start, a count, an end."""
    if name == "intel-hex":
        kind = rng.choice((1, 2, 2, 3, 4, 4, 5))
        size = {1: 0, 2: 2, 4: 2}.get(kind, 4)
        values = (0, 0x1000, 0xF000, 1, 0x10, 0xFFFF)
        body = bytes((size, 0, 0, kind)) + rng.choice(values).to_bytes(4, "big")[4 - size :]
        line = b":" + (body + b"\x00").hex().upper().encode()
    else:
        line = rng.choice(
            (b"S00600004844521B", b"S5030001FB", b"S9030000FC", b"S804000000FB", b"S70500000000FA")
        )
        if line[:2] == b"S5":
            line = b"S503%04X00" % rng.randrange(9)
    lines.insert(rng.randrange(len(lines) + 1), resummed(name, line))


def _case_or_blank(_name: str, lines: list[bytes], rng: random.Random) -> None:
    at = rng.randrange(len(lines))
    if rng.random() < 0.5:
        lines[at] = lines[at][:1] + lines[at][1:].lower()
    else:
        lines.insert(at, b"")


_CHANGES = (_drop, _twice, _swap, _flip, _flip, _address, _address, _type, _insert, _case_or_blank)
