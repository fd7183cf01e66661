"""Whole diagnoses: which cause is named first, its share, whether it is certain, its sentence."""

from __future__ import annotations

import random
from math import comb, log2

import pytest

from parambak.memory.image import Block, Image
from parambak.memory.relations import exchanged, swapped
from parambak.reads.agreement import explain
from parambak.reads.agreement.two_reads import choice

RNG = random.Random(83)
SIZE = 2048
DATA = RNG.randbytes(SIZE)
NOISE = RNG.randbytes(1500)
FF = b"\xff"
HALF_BLANK = DATA[:900] + FF * 1148


def put(data: bytes, at: int, new: bytes) -> bytes:
    """Return data with other bytes from an offset on."""
    return data[:at] + new + data[at + len(new) :]


def lost(*starts: int) -> bytes:
    """Return the memory with 40 bytes of FF at some offsets."""
    data = DATA
    for start in starts:
        data = put(data, start, FF * 40)
    return data


def without(*starts: int) -> Image:
    """Return the memory with 16 bytes missing at some addresses."""
    ends = [*starts, SIZE]
    begins = [0, *(start + 16 for start in starts)]
    blocks = [Block(low, DATA[low:high]) for low, high in zip(begins, ends, strict=True)]
    return Image.from_blocks(blocks)


def shorted(*lines: int, low: int = 0, high: int = SIZE) -> bytes:
    """Return the memory as read with two address lines that are low if either is low."""
    both = sum(1 << line for line in lines)
    return bytes(
        DATA[at & ~both if low <= at < high and at & both != both else at] for at in range(SIZE)
    )


def seen_at_times(bit: int, levels: tuple[int, ...]) -> bytes:
    """Return the memory as read with an address line at one of these levels, None as it should."""
    rng = random.Random(5)
    return bytes(DATA[at & ~bit | rng.choice((at & bit, *levels))] for at in range(SIZE))


def diagnosis(first: bytes | Image, second: bytes | Image) -> tuple[str, float, bool, str]:
    """Return the first cause: its code, share, whether it is certain, and its text."""
    images = [read if isinstance(read, Image) else Image.of(read) for read in (first, second)]
    cause = explain(images).causes[0]
    return cause.code, cause.figure, cause.certain, cause.text


def ranked(first: bytes | Image, second: bytes | Image) -> list[str]:
    """Return the codes of all causes, the likeliest first."""
    images = [read if isinstance(read, Image) else Image.of(read) for read in (first, second)]
    return [cause.code for cause in explain(images).causes]


def high(bit: int, offsets: range) -> bytes:
    """Return the memory as read with a data line high at some offsets."""
    return bytes(value | 1 << bit if at in offsets else value for at, value in enumerate(DATA))


def in_two_lines(number: int) -> bytes:
    """Return the memory with so many single bits the other way, in D1 and D6 in turn."""
    data = bytearray(DATA)
    for turn, at in enumerate(random.Random(5).sample(range(SIZE), number)):
        data[at] ^= (0x02, 0x40)[turn % 2]
    return bytes(data)


@pytest.mark.parametrize(
    ("second", "certain", "text"),
    [
        (
            high(3, range(0x100, 0x200)),
            True,
            (
                "data line D3 reads high throughout 0x0101 to 0x01FF in read 2, and all 116 bytes "
                "that differ do so in it alone: the line is stuck"
            ),
        ),
        (
            high(3, range(1, SIZE, 2)),
            True,
            (
                "data line D3 reads high throughout the chip in read 2, and all 507 bytes that "
                "differ do so in it alone: the line is stuck; all at odd addresses, so on a chip "
                "16 bits wide it is one of its 16 lines"
            ),
        ),
        (
            high(3, range(0x700, 0x800, 2)),
            True,
            (
                "data line D3 reads high throughout 0x070A to 0x07FE in read 2, and all 53 bytes "
                "that differ do so in it alone: the line is stuck; all at even addresses, so on a "
                "chip 16 bits wide it is one of its 16 lines"
            ),
        ),
        (
            in_two_lines(24),
            True,
            (
                "all 24 bytes that differ do so in data lines D1 and D6 alone: both make bad "
                "contact, or are shorted"
            ),
        ),
        (
            in_two_lines(23),
            False,
            (
                "all 23 bytes that differ do so in data lines D1 and D6 alone: both make bad "
                "contact, or are shorted"
            ),
        ),
    ],
)
def test_data_line_is_placed(second: bytes, certain: bool, text: str) -> None:
    """Where the line errs, at which addresses, and whether one or two do."""
    assert diagnosis(DATA, second) == ("data-line", 1.0, certain, text)


