"""The vote over three reads or more, bit by bit."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.errors import CallRefused, DumpRefused
from parambak.memory.image import Block, Image
from parambak.reads.vote import MOST_DOUBTFUL, Doubt, vote

RNG = random.Random(71)
DATA = RNG.randbytes(512)


def flipped(data: bytes, *bits: int) -> Image:
    """Return the image of `data` with some bits, numbered through, the other way."""
    changed = bytearray(data)
    for bit in bits:
        changed[bit // 8] ^= 1 << bit % 8
    return Image.of(bytes(changed), 0x100)


def test_three_reads_worked_by_hand() -> None:
    """Two of three win, each bit on its own; what is not unanimous is listed."""
    reads = [Image.of(bytes.fromhex(each)) for each in ("0F00FF", "0E01FF", "8F03FF")]
    found = vote(reads)
    assert found.image == Image.of(bytes.fromhex("0F01FF"))
    assert found.not_unanimous == (
        Doubt(0, (0x0F, 0x0E, 0x8F), 0x0F, 0),
        Doubt(1, (0x00, 0x01, 0x03), 0x01, 0),
    )
    assert found.ties == ()
    assert found.reads == 3


def test_memory_with_weak_cells_is_reconstructed() -> None:
    """Each read errs elsewhere: the vote is the memory."""
    reads = [flipped(DATA, 3, 900), flipped(DATA, 77), flipped(DATA, 4000, 4001)]
    found = vote(reads)
    assert found.image == Image.of(DATA, 0x100)
    assert [doubt.address for doubt in found.not_unanimous] == [0x100, 0x109, 0x170, 0x2F4]


def test_tied_bit_leaves_its_byte_absent() -> None:
    """Two against two: nothing shows what the byte is, and it is not invented."""
    reads = [flipped(DATA, 8), flipped(DATA, 8), flipped(DATA, 16), flipped(DATA)]
    found = vote(reads)
    low = DATA[1] ^ 1
    assert found.ties == (Doubt(0x101, (low, low, DATA[1], DATA[1]), None, 0x01),)
    assert found.image.read(0x101, 1) is None
    assert found.image.read(0x102, 1) == DATA[2:3]
    assert found.image.size == 511
    assert len(found.not_unanimous) == 2


@given(st.integers(3, 9), st.data())
def test_vote_is_that_of_the_slow_way(number: int, draw: st.DataObject) -> None:
    """Bit by bit, counted one at a time, over blocks with a gap."""
    contents = [draw.draw(st.binary(min_size=6, max_size=6)) for _ in range(number)]
    blocks = [(Block(3, each[:2]), Block(9, each[2:])) for each in contents]
    found = vote([Image.from_blocks(each) for each in blocks])
    addresses = (3, 4, 9, 10, 11, 12)
    for place, address in enumerate(addresses):
        counts = [sum(each[place] >> bit & 1 for each in contents) for bit in range(8)]
        tied = any(2 * count == number for count in counts)
        value = sum((2 * count > number) << bit for bit, count in enumerate(counts))
        assert found.image.read(address, 1) == (None if tied else bytes([value]))
        listed = {doubt.address: doubt for doubt in found.not_unanimous}
        assert (address in listed) == (len({each[place] for each in contents}) > 1)
        if address in listed:
            assert listed[address].values == tuple(each[place] for each in contents)
            assert listed[address].chosen == (None if tied else value)


@pytest.mark.parametrize("number", [0, 1, 2, 65])
def test_too_few_or_too_many_reads_are_refused(number: int) -> None:
    """Two reads cannot outvote each other."""
    with pytest.raises(CallRefused) as refused:
        vote([Image.of(DATA)] * number)
    assert refused.value.code == "read-vote-number"
    assert refused.value.found == str(number)


def test_other_addresses_are_refused_by_name() -> None:
    """The refusal gives the reads, and what they hold."""
    with pytest.raises(DumpRefused) as refused:
        vote([Image.of(DATA), Image.of(DATA[:-1]), Image.of(DATA), Image.of(DATA, 1)])
    assert refused.value.code == "read-vote-ranges"
    assert "read 2 (511 bytes from 0x0000 to 0x01FE)" in str(refused.value.found)
    assert "read 4" in str(refused.value.found)
    assert "read 3" not in str(refused.value.found)
    gapped = Image.from_blocks([Block(0, DATA[:100]), Block(200, DATA[200:])])
    with pytest.raises(DumpRefused) as refused:
        vote([Image.of(DATA), gapped, Image.of(DATA)])
    assert refused.value.expected == "512 bytes from 0x0000 to 0x01FF, as read 1 holds"
    assert refused.value.found == "read 2 (412 bytes from 0x0000 to 0x01FF in 2 stretches)"


def test_reads_of_different_memories_are_refused() -> None:
    """A vote over what has nothing in common would look like data."""
    reads = [Image.of(RNG.randbytes(MOST_DOUBTFUL + 4096)) for _ in range(3)]
    with pytest.raises(DumpRefused) as refused:
        vote(reads)
    assert refused.value.code == "read-vote-doubtful"


def test_large_memories_with_many_doubts_are_voted_on() -> None:
    """As many bytes in doubt as may differ, all of them tied, in a stretch four times as long."""
    data = bytes(4 * MOST_DOUBTFUL)
    reads = []
    for share in (b"\x01", b"\x01", b"\x00", b"\x00"):
        changed = bytearray(data)
        changed[0 : 2 * MOST_DOUBTFUL : 2] = share * MOST_DOUBTFUL
        reads.append(Image.of(bytes(changed)))
    found = vote(reads)
    assert len(found.ties) == MOST_DOUBTFUL
    assert found.image.size == len(data) - MOST_DOUBTFUL


def test_empty_images_vote_for_nothing() -> None:
    """No byte, no doubt."""
    assert vote([Image(())] * 3).image == Image(())
