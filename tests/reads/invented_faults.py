"""Invented faults of a read: each makes, of one memory, two reads that differ.

`make(cause, rng)` gives a case of one cause, of a kind and severity drawn at random: whole or
for a stretch, always or now and then, in one read or in both. A case whose two reads happen to
be equal is drawn again; nothing else is left out, however thin its evidence.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.memory.image import Block, Image
from tests.reads import invented_memories as memories

if TYPE_CHECKING:
    import random
    from collections.abc import Callable

Pair = tuple[Image, Image]


class Case(NamedTuple):
    """Two reads, and what was done to them."""

    cause: str
    how: str
    images: Pair


def _where(rng: random.Random, size: int, *, least: int = 4) -> Callable[[int], bool]:
    """Draw where a fault shows: always, now and then, or for some stretches."""
    way = rng.choice(("always", "seldom", "often", "stretches"))
    if way == "always":
        return lambda _: True
    if way == "stretches":
        found = _stretches(rng, size, rng.randrange(1, 4), least)
        return lambda address: any(low <= address < high for low, high in found)
    share = rng.uniform(0.3, 0.95) if way == "often" else 2 ** rng.uniform(-8, -2)
    return lambda _: rng.random() < share


def _stretches(rng: random.Random, size: int, number: int, least: int) -> list[tuple[int, int]]:
    found = []
    for _ in range(number):
        length = int(least * (size / 3 / least) ** rng.random())
        at = rng.randrange(size - length + 1)
        found.append((at, at + length))
    return found


def _both(rng: random.Random, data: bytes, spoil: Callable[[bytes], bytes]) -> Pair:
    """Spoil one read, either, or now and then both, each in its own way."""
    one = spoil(data) if rng.random() < 0.25 else data
    other = spoil(data)
    return _either(rng, Image.of(one), Image.of(other))


def _either(rng: random.Random, one: Image, other: Image) -> Pair:
    return (one, other) if rng.random() < 0.5 else (other, one)


def weak_cells(rng: random.Random, data: bytes) -> tuple[str, Pair]:
    """Some cells lean towards 1, or towards 0, and do so in some reads."""
    level = rng.randrange(2)
    most = max(3, len(data) * 8 // 500)
    number = int(most ** rng.random()) if rng.random() < 0.5 else rng.randrange(1, 12)
    cells = [rng.randrange(len(data) * 8) for _ in range(number * 2)]
    cells = [c for c in cells if data[c // 8] >> c % 8 & 1 != level][:number]

    def spoil(content: bytes, share: float) -> bytes:
        changed = bytearray(content)
        for cell in cells:
            if rng.random() < share:
                changed[cell // 8] ^= 1 << cell % 8
        return bytes(changed)

    first = spoil(data, rng.choice((0.0, 0.0, 0.3)))
    pair = _either(rng, Image.of(first), Image.of(spoil(data, rng.choice((1.0, 0.6)))))
    return f"{len(cells)} cells to {level}", pair


def data_line(rng: random.Random, data: bytes) -> tuple[str, Pair]:
    """One line is stuck, floats, keeps the level it had, or is shorted to another."""
    bit = rng.randrange(8)
    mode = rng.choice(("low", "high", "floating", "held", "short"))
    other = rng.choice([each for each in range(8) if each != bit])
    every, odd = rng.choice((1, 1, 1, 2)), rng.randrange(2)
    wired_or = rng.random() < 0.5

    def spoil(content: bytes) -> bytes:
        shows = _where(rng, len(content))
        changed, mask, held = bytearray(content), 1 << bit, 0
        for at in range(len(content)):
            value = content[at]
            if at % every == odd % every and shows(at):
                level = {"low": 0, "high": mask, "held": held}.get(mode, rng.choice((0, mask)))
                value = value & ~mask | level
                if mode == "short":
                    both = (1 << bit) | (1 << other)
                    up = content[at] & both == both or (wired_or and content[at] & both)
                    value = content[at] & ~both | (both if up else 0)
            changed[at], held = value, value & mask
        return bytes(changed)

    return f"D{bit} {mode}, one in {every}", _both(rng, data, spoil)


def address_line(rng: random.Random, data: bytes) -> tuple[str, Pair]:
    """One line is stuck, floats, or is shorted to another."""
    lines = (len(data) - 1).bit_length()
    line, other = rng.sample(range(lines), 2)
    mode = rng.choice(("low", "high", "floating", "short"))
    wired_or = rng.random() < 0.5

    def seen(address: int) -> int:
        bit = 1 << line
        if mode == "low":
            return address & ~bit
        if mode == "high":
            return address | bit
        if mode == "floating":
            return address ^ rng.choice((0, bit))
        both = bit | 1 << other
        up = address & both == both or (wired_or and address & both)
        return address & ~both | (both if up else 0)

    def spoil(content: bytes) -> bytes:
        shows = _where(rng, len(content))
        return bytes(content[seen(at) if shows(at) else at] for at in range(len(content)))

    return f"A{line} {mode}", _both(rng, data, spoil)


def contact_lost(rng: random.Random, data: bytes) -> tuple[str, Pair]:
    """For one stretch or some, the bus holds one value, or noise."""
    mode = rng.choice(("FF", "FF", "00", "other", "held", "noise"))

    def spoil(content: bytes) -> bytes:
        changed, other = bytearray(content), rng.randrange(1, 255)
        for low, high in _stretches(rng, len(content), rng.choice((1, 1, 1, 2, 4, 8)), 8):
            held = content[low - 1] if low else other
            value = {"FF": 0xFF, "00": 0, "other": other}.get(mode, held)
            noise = rng.randbytes(high - low)
            changed[low:high] = noise if mode == "noise" else bytes([value]) * (high - low)
        return bytes(changed)

    return mode, _both(rng, data, spoil)


def _with_weak(rng: random.Random, data: bytes) -> bytes:
    changed = bytearray(data)
    for _ in range(rng.choice((0, 0, 0, 0, 1, 5))):
        changed[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    return bytes(changed)


def bytes_swapped(rng: random.Random, data: bytes) -> tuple[str, Pair]:
    """The bytes of 16- or 32-bit words, or the words of 32-bit ones, in the other order."""
    size, unit = rng.choice(((2, 1), (2, 1), (4, 1), (4, 2)))
    words = [data[at : at + size] for at in range(0, len(data), size)]
    turned = b"".join(
        b"".join(word[at : at + unit] for at in range(size - unit, -1, -unit)) for word in words
    )
    pair = _either(rng, Image.of(data), Image.of(_with_weak(rng, turned)))
    return f"words of {size}, units of {unit}", pair


def halves_crossed_over(rng: random.Random, data: bytes) -> tuple[str, Pair]:
    """The upper half first."""
    half = len(data) // 2
    return "halves", _either(
        rng, Image.of(data), Image.of(_with_weak(rng, data[half:] + data[:half]))
    )


def shifted(rng: random.Random, data: bytes) -> tuple[str, Pair]:
    """Bytes put in or lost, at the start or on the way, the length kept or not; another base."""
    by = int((len(data) // 3) ** (rng.random() ** 1.5))
    mode = rng.choice(("in", "in", "lost", "round", "base"))
    start = 0 if rng.random() < 0.6 else rng.randrange(len(data) // 2)
    fill = rng.choice((b"\xff" * by, b"\x00" * by, rng.randbytes(by), data[:by]))
    head, tail = data[:start], data[start:]
    if mode == "base":
        return f"base by {by}", _either(rng, Image.of(data), Image.of(data, by))
    turned = {
        "in": head + fill + tail,
        "lost": head + tail[by:],
        "round": head + tail[-by:] + tail[:-by],
    }[mode]
    if rng.random() < 0.6:
        turned = (turned + fill)[: len(data)]
    return f"{mode} by {by} from {start}", _either(rng, Image.of(data), Image.of(turned))


def another_chip(rng: random.Random, data: bytes) -> tuple[str, Pair]:
    """Another memory, of any kind or of the same kind; its size the same or not."""
    make = rng.choice(memories.KINDS)
    size = len(data) if rng.random() < 0.8 else rng.choice(memories.SIZES)
    if rng.random() < 0.5:
        one, other = make(rng, len(data)), make(rng, size)
        return f"two {make.__name__}", (Image.of(one), Image.of(other))
    return make.__name__, _either(rng, Image.of(data), Image.of(make(rng, size)))


def cut_short(rng: random.Random, data: bytes) -> tuple[str, Pair]:
    """The end is missing, or the start, or records within; or the end is filled up."""
    at = rng.randrange(1, len(data))
    mode = rng.choice(("end", "end", "end", "end", "start", "within", "filled"))
    if mode == "start":
        cut = Image.of(data[at:], at)
    elif mode == "within":
        length = min(rng.choice((16, 32, 256)), len(data) // 3)
        low = rng.randrange(1, len(data) - length)
        rest = Block(low + length, data[low + length :])
        cut = Image.from_blocks([Block(0, data[:low]), rest])
    else:
        fill = rng.choice((b"\xff", b"\x00")) if mode == "filled" else b""
        cut = Image.of(data[:at] + fill * (len(data) - at))
    return f"{mode} at {at}", _either(rng, Image.of(data), cut)


def values_changed(rng: random.Random, data: bytes) -> tuple[str, Pair]:
    """None of the causes: a few values are different, as if a controller wrote in between."""
    changed = bytearray(data)
    for _ in range(rng.randrange(1, 12)):
        length = rng.choice((1, 2, 2, 4))
        at = rng.randrange(len(data) - length)
        changed[at : at + length] = rng.randbytes(length)
    return "some values", _either(rng, Image.of(data), Image.of(bytes(changed)))


def two_faults(rng: random.Random, data: bytes) -> tuple[str, Pair]:
    """Two of the causes at once, each in one of the reads."""
    first, second = rng.sample((weak_cells, data_line, address_line, contact_lost, shifted), 2)
    one_how, (one, _) = first(rng, data)
    other_how, (_, other) = second(rng, data)
    how = f"{first.__name__.replace('_', '-')}+{second.__name__.replace('_', '-')}"
    return f"{how}: {one_how} + {other_how}", (one, other)


def unlisted(rng: random.Random, data: bytes) -> tuple[str, Pair]:
    """Faults that no cause names: lines crossed, every bit inverted, bytes mixed up."""
    mode = rng.choice(("inverted", "data lines crossed", "address lines crossed", "mixed", "xor"))
    lines = (len(data) - 1).bit_length()
    low, high = sorted(rng.sample(range(8 if mode == "data lines crossed" else lines), 2))
    key = rng.randbytes(16)

    def crossed(value: int) -> int:
        same = (value >> low ^ value >> high) & 1
        return value ^ (same << low | same << high)

    if mode == "mixed":
        mixed = bytearray(data)
        rng.shuffle(mixed)
        turned = bytes(mixed)
    else:
        turned = {
            "inverted": lambda: bytes(value ^ 0xFF for value in data),
            "data lines crossed": lambda: bytes(crossed(value) for value in data),
            "address lines crossed": lambda: bytes(data[crossed(at)] for at in range(len(data))),
            "xor": lambda: bytes(value ^ key[at % 16] for at, value in enumerate(data)),
        }[mode]()
    return mode, _either(rng, Image.of(data), Image.of(turned))


CAUSES = {
    "weak-cells": weak_cells,
    "data-line": data_line,
    "address-line": address_line,
    "contact-lost": contact_lost,
    "bytes-swapped": bytes_swapped,
    "shifted": shifted,
    "halves-exchanged": halves_crossed_over,
    "another-chip": another_chip,
    "cut-short": cut_short,
}
OTHERS = {"values-changed": values_changed, "two-faults": two_faults, "unlisted": unlisted}


def make(cause: str, rng: random.Random, sizes: tuple[int, ...] = memories.SIZES) -> Case:
    """Return a case of one cause, its two reads not equal."""
    spoil = (CAUSES | OTHERS)[cause]
    while True:
        how, images = spoil(rng, memories.memory(rng, sizes))
        if images[0] != images[1]:
            return Case(cause, how, images)