@pytest.mark.parametrize(
    ("second", "certain", "text"),
    [
        (
            seen_at_times(16, (0, 16)),
            True,
            "with the other level of address line A4: the line makes bad contact",
        ),
        (
            shorted(0, 6),
            True,
            (
                "all 1019 bytes that differ have the values that the other read has 1 or 64 "
                "addresses away: address lines A0 and A6 are shorted, or both make bad contact"
            ),
        ),
        (
            shorted(2, 5),
            False,
            (
                "all 1021 bytes that differ have the values that the other read has 4 or 32 "
                "addresses away: address lines A2 and A5 are shorted, or both make bad contact"
            ),
        ),
        (
            shorted(2, 5, low=0x200, high=0x240),
            True,
            (
                "all 32 bytes that differ have the values that the other read has 4 or 32 "
                "addresses away: address lines A2 and A5 are shorted, or both make bad contact"
            ),
        ),
        (
            shorted(2, 5, low=0x200, high=0x230),
            False,
            (
                "all 24 bytes that differ have the values that the other read has 4 or 32 "
                "addresses away: address lines A2 and A5 are shorted, or both make bad contact"
            ),
        ),
    ],
)
def test_address_line_that_is_not_stuck(second: bytes, certain: bool, text: str) -> None:
    """One that floats, and two that are shorted, for the chip or for a few bytes."""
    code, share, sure, sentence = diagnosis(DATA, second)
    assert (code, share, sure) == ("address-line", 1.0, certain)
    assert sentence.endswith(text)


@pytest.mark.parametrize(
    ("first", "second", "share", "text"),
    [
        (
            DATA,
            put(DATA, 0x200, FF + DATA[0x200:-1]),
            1.0,
            (
                "from 0x0200 on, all bytes of read 2 are 1 byte higher than in read 1: that read "
                "is shifted, bytes were inserted"
            ),
        ),
        (
            DATA,
            DATA[:0x200] + DATA[0x203:] + FF * 3,
            1.0,
            (
                "from 0x0200 on, all bytes of read 2 are 3 bytes lower than in read 1: that read "
                "is shifted, bytes were lost"
            ),
        ),
        (
            FF * 33 + DATA[:2015],
            FF * 32 + DATA[:2016],
            1.0,
            (
                "all bytes of read 2 are 1 byte lower than in read 1: that read is shifted, bytes "
                "were lost"
            ),
        ),
        (
            DATA,
            DATA[1:700] + bytes([DATA[700] ^ 0x41]) + DATA[701:] + FF,
            2040 / 2041,
            (
                "all bytes of read 2 are 1 byte lower than in read 1, except 1 byte: that read is "
                "shifted, bytes were lost"
            ),
        ),
        (
            DATA,
            DATA[-5:] + DATA[:-5],
            1.0,
            (
                "all bytes of read 2 are 5 bytes higher than in read 1: that read is shifted, "
                "bytes were inserted"
            ),
        ),
    ],
)
def test_shift_is_described(first: bytes, second: bytes, share: float, text: str) -> None:
    """From where on, how far, and how many bytes do not fit that."""
    code, explained, certain, sentence = diagnosis(first, second)
    assert (code, certain, sentence) == ("shifted", True, text)
    assert explained == pytest.approx(share, abs=1e-3)


@pytest.mark.parametrize(("number", "certain"), [(15, False), (16, True)])
def test_shift_of_few_data_is_not_certain(number: int, certain: bool) -> None:
    """Sixteen bytes of data in a blank chip are enough."""
    first = DATA[:number] + FF * 500
    code, _, sure, _ = diagnosis(first, FF * 3 + first[:-3])
    assert (code, sure) == ("shifted", certain)


