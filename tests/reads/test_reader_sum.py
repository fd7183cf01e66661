"""What a sum on the reader's screen is a sum of: every way of adding up, by hand."""

from __future__ import annotations

import tracemalloc

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.memory.image import Block, Image
from parambak.reads.reader_sum import clean, matches

# 0x81, 0x02, 0xF3, 0x04: the sum of the bytes is 0x17A.
FOUR = bytes([0x81, 0x02, 0xF3, 0x04])
# Two stretches in a chip of 8 bytes: 4 bytes are absent.
SPARSE = Image.from_blocks([Block(0, FOUR[:2]), Block(4, FOUR[2:])])
DUMP, WITH_FF, WITH_00 = (
    "the bytes of the dump",
    "the chip filled with FF",
    "the chip filled with 00",
)


@pytest.mark.parametrize(
    ("shown", "how"),
    [
        ("7A", "8-bit sum of bytes"),
        ("017A", "16-bit sum of bytes"),
        ("00017A", "24-bit sum of bytes"),
        ("0000017A", "32-bit sum of bytes"),
        # words, high byte first: 8102 + F304 = 17406; low byte first: 0281 + 04F3 = 0774
        ("7406", "16-bit sum of words, high byte first"),
        ("017406", "24-bit sum of words, high byte first"),
        ("00017406", "32-bit sum of words, high byte first"),
        ("0774", "16-bit sum of words, low byte first"),
        ("000774", "24-bit sum of words, low byte first"),
        ("00000774", "32-bit sum of words, low byte first"),
        # complements of 17A
        ("85", "one's complement of the 8-bit sum of bytes"),
        ("86", "two's complement of the 8-bit sum of bytes"),
        ("FE85", "one's complement of the 16-bit sum of bytes"),
        ("FE86", "two's complement of the 16-bit sum of bytes"),
        ("FFFE85", "one's complement of the 24-bit sum of bytes"),
        ("FFFE86", "two's complement of the 24-bit sum of bytes"),
        ("FFFFFE85", "one's complement of the 32-bit sum of bytes"),
        ("FFFFFE86", "two's complement of the 32-bit sum of bytes"),
    ],
)
def test_each_way_of_adding_up(shown: str, how: str) -> None:
    """Worked by hand for four bytes."""
    assert matches(shown, Image.of(FOUR), None) == f"{how} over {DUMP}"


def test_crc_32_is_that_of_the_catalogue() -> None:
    """The check value of CRC-32/ISO-HDLC: CBF43926 over "123456789" (catalogue of CRCs)."""
    assert matches("CBF43926", Image.of(b"123456789"), None) == f"CRC-32/ISO-HDLC over {DUMP}"


@pytest.mark.parametrize(
    ("shown", "how", "over"),
    [
        ("017A", "16-bit sum of bytes", DUMP),
        # 17A + 4 * FF = 576
        ("0576", "16-bit sum of bytes", WITH_FF),
        # words of 81 02 FF FF F3 04 FF FF: 8102 + FFFF + F304 + FFFF = 37404
        ("037404", "24-bit sum of words, high byte first", WITH_FF),
        # 8-bit: 76, its complements 89 and 8A
        ("76", "8-bit sum of bytes", WITH_FF),
        ("89", "one's complement of the 8-bit sum of bytes", WITH_FF),
    ],
)
def test_a_chip_filled_up_is_told_from_the_bytes_present(shown: str, how: str, over: str) -> None:
    """Absent bytes are FF or 00 in what the reader adds, never in the image."""
    assert matches(shown, SPARSE, 8) == f"{how} over {over}"


def test_a_chip_filled_with_00_is_tried_by_crc_and_by_words() -> None:
    """Its plain sum is that of the dump; its words and its CRC-32 are not."""
    import zlib

    odd = Image.from_blocks([Block(1, b"\x81"), Block(3, b"\x02")])
    # words of 00 81 00 02: 0081 + 0002 = 0083
    assert matches("0083", odd, 4) == f"16-bit sum of bytes over {DUMP}"
    # low byte first: 8100 + 0200 = 8300
    assert matches("8300", odd, 4) == f"16-bit sum of words, low byte first over {WITH_00}"
    crc = f"{zlib.crc32(bytes([0, 0x81, 0, 2])):08X}"
    assert matches(crc, odd, 4) == f"CRC-32/ISO-HDLC over {WITH_00}"


def test_the_chip_is_as_large_as_it_is_said_to_be() -> None:
    """Bytes after the dump's last count too; without a size the chip ends with the dump."""
    image = Image.of(FOUR)
    assert matches("0576", image, 8) == f"16-bit sum of bytes over {WITH_FF}"
    assert matches("0576", image, None) is None
    assert matches("0576", Image.of(FOUR, 4), None) == f"16-bit sum of bytes over {WITH_FF}"


def test_words_need_an_even_number_of_bytes() -> None:
    """Three bytes make no words; their sum is still found."""
    image = Image.of(b"\x01\x02\x03")
    assert matches("0006", image, None) == f"16-bit sum of bytes over {DUMP}"
    assert matches("0402", image, None) is None


def test_what_fits_nothing_is_not_matched() -> None:
    """None: the caller refuses the dump."""
    assert matches("1234", Image.of(FOUR), 4) is None


@pytest.mark.parametrize(
    ("typed", "digits"),
    [
        ("3A7F", "3A7F"),
        ("3a7f", "3A7F"),
        (" 3a 7f ", "3A7F"),
        ("0x3A7F", "3A7F"),
        ("$3A7F", "3A7F"),
        ("3A7Fh", "3A7F"),
        ("7F", "7F"),
        ("003A7F", "003A7F"),
        ("CBF43926", "CBF43926"),
    ],
)
def test_a_sum_is_taken_as_the_screen_shows_it(typed: str, digits: str) -> None:
    """With or without a sign of its base, in either case, with blanks between."""
    assert clean(typed) == digits


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "7",
        "3A7",
        "3A7F1",
        "3A7F12345",
        "3A7G",
        "-3A7",
        "\uff13\uff21\uff17\uff26",
        "0x",
        "A" * 10_000,
    ],
)
def test_anything_else_is_no_sum(typed: str) -> None:
    """2, 4, 6 or 8 hexadecimal digits, and nothing else."""
    assert clean(typed) is None


@given(st.text(st.sampled_from("0123456789abcdefABCDEFGhHxX$ -\t\x00\u00b2\u0663\uff13\U0001d7d8")))
def test_no_text_is_an_error(typed: str) -> None:
    """Of digits, signs of a base, blanks and digits of other scripts: digits, or none."""
    digits = clean(typed)
    assert digits is None or len(digits) in {2, 4, 6, 8}


def test_a_high_address_does_not_fill_memory() -> None:
    """A byte near 4 GiB: the sum over it is found, and a few KiB are all that is used."""
    image = Image.of(FOUR, 0xFFFF_FF00)
    tracemalloc.start()
    try:
        assert matches("017A", image, None) == f"16-bit sum of bytes over {DUMP}"
        assert matches("0000", image, None) is None
        assert tracemalloc.get_traced_memory()[1] < 1 << 20
    finally:
        tracemalloc.stop()
