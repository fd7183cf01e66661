"""What betrays a bad read, and what is normal for a memory."""

from __future__ import annotations

import random

import pytest

from parambak.memory.image import Block, Image, Range
from parambak.reads.plausibility import Normal, Suspicion, judge

RNG = random.Random(3)
CONTENT = RNG.randbytes(1024)
TEXT = b"Thruster controller, port. Invented for a test; nothing of it is real. " * 3
SPARSE = Image.from_blocks([Block(0, CONTENT[:300]), Block(400, CONTENT[400:])])


def codes(found: tuple[Suspicion, ...]) -> list[str]:
    """Return the codes alone."""
    return [each.finding.code for each in found]


@pytest.mark.parametrize("value", [0x00, 0xFF])
def test_blank_is_fatal_whatever_is_normal(value: int) -> None:
    """A blank chip is never lifted."""
    everything = Normal(mirrored=True, seven_bit=True, constant_line=True)
    found = judge(Image.of(bytes([value]) * 2048), memory_size=2048, normal=everything)
    assert codes(found) == ["read-blank"]
    assert found[0].fatal
    assert found[0].stands
    assert f"every byte is {value:02X}" in found[0].finding.text


def test_one_value_throughout_is_fatal() -> None:
    """So is a chip of one value."""
    found = judge(Image.of(b"\x5a" * 64))
    assert codes(found) == ["read-constant"]
    assert found[0].fatal


def test_sound_image_raises_no_suspicion() -> None:
    """A full chip of data, half of it blank or not, is plausible."""
    assert judge(Image.of(CONTENT), memory_size=1024) == ()
    assert judge(Image.of(CONTENT + b"\xff" * 1024), memory_size=2048) == ()
    assert judge(Image.of(b"\x00" * 1024 + CONTENT), memory_size=2048) == ()
    assert judge(Image(())) == ()


@pytest.mark.parametrize("line", range(11))
def test_stuck_address_line_is_named(line: int) -> None:
    """With line n stuck, each byte is read from the address where that line is low."""
    step = 1 << line
    memory = RNG.randbytes(2048)
    stuck = bytes(memory[address & ~step] for address in range(2048))
    found = judge(Image.of(stuck), memory_size=2048)
    assert codes(found) == ["read-address-line"]
    assert f"line A{line} high" in found[0].finding.text
    assert found[0].finding.offset == step
    assert found[0].stands


def test_two_stuck_address_lines_are_both_named() -> None:
    """Each line that changes nothing is a suspicion of its own."""
    stuck = bytes(CONTENT[address & ~0x201] for address in range(1024))
    found = judge(Image.of(stuck))
    assert [each.finding.offset for each in found] == [0x001, 0x200]


def test_short_pattern_over_and_over_is_one_suspicion() -> None:
    """A test pattern does not fill the page with twenty lines."""
    found = judge(Image.of(bytes(range(1, 201, 25)) * 128))
    assert codes(found) == ["read-address-line"]
    assert "A3, A4, A5, A6, A7, A8, A9" in found[0].finding.text


def test_stuck_line_of_a_chip_that_begins_elsewhere() -> None:
    """Lines are counted from the chip's first byte."""
    found = judge(Image.of(CONTENT * 2, 0x8000), memory_size=2048, base=0x8000)
    assert found[0].finding.offset == 0x8400
    assert "A10 is stuck, a chip of the wrong size was selected" in found[0].finding.text
    assert codes(judge(Image.of(CONTENT * 2, 0x0800_0000))) == ["read-address-line"]


def test_stuck_line_is_looked_for_in_the_largest_of_stretches_far_apart() -> None:
    """Beyond 16 MiB no one chip holds both."""
    image = Image.from_blocks([Block(0, CONTENT[:64]), Block(0x200_0000, CONTENT * 2)])
    assert [suspicion.finding.offset for suspicion in judge(image)] == [0x200_0400]


def test_stuck_line_is_seen_across_gaps() -> None:
    """Bytes left out prove nothing; those whose partners are present do."""
    whole = Image.of(CONTENT * 2)
    holes = [Range(100, 50), Range(1500, 33)]
    assert "read-address-line" in codes(judge(whole.without(holes)))
    assert judge(SPARSE) == ()
    assert judge(Image.of(CONTENT * 2).without([Range(1024, 1024)])) == ()


def test_blank_halves_prove_nothing() -> None:
    """Equal because both are blank is no repeat; eight bytes of data that repeat are one."""
    few = CONTENT[:7] + b"\xff" * 505
    enough = bytes(range(1, 9)) + b"\xff" * 504
    assert judge(Image.of(few + few)) == ()
    assert codes(judge(Image.of(enough + enough))) == ["read-address-line"]


def test_mirrored_lifts_and_stays_visible() -> None:
    """Declared normal, the repeat is stated, and does not speak against the image."""
    found = judge(Image.of(CONTENT * 2), normal=Normal(mirrored=True))
    assert codes(found) == ["read-address-line"]
    assert found[0].lifted
    assert not found[0].stands