@pytest.mark.parametrize(
    ("second", "share", "certain", "text"),
    [
        (
            Image.of(DATA[:1500]),
            1.0,
            True,
            (
                "548 of the 2048 bytes of read 1 are missing in read 2, 0x05DC to 0x07FF; the "
                "bytes in both reads agree: read 2 was cut short"
            ),
        ),
        (
            Image.of(put(DATA[:1500], 40, bytes([DATA[40] ^ 0x33, DATA[41] ^ 0x33]))),
            548 / 550,
            False,
            (
                "548 of the 2048 bytes of read 1 are missing in read 2, 0x05DC to 0x07FF; 2 bytes "
                "differ elsewhere: read 2 was cut short"
            ),
        ),
        (
            without(100, 300),
            1.0,
            True,
            (
                "32 of the 2048 bytes of read 1 are missing in read 2, 0x0064 to 0x0073, 0x012C to "
                "0x013B; the bytes in both reads agree: read 2 was cut short"
            ),
        ),
        (
            without(100, 300, 500, 700, 900),
            1.0,
            True,
            (
                "80 of the 2048 bytes of read 1 are missing in read 2, 0x0064 to 0x0073, 0x012C to "
                "0x013B, 0x01F4 to 0x0203 and 2 stretches more; the bytes in both reads agree: "
                "read 2 was cut short"
            ),
        ),
    ],
)
def test_cut_is_described(second: Image, share: float, certain: bool, text: str) -> None:
    """How many bytes are missing, which, and whether the rest agrees."""
    assert diagnosis(DATA, second) == ("cut-short", share, certain, text)


def test_read_that_repeats_the_other_is_described() -> None:
    """If there are 16 bytes of data or more to repeat: a blank chip repeats any other."""
    few = DATA[:15] + FF * 497
    assert ranked(few, few * 2) == ["cut-short"]
    enough = DATA[:16] + FF * 496
    code, share, certain, text = diagnosis(enough, enough * 2)
    assert (code, share, certain) == ("repeated", 1.0, False)
    assert text.startswith("read 2 is 1024 bytes long and repeats the 512 bytes of read 1")


@pytest.mark.parametrize(
    ("first", "second", "certain", "text"),
    [
        (
            put(DATA, 0x1F8, FF * 8),
            put(DATA, 0x1F8, FF * 108),
            True,
            (
                "read 2 holds only FF from 0x01F8 to 0x0263, where read 1 holds data: all 100 "
                "bytes that differ are there; a contact was lost"
            ),
        ),
        (
            DATA,
            lost(100, 300, 500, 700),
            True,
            (
                "read 2 holds only FF from 0x0064 to 0x008B, 0x012C to 0x0153, 0x01F4 to 0x021B, "
                "0x02BC to 0x02E3, where read 1 holds data: all 159 bytes that differ are there; a "
                "contact was lost"
            ),
        ),
        (
            DATA,
            lost(100, 300, 500, 700, 900, 1100),
            True,
            (
                "read 2 holds only FF from 0x0064 to 0x008B, 0x012C to 0x0153, 0x01F4 to 0x021B, "
                "0x02BC to 0x02E3 and 2 stretches more, where read 1 holds data: all 238 bytes "
                "that differ are there; a contact was lost"
            ),
        ),
        (
            lost(100),
            lost(300),
            False,
            (
                "one read holds only FF from 0x0064 to 0x008B, 0x012C to 0x0153, where the other "
                "holds data: all 79 bytes that differ are there; a contact was lost"
            ),
        ),
        (
            DATA,
            put(DATA, 0x200, NOISE[:100]),
            False,
            (
                "all 100 bytes that differ are close together, from 0x0200 to 0x0263, in no order, "
                "and 1918 bytes of data elsewhere agree: a contact was lost there"
            ),
        ),
    ],
)
def test_lost_contact_is_described(first: bytes, second: bytes, certain: bool, text: str) -> None:
    """For which stretches, what was read there, and in which read."""
    assert diagnosis(first, second) == ("contact-lost", 1.0, certain, text)


