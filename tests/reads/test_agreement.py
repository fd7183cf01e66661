"""Why two reads differ: each cause in a plain case, with its evidence; and what is certain."""

from __future__ import annotations

import random

import pytest

from parambak.memory.image import Block, Image
from parambak.memory.relations import exchanged, swapped
from parambak.reads.agreement import Cause, explain
from tests.reads.effort import growth

RNG = random.Random(83)
SIZE = 2048
DATA = RNG.randbytes(SIZE)
MEMORY = Image.of(DATA)


def first(*contents: bytes | Image) -> Cause:
    """Return the first cause for these reads."""
    images = [each if isinstance(each, Image) else Image.of(each) for each in contents]
    return explain(images).causes[0]


def at_places(data: bytes, places: dict[int, int]) -> bytes:
    """Return data with other bytes at some places."""
    changed = bytearray(data)
    for place, value in places.items():
        changed[place] = value
    return bytes(changed)


def test_equal_reads_have_no_cause() -> None:
    """There is nothing to explain; also with one read, or none."""
    found = explain([MEMORY, MEMORY, MEMORY])
    assert found.same
    assert found.causes == ()
    assert found.groups == ((0, 1, 2),)
    assert explain([MEMORY]).same
    assert explain([]).same


def test_weak_cells_are_certain_where_many_lean_one_way() -> None:
    """Single bits, scattered, all to 1."""
    bits = [cell for cell in RNG.sample(range(SIZE * 8), 80) if not DATA[cell // 8] >> cell % 8 & 1]
    weak = at_places(DATA, {cell // 8: DATA[cell // 8] | 1 << cell % 8 for cell in bits[:20]})
    cause = first(DATA, weak)
    assert (cause.code, cause.certain, cause.figure) == ("weak-cells", True, 1.0)
    assert "20 bits differ" in cause.text
    assert "all of them 1 in read 2" in cause.text
    assert "three times" in cause.next


@pytest.mark.parametrize("bit", range(8))
@pytest.mark.parametrize("level", [0, 1])
def test_stuck_data_line_is_named(bit: int, level: int) -> None:
    """Its number, its level and which read has it."""
    stuck = bytes(value | 1 << bit if level else value & ~(1 << bit) for value in DATA)
    cause = first(DATA, stuck)
    assert (cause.code, cause.certain, cause.figure) == ("data-line", True, 1.0)
    assert f"data line D{bit} reads {'high' if level else 'low'} throughout the chip" in cause.text
    assert "in read 2" in cause.text
    assert "in read 1" in first(stuck, DATA).text


def test_floating_and_shorted_data_lines_are_named() -> None:
    """Sometimes high, sometimes low; and two that are always the same."""
    rng = random.Random(4)
    floating = bytes(value & ~8 | rng.choice((0, 8)) for value in DATA)
    cause = first(DATA, floating)
    assert (cause.code, cause.certain) == ("data-line", True)
    assert "data line D3 alone, sometimes high and sometimes low: the line floats" in cause.text
    shorted = bytes(value if value & 0x24 == 0x24 else value & ~0x24 for value in DATA)
    cause = first(DATA, shorted)
    assert (cause.code, cause.certain) == ("data-line", True)
    assert "data lines D2 and D5 have the same level in read 2" in cause.text


@pytest.mark.parametrize("line", range(11))
@pytest.mark.parametrize("level", [0, 1])
def test_stuck_address_line_is_named(line: int, level: int) -> None:
    """Its number, and the bytes at each address."""
    bit = 1 << line
    stuck = bytes(DATA[at | bit if level else at & ~bit] for at in range(SIZE))
    cause = first(DATA, stuck)
    assert (cause.code, cause.certain, cause.figure) == ("address-line", True, 1.0)
    assert f"each byte with address line A{line} {'low' if level else 'high'} has the value" in (
        cause.text
    )


def test_address_line_is_that_of_the_address_not_of_the_place() -> None:
    """An image that begins neither at 0 nor at a power of two."""
    memory = dict(enumerate(RNG.randbytes(1024), 0x1234))
    stuck = bytes(memory.get(at & ~0x10, memory[at]) for at in memory)
    cause = first(Image.of(bytes(memory.values()), 0x1234), Image.of(stuck, 0x1234))
    assert cause.code == "address-line"
    assert "A4" in cause.text


@pytest.mark.parametrize("value", [0x00, 0xFF])
def test_contact_lost_is_placed(value: int) -> None:
    """Where the stretch is, and what the bus showed there."""
    lost = DATA[:512] + bytes([value]) * 300 + DATA[812:]
    cause = first(DATA, lost)
    assert (cause.code, cause.certain, cause.figure) == ("contact-lost", True, 1.0)
    assert f"read 2 holds only {value:02X} from 0x0200 to 0x032B" in cause.text


@pytest.mark.parametrize(("size", "unit"), [(2, 1), (4, 1), (4, 2)])
def test_swapped_bytes_are_certain(size: int, unit: int) -> None:
    """Put back, every byte agrees."""
    cause = first(DATA, swapped(DATA, size, unit))
    assert (cause.code, cause.certain, cause.figure) == ("bytes-swapped", True, 1.0)
    assert "every byte agrees" in cause.text


def test_exchanged_halves_are_certain() -> None:
    """And are neither a shift nor an address line."""
    cause = first(DATA, exchanged(DATA))
    assert (cause.code, cause.certain, cause.figure) == ("halves-exchanged", True, 1.0)


@pytest.mark.parametrize("by", [-300, -1, 1, 300])
def test_shift_is_measured(by: int) -> None:
    """How far, and which way; with the edge blank, or the length changed."""
    blank = b"\xff" * abs(by)
    for other in (
        (blank + DATA)[:SIZE] if by > 0 else DATA[-by:] + blank,
        blank + DATA if by > 0 else DATA[-by:],
    ):
        cause = first(DATA, other)
        assert (cause.code, cause.certain) == ("shifted", True)
        assert f"{abs(by)} byte" in cause.text
        higher = "bytes of read 2" in cause.text if by > 0 else "bytes of read 1" in cause.text
        assert ("higher" in cause.text) == higher


def test_another_base_address_is_a_shift() -> None:
    """The same bytes at other addresses, with no address in common."""
    cause = first(MEMORY, Image.of(DATA, 0x8000))
    assert (cause.code, cause.certain) == ("shifted", True)
    assert "32768 bytes higher, from 0x8000" in cause.text


def test_cut_short_is_certain_where_the_rest_agrees() -> None:
    """At the end, and at the start; how many bytes are missing, and which."""
    cause = first(DATA, DATA[:1500])
    assert (cause.code, cause.certain) == ("cut-short", True)
    assert "548 of the 2048 bytes of read 1 are missing in read 2, 0x05DC to 0x07FF" in cause.text
    assert first(Image.of(DATA[100:], 100), MEMORY).code == "cut-short"


def test_blank_bytes_left_out_are_no_certain_cut() -> None:
    """A reader may leave FF out of its files; that is reported."""
    cause = first(DATA[:1024] + b"\xff" * 1024, DATA[:1024])
    assert (cause.code, cause.certain) == ("cut-short", False)
    assert "leaves out blank bytes" in cause.text


def test_another_chip_is_never_certain() -> None:
    """It is the last cause, if nothing else explains the differences."""
    cause = first(DATA, random.Random(9).randbytes(SIZE))
    assert (cause.code, cause.certain) == ("another-chip", False)


def test_whole_repeats_of_the_other_are_told_from_a_cut() -> None:
    """A dump twice as long may be the chip read twice over."""
    causes = explain([MEMORY, Image.of(DATA * 2)]).causes
    assert [cause.code for cause in causes] == ["repeated", "cut-short"]
    assert not any(cause.certain for cause in causes)


def test_changed_values_are_no_fault_of_the_read() -> None:
    """Random bytes at random addresses differ: no cause can be shown."""
    places = {at: DATA[at] ^ 0x5A for at in (17, 400, 401, 999, 1500)}
    cause = first(DATA, at_places(DATA, places))
    assert (cause.code, cause.certain, cause.figure) == ("cannot-tell", False, 0.0)
    assert "5 bytes differ" in cause.text
    assert "switch the unit off first" in cause.next


def test_reads_without_a_common_address_cannot_be_told() -> None:
    """Of different bytes, that is."""
    cause = first(MEMORY, Image.of(RNG.randbytes(64), 0x9000))
    assert cause.code == "cannot-tell"
    assert "no address in common" in cause.text
    assert first(MEMORY, Image(())).code in ("cannot-tell", "cut-short")


def test_read_that_stands_alone_is_named() -> None:
    """Of three, the two that agree are what the third is compared with."""
    stuck = bytes(value | 1 for value in DATA)
    found = explain([Image.of(stuck), MEMORY, MEMORY], names=("A.BIN", "B.BIN", "C.BIN"))
    assert found.groups == ((1, 2), (0,))
    assert found.text == "B.BIN, C.BIN agree; A.BIN differs from all others"
    assert [(pair.first, pair.second) for pair in found.pairs] == [(0, 1)]
    assert "in A.BIN" in found.causes[0].text
    assert found.causes[0].certain


def test_three_different_reads_are_held_against_the_middle_one() -> None:
    """Two with the same fault now and then: certain for all if certain for each."""
    rng = random.Random(8)
    seldom = [bytes(v | 0x10 if rng.random() < 0.2 else v for v in DATA) for _ in range(2)]
    found = explain([Image.of(seldom[0]), MEMORY, Image.of(seldom[1])])
    assert len(found.groups) == 3
    assert [(pair.first, pair.second) for pair in found.pairs] == [(0, 1), (1, 2)]
    assert [cause.code for cause in found.causes][:1] == ["data-line"]
    assert found.causes[0].certain
    assert all("D4" in pair.causes[0].text for pair in found.pairs)


def test_two_reads_with_different_faults_are_certain_pair_by_pair_only() -> None:
    """No one cause holds for all, so none is certain for all."""
    stuck = Image.of(bytes(value | 1 for value in DATA))
    found = explain([MEMORY, stuck, Image.of(swapped(DATA, 2)), MEMORY])
    assert [pair.causes[0].certain for pair in found.pairs] == [True, True]
    assert {cause.code for cause in found.causes} >= {"data-line", "bytes-swapped"}
    assert not any(cause.certain for cause in found.causes)


def test_more_reads_than_are_compared_are_named() -> None:
    """Sixteen different ones are compared, and that is reported."""
    found = explain([Image.of(bytes([n]) + DATA[1:64]) for n in range(20)])
    assert "only the first 16" in found.text
    assert len(found.pairs) == 15


def test_gaps_are_no_differences() -> None:
    """Two reads with the same gap are compared if both hold bytes, at their addresses."""
    blocks = [Block(0x100, DATA[:512]), Block(0x700, DATA[512:1024])]
    lost = [blocks[0], Block(0x700, b"\xff" * 200 + DATA[712:1024])]
    cause = first(Image.from_blocks(blocks), Image.from_blocks(lost))
    assert cause.code == "contact-lost"
    assert "from 0x0700 to 0x07C7" in cause.text or "to 0x07C7" in cause.text
    far = [blocks[0], Block(0x900000, DATA[512:1024])]
    far_lost = [blocks[0], Block(0x900000, b"\x00" * 200 + DATA[712:1024])]
    cause = first(Image.from_blocks(far), Image.from_blocks(far_lost))
    assert "from 0x900000 to 0x9000C7" in cause.text


@pytest.mark.parametrize(
    "kind", ["unrelated", "one value", "every other byte", "periods", "many stretches"]
)
def test_the_effort_grows_with_the_size_alone(kind: str) -> None:
    """Eight times the bytes, or the stretches: never sixteen times the effort."""
    small, large = _large_reads(kind, 1 << 16), _large_reads(kind, 1 << 19)
    assert growth(lambda: explain(small), lambda: explain(large)) < 16


def _large_reads(kind: str, size: int) -> tuple[Image, Image]:
    many = [Block(at * 2048, b"ab") for at in range(size // 64)]
    return {
        "unrelated": lambda: (Image.of(RNG.randbytes(size)), Image.of(RNG.randbytes(size))),
        "one value": lambda: (Image.of(b"\xff" * size), Image.of(b"\x00" * size)),
        "every other byte": lambda: (Image.of(b"ab" * (size // 2)), Image.of(b"ac" * (size // 2))),
        "periods": lambda: (Image.of(b"abc" * (size // 3)), Image.of(b"abd" * (size // 3))),
        "many stretches": lambda: (
            Image.from_blocks(many),
            Image.from_blocks([Block(block.start + 1, b"ac") for block in many]),
        ),
    }[kind]()
