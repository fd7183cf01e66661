"""Port and starboard mixed up: a dump that fits another position far better is stopped."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from parambak.errors import CallRefused
from parambak.keeping.recording.entries import correct
from parambak.keeping.recording.filing import OTHER_CHIP
from parambak.keeping.recording.wrong_position import refuse_better_fit
from parambak.memory.image import Image, Range
from tests.keeping.conftest import LAYOUT, WHERE, image

if TYPE_CHECKING:
    from tests.keeping.conftest import Laptop

PORT, STARBOARD = "grebe/port-thruster/U12", "grebe/starboard-thruster/U12"


@pytest.fixture
def sides(laptop: Laptop) -> Laptop:
    """Return a laptop with a copy of each side."""
    laptop.take(image(1), where=PORT)
    laptop.take(image(2), where=STARBOARD)
    return laptop


def stopped(laptop: Laptop, data: bytes, where: str = PORT, **words: Any) -> CallRefused:
    """Return the refusal that a read meets; nothing is written."""
    before = laptop.tree()
    with pytest.raises(CallRefused) as refusal:
        laptop.take(data, where=where, **words)
    assert laptop.tree() == before
    return refusal.value


def test_sides_mixed_up_are_stopped_with_the_figures(sides: Laptop) -> None:
    """Which copy it is near, which not, by how many bytes, and how to go on."""
    error = stopped(sides, image(2))
    assert error.code == "position-fits-elsewhere"
    own = sum(a != b for a, b in zip(image(1), image(2), strict=True))
    assert error.expected is not None
    assert error.found is not None
    assert f"near {PORT}@" in error.expected
    assert error.expected.endswith(f"it differs in {own} bytes")
    assert f"nearer to {STARBOARD}@" in error.found
    assert error.found.endswith("it differs in 0 bytes")
    assert "--position-confirmed" in (error.next or "")


def test_a_few_bytes_off_the_other_side_are_stopped_too(sides: Laptop) -> None:
    """A counter moved on since the other side was read."""
    assert stopped(sides, image(2, {0xA0: 1, 0xA1: 2})).code == "position-fits-elsewhere"


def test_the_engineers_word_passes_it_and_is_on_record(sides: Laptop) -> None:
    """--position-confirmed."""
    sides.take(image(2), where=PORT, position_confirmed=True)
    vessel = sides.fleet.vessels[0].id
    assert sides.vault.records(vessel)[-1].record.body["position_confirmed"] is True


def test_a_new_memory_that_fits_nothing_better_is_asked_about(sides: Laptop) -> None:
    """Replaced by another program altogether, or another chip: as far from every copy."""
    error = stopped(sides, image(3))
    assert error.code == "position-far"
    assert "more than half" not in (error.found or "")
    assert "bytes differ from the nearest, grebe/port-thruster/U12@" in (error.found or "")
    assert sides.take(image(3), where=PORT, position_confirmed=True).position.where == PORT


def test_a_first_image_that_the_sister_has_is_asked_about(sides: Laptop) -> None:
    """The first read of a unit may equal its sister's: they have one setting, or it is hers."""
    bow = "grebe/bow-thruster/U12"
    assert stopped(sides, image(2), bow).code == "position-image-elsewhere"
    assert sides.take(image(2), where=bow, position_confirmed=True).position.where == bow


def test_units_set_alike_stop_nothing(laptop: Laptop) -> None:
    """The dump equals its own copy and the sister's."""
    laptop.take(image(1), where=PORT)
    laptop.take(image(1), where=STARBOARD, position_confirmed=True)
    laptop.take(image(1), where=PORT)
    assert len(laptop.position(PORT).reads) == 2


@pytest.mark.parametrize(
    ("types", "stops"),
    [
        (("TC-4", "TC-4"), True),
        (("TC-4", "tc-4"), True),
        (("TC-4", "WL-1"), False),
        (("TC-4", ""), True),
        (("", ""), True),
    ],
)
def test_another_makers_type_shuts_a_unit_out(
    sides: Laptop, types: tuple[str, str], stops: bool
) -> None:
    """Only units of one type can be mixed up; a type that nobody told shuts none out."""
    for where, maker_type in zip((PORT, STARBOARD), types, strict=True):
        if maker_type:
            facts = {"maker_type": maker_type}
            correct(sides.vault, where.removesuffix("/U12"), facts, by=None, why=None)
    if stops:
        assert stopped(sides, image(2)).code == "position-fits-elsewhere"
    else:
        assert stopped(sides, image(2)).code == "position-far"


def test_a_later_image_of_another_vessel_is_not_looked_for(sides: Laptop) -> None:
    """The sister ship is not aboard: only a first image is compared with hers."""
    near = image(1, {0xA0: 7})
    sides.take(near, where="avocet/port-thruster/U12")
    assert sides.take(near, where=PORT).position.where == PORT


def test_a_first_image_that_another_vessel_has_is_asked_about(sides: Laptop) -> None:
    """As far as this vault holds it."""
    error = stopped(sides, image(1), "avocet/port-thruster/U12", new_vessel=True)
    assert error.code == "position-image-elsewhere"
    assert (error.found or "").endswith("another vessel")


def test_the_other_chip_of_the_same_unit_is_held_against_it(sides: Laptop) -> None:
    """U12 and U13 are as easily mixed up as two sides."""
    sides.take(image(4), where="grebe/port-thruster/U13")
    assert "U13@" in (stopped(sides, image(4)).found or "")