def test_noise_over_most_of_a_text_is_a_lost_contact() -> None:
    """One read holds letters there and the other bytes in no order, though little else agrees."""
    rng = random.Random(7)
    text = bytes(rng.choice(b"ABCDEFGHIJKLMNOPQRSTUVWXYZ .,=0123456789") for _ in range(SIZE))
    noise = put(text, 0x100, NOISE)
    assert diagnosis(text, noise)[0] == diagnosis(noise, text)[0] == "contact-lost"
    other_text = put(text, 0x100, text[:0x600][::-1])
    assert "contact-lost" not in ranked(text, other_text)


@pytest.mark.parametrize(
    ("first", "filled_from", "codes"),
    [
        (DATA, 1500, ["cut-short", "contact-lost"]),
        (DATA[:2038] + FF * 10, 1500, ["cut-short", "contact-lost"]),
        (HALF_BLANK, 500, ["contact-lost", "cut-short"]),
    ],
)
def test_blank_end_may_be_a_cut_that_was_filled_up(
    first: bytes, filled_from: int, codes: list[str]
) -> None:
    """The nearer to the end of the chip the differences go, the likelier."""
    second = first[:filled_from] + FF * (SIZE - filled_from)
    assert ranked(first, second)[:2] == codes


@pytest.mark.parametrize(
    ("second", "code", "text"),
    [
        (
            put(swapped(DATA, 2), 10, bytes([DATA[11] ^ 0x11, DATA[10] ^ 0x11])),
            "bytes-swapped",
            (
                "the two bytes of each 16-bit word are in the other order in read 1: 2044 bytes "
                "differ, and in the order of read 2 2 bytes still differ"
            ),
        ),
        (
            put(exchanged(DATA), 10, bytes([DATA[1034] ^ 0x11, DATA[1035] ^ 0x11])),
            "halves-exchanged",
            (
                "the two halves of the memory are in the other order in read 2: 2040 bytes differ, "
                "and in the order of read 1 2 bytes still differ"
            ),
        ),
    ],
)
def test_other_order_with_some_wrong_bytes(second: bytes, code: str, text: str) -> None:
    """The bytes that still differ are counted."""
    named, share, certain, sentence = diagnosis(DATA, second)
    assert (named, certain, sentence) == (code, True, text)
    assert share == pytest.approx(0.999, abs=5e-4)


def test_memory_of_which_half_agrees_is_that_of_a_sister_unit() -> None:
    """Two unrelated memories agree in less."""
    other = random.Random(9).randbytes(SIZE)
    sentence = "of {} bytes differ, and of the bytes that are data {} agree{}: another chip was"
    alike = diagnosis(DATA, DATA[:1024] + other[1024:])
    assert (alike[0], alike[2]) == ("another-chip", False)
    assert (
        sentence.format(SIZE, 1012, ", as in a sister unit's memory of the same make") in (alike[3])
    )
    unrelated = diagnosis(DATA, other)
    assert (unrelated[0], unrelated[1]) == ("another-chip", 1.0)
    assert sentence.format(SIZE, 7, "") in unrelated[3]


def test_read_nearest_to_all_others_is_compared_with_each() -> None:
    """Of three cut at different addresses, the middle one."""
    result = explain([Image.of(DATA), Image.of(DATA[:1500]), Image.of(DATA[:1000])])
    assert [(pair.first, pair.second, pair.differing) for pair in result.pairs] == [
        (0, 1, 548),
        (1, 2, 500),
    ]
    assert [(cause.code, cause.figure) for cause in result.causes] == [("cut-short", 1.0)]


@pytest.mark.parametrize(("number", "chosen"), [(5, 2), (8, 3), (2048, 20), (9, 8)])
def test_choice_is_the_logarithm_of_the_binomial(number: int, chosen: int) -> None:
    """As whole numbers give it."""
    assert choice(number, chosen) == pytest.approx(log2(comb(number, chosen)))


@pytest.mark.parametrize(("number", "chosen"), [(5, 0), (5, 5), (0, 0), (3, 4), (3, -1)])
def test_choice_of_none_or_all_costs_nothing(number: int, chosen: int) -> None:
    """There is one way, or none."""
    assert choice(number, chosen) == 0.0