def test_block_mirrored_lifts_only_what_it_explains() -> None:
    """A repeat that continues beyond the declared blocks is still suspected."""
    image = Image.of(CONTENT * 2)
    assert not judge(image, normal=Normal(blocks=((0, 1024, 1024),)))[0].stands
    assert not judge(image, normal=Normal(blocks=((0, 1024, 1020),)))[0].stands
    assert judge(image, normal=Normal(blocks=((0, 1024, 900),)))[0].stands
    assert judge(image, normal=Normal(blocks=((0, 512, 512),)))[0].stands


@pytest.mark.parametrize("level", [0, 1])
@pytest.mark.parametrize("bit", range(8))
def test_stuck_data_line_is_named(bit: int, level: int) -> None:
    """The line and its level are stated."""
    stuck = bytes(byte | 1 << bit if level else byte & ~(1 << bit) for byte in CONTENT)
    found = judge(Image.of(stuck), memory_size=1024)
    assert codes(found) == ["read-data-line"]
    word = "high" if level else "low"
    seven_bits = ", or the memory holds seven-bit data" if bit == 7 else ""
    assert found[0].finding.text == (
        f"data line D{bit} is {word} in each of the 1024 bytes: the line is stuck, or its contact "
        f"is open{seven_bits}"
    )


def test_seven_bit_data_lift_line_7_only() -> None:
    """Text leaves D7 low; that is normal if it is declared, for that line only."""
    found = judge(Image.of(TEXT))
    assert codes(found) == ["read-data-line"]
    assert found[0].stands
    assert not judge(Image.of(TEXT), normal=Normal(seven_bit=True))[0].stands
    stuck = Image.of(bytes(byte & 0xFE for byte in CONTENT))
    assert judge(stuck, normal=Normal(seven_bit=True))[0].stands
    assert not judge(stuck, normal=Normal(constant_line=True))[0].stands


def test_small_images_prove_nothing_about_lines() -> None:
    """Sixteen bytes leave a line unchanged by chance too often to be a sign."""
    assert judge(Image.of(bytes(range(1, 17)))) == ()
    assert judge(Image.of(b"0123456789" * 3)) == ()


@pytest.mark.parametrize(("number", "expected"), [(31, []), (32, ["read-data-line"])])
def test_data_line_is_suspected_from_32_bytes_of_data_on(number: int, expected: list[str]) -> None:
    """Blank bytes do not count."""
    data = bytes(at * 37 % 127 + 1 for at in range(number))
    assert codes(judge(Image.of(data + bytes(64)))) == expected


@pytest.mark.parametrize(("low", "high"), [(0, 1), (3, 7), (5, 6)])
def test_shorted_data_lines_are_named(low: int, high: int) -> None:
    """Two lines that change, and are always the same."""
    both = 1 << low | 1 << high
    shorted = bytes(b if b & both == both else b & ~both for b in CONTENT)
    found = judge(Image.of(shorted))
    assert codes(found) == ["read-data-short"]
    assert f"D{low} and D{high}" in found[0].finding.text


def test_dump_past_the_chip_repeats_it() -> None:
    """A larger chip chosen on the reader reads the same bytes over again."""
    for times in (2, 4):
        found = judge(Image.of(CONTENT * times), memory_size=1024)
        assert codes(found) == ["read-past-chip"]
        assert found[0].fatal
        assert found[0].finding.offset == 1024
        assert f"its {(times - 1) * 1024} further bytes repeat the chip" in found[0].finding.text
    partly = judge(Image.of(CONTENT * 2).part(0, 1500), memory_size=1024)
    assert codes(partly) == ["read-past-chip"]


def test_dump_past_the_chip_with_other_bytes_is_of_the_wrong_size() -> None:
    """Further bytes that do not repeat the chip are only too many."""
    found = judge(Image.of(CONTENT), memory_size=1000)
    assert codes(found) == ["read-size"]
    assert "24 of the dump's 1024 bytes are outside" in found[0].finding.text
    assert found[0].fatal
    below = judge(Image.of(CONTENT, 0x10), memory_size=2048, base=0x20)
    assert (codes(below), below[0].finding.offset) == (["read-size"], 0x10)


def test_bytes_absent_are_counted() -> None:
    """A dump that does not fill its chip is stated; what the profile leaves out is lifted."""
    found = judge(SPARSE, memory_size=1024)
    assert codes(found) == ["read-size"]
    assert "924 of the memory's 1024 bytes: 100 absent" in found[0].finding.text
    assert found[0].stands
    assert not judge(SPARSE, memory_size=1024, left_out=0xFF)[0].stands


def test_blank_image_of_the_wrong_size_tells_both() -> None:
    """One finding does not hide the other."""
    assert codes(judge(Image.of(b"\xff" * 100), memory_size=2048)) == ["read-blank", "read-size"]


def test_most_data_lines_dead_leaves_few_values() -> None:
    """512 bytes of only 00 and 01: seven lines never change, and all are named."""
    content = bytes((at * 7 // 3) & 1 for at in range(512))
    (found,) = [s for s in judge(Image.of(content)) if s.finding.code == "read-data-line"]
    assert found.stands
    assert found.subject == "D1, D2, D3, D4, D5, D6, D7"
    lifted = judge(Image.of(content), normal=Normal(constant_line=True))
    assert all(s.lifted for s in lifted if s.finding.code == "read-data-line")
    assert not [
        s
        for s in judge(Image.of(b"\xff" * 500 + b"\x00\x01\x02" * 4))
        if s.finding.code == "read-data-line"
    ]