def test_a_damaged_sister_copy_does_not_stop_the_read(sides: Laptop) -> None:
    """What cannot be compared with is left out."""
    sides.lose(sides.latest(STARBOARD).sha256)
    assert stopped(sides, image(2)).code == "position-far"


def test_bytes_running_are_left_out(laptop: Laptop) -> None:
    """Counters and clocks do not make a dump fit another unit; plates do tell them apart."""
    plate = dict(enumerate(b"PLATE-07"))
    counters = dict.fromkeys((*range(32, 36), 48, 49), 170)
    mine = image(1, plate)
    laptop.take(mine, where=PORT, layout=LAYOUT)
    laptop.take(image(1, plate | counters | {0xA0: 0x55}), where=STARBOARD, layout=LAYOUT)
    laptop.take(image(1, plate | counters | {0xA1: 0x55}), where=PORT, layout=LAYOUT)
    assert len(laptop.position(PORT).copies) == 2


def test_a_field_that_tells_the_unit_must_agree(laptop: Laptop) -> None:
    """Another plate: position-other-unit, the field named, both values shown."""
    laptop.take(image(1), layout=LAYOUT)
    other = image(1, {0: image(1)[0] ^ 0xFF})
    error = stopped(laptop, other)
    assert error.code == "position-other-unit"
    assert "plate" in error.text
    assert error.expected == image(1)[:8].hex(" ").upper()
    assert error.found == other[:8].hex(" ").upper()
    assert laptop.take(other, position_confirmed=True).position.where == WHERE


@pytest.mark.parametrize(
    ("kind", "mine", "other", "expected", "found"),
    [
        ('"text"\nlength = 8', b"TC-00417", b"TC-00418", '"TC-00417"', '"TC-00418"'),
        (
            '"text"\nlength = 8\nencoding = "latin-1"',
            b"J\xfcrg\x00\x00\x00\x00",
            b"J\xf8rg    ",
            '"Jürg"',
            '"Jørg"',
        ),
        ('"text"\nlength = 8', b"TC-00417", b"\xff" * 8, '"TC-00417"', "FF FF FF FF FF FF FF FF"),
        ('"text"\nlength = 4', b"TC-4", b"TC-\x1b", '"TC-4"', "54 43 2D 1B"),
        ('"text"\nlength = 6', b"TC-4  ", b"TC-4\0\0", "54 43 2D 34 20 20", "54 43 2D 34 00 00"),
        ('"u16"\nunit = "no."', b"\x01\x02", b"\x01\x03", "258 no.", "259 no."),
        ('"bcd"\nlength = 2', b"\x12\x34", b"\x12\x3a", "1234", "12 3A"),
        ('"bytes"\nlength = 2', b"\x12\x34", b"\x12\x35", "12 34", "12 35"),
    ],
)
def test_what_tells_the_unit_is_shown_as_it_is_read(  # noqa: PLR0917 - the parts of one case
    laptop: Laptop, kind: str, mine: bytes, other: bytes, expected: str, found: str
) -> None:
    """Text in quotes, a number with its unit; bytes where there is no value or none to tell."""
    layout = LAYOUT.replace(b'"bytes"\nlength = 8', kind.encode())
    laptop.take(image(1, dict(enumerate(mine))), layout=layout)
    error = stopped(laptop, image(1, dict(enumerate(other))))
    assert error.code == "position-other-unit"
    assert "plate" in error.text
    assert (error.expected, error.found) == (expected, found)


def test_a_bit_beside_the_one_that_tells_the_unit_tells_nothing(laptop: Laptop) -> None:
    """Two flags of one byte: the other may move."""
    layout = LAYOUT.replace(b'"bytes"\nlength = 8', b'"flag"\nbit = 0')
    laptop.take(image(1, {0: 0x01}), layout=layout)
    laptop.take(image(1, {0: 0x03}), layout=layout)
    assert stopped(laptop, image(1, {0: 0x02})).found == "0"


def test_another_chip_than_the_one_on_record_is_refused(laptop: Laptop) -> None:
    """target-other-chip; the same in other case is the same."""
    laptop.take(image(), chip="T256")
    error = stopped(laptop, image(), chip="T512")
    assert error.code == OTHER_CHIP.code == "target-other-chip"
    assert laptop.take(image(), chip="t256").verdict.verified


def test_a_chip_told_later_is_put_on_record(laptop: Laptop) -> None:
    """The answer says that it is now known, and the size is judged from then on."""
    laptop.take(image())
    taken = laptop.take(image(), chip="T256")
    assert taken.made == ("now on record: chip t256",)
    assert laptop.position().chip == "t256"


@pytest.mark.parametrize(
    ("here", "elsewhere", "stops"),
    [
        (0, 0, False),
        (1, 0, True),
        (7, 1, False),
        (8, 2, True),
        (8, 3, False),
        (40, 10, True),
        (40, 11, False),
    ],
)
def test_far_better_by_the_figures(here: int, elsewhere: int, stops: bool) -> None:
    """An exact match elsewhere; or from 8 bytes off, a quarter of them or less elsewhere."""
    base = bytes(256)
    own = bytes([1] * here) + bytes(256 - here)
    other = bytes(256 - elsewhere) + bytes([1] * elsewhere)
    fits = (Image.of(base), ("own", Image.of(own)), [("other", Image.of(other))])
    if stops:
        with pytest.raises(CallRefused):
            refuse_better_fit(*fits, ())
    else:
        refuse_better_fit(*fits, ())
    refuse_better_fit(*fits, (Range(0, 256),))
