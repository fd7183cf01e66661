"""Two chips that hold one memory: joined, taken apart, and recognised."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.errors import DumpRefused
from parambak.memory.image import Block, Image
from parambak.memory.relations import swapped
from parambak.reads.half_dumps import looks_like, looks_paired
from parambak.reads.pairs import PAIR_SCHEMES, PairScheme, join, split
from tests.reads import invented_memories as memories
from tests.reads.effort import growth

Kind = Callable[[random.Random, int], bytes]
TEXT = (
    b"THRUSTER CONTROLLER REVISION C   BRIDGE CONSOLE   STEERING FEEDBACK  AZIMUTH POSITION   "
    b"HYDRAULIC PRESSURE LOW   TEMPERATURE SENSOR FAILURE   EMERGENCY SHUTDOWN   "
)
MEMORY = Image.of((bytes(range(200)) + TEXT + bytes(range(48, 98))).ljust(768, b"\xff"))


@pytest.mark.parametrize(
    ("scheme", "first", "second"),
    [
        ("duplicate", "00112233", "00112233"),
        ("even-odd", "0022", "1133"),
        ("odd-even", "1133", "0022"),
        ("low-high", "0011", "2233"),
        ("high-low", "2233", "0011"),
    ],
)
def test_each_way_worked_by_hand(scheme: PairScheme, first: str, second: str) -> None:
    """Joined to the same four bytes, and taken apart again."""
    whole = Image.of(bytes.fromhex("00112233"))
    parts = Image.of(bytes.fromhex(first)), Image.of(bytes.fromhex(second))
    assert join(*parts, scheme) == whole
    assert split(whole, scheme) == parts


def test_upper_chip_may_stand_at_its_own_addresses() -> None:
    """A reader that is stated the base address of the second chip writes it there."""
    low, high = Image.of(b"\x01\x02", 0x8000), Image.of(b"\x03\x04", 0x8002)
    assert join(low, high, "low-high") == Image.of(b"\x01\x02\x03\x04", 0x8000)


def test_chip_size_places_what_was_left_out() -> None:
    """If a reader leaves blank bytes out, the size of the chip shows where the second begins."""
    low, high = Image.of(b"\x01\x02"), Image.of(b"\x03\x04\x05", 4)
    whole = Image.from_blocks([Block(0, b"\x01\x02"), Block(20, b"\x03\x04\x05")])
    assert join(low, high, "low-high", chip=16) == whole
    assert split(whole, "low-high", chip=16) == (low, high)


@given(st.data(), st.sampled_from(PAIR_SCHEMES))
def test_what_is_split_is_joined_again(draw: st.DataObject, scheme: PairScheme) -> None:
    """With any bytes, and with a gap between two stretches."""
    size = 2 * draw.draw(st.integers(1, 12))
    data = draw.draw(st.binary(min_size=2 * size, max_size=2 * size))
    start = 2 * draw.draw(st.integers(0, 9))
    whole = Image.of(data, start)
    assert join(*split(whole, scheme), scheme) == whole
    gapped = Image.from_blocks([Block(start, data[:size]), Block(start + size + 8, data[size:])])
    if scheme in ("even-odd", "odd-even", "duplicate"):
        assert join(*split(gapped, scheme), scheme) == gapped


def test_duplicates_that_differ_are_refused_with_the_place() -> None:
    """The first byte that differs, and both its values."""
    with pytest.raises(DumpRefused) as refused:
        join(Image.of(b"\x01\x02\x03", 0x10), Image.of(b"\x01\x07\x04", 0x10), "duplicate")
    assert refused.value.code == "read-pair-differs"
    assert refused.value.offset == 0x11
    assert refused.value.expected == "02 at 0x0011, as in the first chip"
    assert refused.value.found == "07 in the second"


@pytest.mark.parametrize("scheme", PAIR_SCHEMES)
def test_chips_of_other_ranges_are_refused(scheme: PairScheme) -> None:
    """One chip cut short makes no memory."""
    with pytest.raises(DumpRefused) as refused:
        join(Image.of(b"\x01\x02\x03"), Image.of(b"\x01\x02"), scheme)
    assert refused.value.code == "read-pair-ranges"
    assert refused.value.expected
    assert refused.value.found


@pytest.mark.parametrize(
    ("image", "scheme"),
    [
        (Image.of(b"\x01\x02\x03"), "even-odd"),
        (Image.of(b"\x01\x02", 1), "odd-even"),
        (Image.of(b"\x01\x02\x03"), "low-high"),
        (Image(()), "high-low"),
    ],
)
def test_what_cannot_be_split_is_refused(image: Image, scheme: PairScheme) -> None:
    """No byte is left over in silence."""
    with pytest.raises(DumpRefused) as refused:
        split(image, scheme)
    assert refused.value.code == "read-pair-odd"


@pytest.mark.parametrize("which", [0, 1])
def test_half_of_a_pair_is_recognised_by_every_other_letter(which: int) -> None:
    """The finding names what it read, and of which word."""
    found = looks_like(split(MEMORY, "even-odd")[which])
    assert [each.code for each in found] == ["read-half"]
    assert "of EMERGENCY" in found[0].text or "of TEMPERATURE" in found[0].text


@pytest.mark.parametrize(("size", "unit"), [(2, 1), (4, 1), (4, 2)])
def test_swapped_bytes_are_recognised_by_words(size: int, unit: int) -> None:
    """The answer gives the order that makes the words readable."""
    found = looks_like(Image.of(swapped(MEMORY.content, size, unit)))
    assert [each.code for each in found] == ["read-swapped"]
    assert "TEMPERATURE" in found[0].text
    assert ("32-bit" in found[0].text) == (size == 4)


def test_whole_memory_is_no_half() -> None:
    """If words are readable as they are, nothing is reported."""
    assert looks_like(MEMORY) == ()
    assert looks_like(Image(())) == ()


def test_two_dumps_are_recognised_as_a_pair() -> None:
    """By the words that appear when they are joined, in either order."""
    even, odd = split(MEMORY, "even-odd")
    for first, second, scheme in ((even, odd, "even-odd"), (odd, even, "odd-even")):
        found = looks_paired(first, second)
        assert [each.code for each in found] == ["read-pair"]
        assert f"joined as {scheme} bytes" in found[0].text
    assert looks_paired(MEMORY, MEMORY) == ()
    assert looks_paired(even, even) == ()


def test_high_bytes_of_small_values_are_recognised_beside_the_low_ones() -> None:
    """The two are blank at the same addresses, and one holds small values alone."""
    rng = random.Random(5)
    values = b"".join(rng.randrange(4096).to_bytes(2, "big") for _ in range(300))
    even, odd = split(Image.of(values + b"\xff" * 400), "even-odd")
    found = looks_paired(even, odd)
    assert [each.code for each in found] == ["read-pair"]
    assert found[0].text.startswith(
        "both are blank at the same 200 addresses; in the first, 100% of the other bytes are below "
        "10, like high bytes of 16-bit words"
    )
    assert "in the second, 100% of the other bytes are below 10" in looks_paired(odd, even)[0].text
    assert looks_like(even) == ()


def other_language(rng: random.Random, size: int) -> bytes:
    """Return words of made-up syllables, as text of a language that is not known here."""
    syllables = ("ka", "re", "mi", "to", "sul", "ven", "ost", "der", "pra", "lin", "ge", "ro", "el")
    text = ""
    while len(text) < size:
        text += "".join(rng.choices(syllables, k=rng.randrange(1, 5))) + rng.choice(" .,\n")
    return text[:size].upper().encode()


@pytest.mark.parametrize("kind", [*memories.KINDS, other_language])
def test_no_memory_is_taken_for_a_half(kind: Kind) -> None:
    """Of 500 of each kind: random, blank, parameters, text in several languages, tables."""
    rng = random.Random(20260601)
    images = [Image.of(kind(rng, rng.choice((128, 256, 1024)))) for _ in range(500)]
    assert [looks_like(image) for image in images] == [()] * len(images)


@pytest.mark.parametrize("kind", memories.KINDS)
def test_no_two_memories_are_taken_for_a_pair(kind: Kind) -> None:
    """Two unrelated memories, or two reads of one."""
    rng = random.Random(20260602)
    pairs = []
    for number in range(100):
        one = kind(rng, 1024)
        other = kind(rng, 1024) if number % 3 else one[:512] + bytes([one[512] ^ 4]) + one[513:]
        pairs.append(looks_paired(Image.of(one), Image.of(other)))
    assert pairs == [()] * 100


@pytest.mark.parametrize("content", [b"\x00", b"A", b"TMEPREAUTER ", b"EMERGENC"])
def test_the_effort_grows_with_the_size_alone(content: bytes) -> None:
    """Eight times the bytes, of any content: never sixteen times the effort."""
    small, large = (Image.of((content * size)[:size]) for size in (1 << 17, 1 << 20))
    assert growth(lambda: looks_like(small), lambda: looks_like(large)) < 16
