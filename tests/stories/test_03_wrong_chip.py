"""The wrong chip: stopped with the figures until a person confirms it."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tests.stories.conftest import Laptop

AT = "grebe/thruster/U12"
WHERE = "--vessel grebe --unit thruster --position U12 --by 'A. Fitter'"
SPARE = "--vessel grebe --card S-7 --position U12 --by 'A. Fitter'"
MEMORY = bytes(random.Random(3).randbytes(2048))
OTHER = bytes(random.Random(4).randbytes(2048))


def near(count: int, seed: int = 0) -> bytes:
    """Return the memory with so many bytes changed."""
    data = bytearray(MEMORY)
    for at in random.Random(seed).sample(range(2048), count):
        data[at] ^= 0x5A
    return bytes(data)


def line(laptop: Laptop, reads: Sequence[bytes], words: str) -> str:
    """Return the line that archives reads of a chip, each a file of its own."""
    number = len(list(laptop.folder.glob("*.BIN")))
    names = [laptop.dump(f"R{number + n}.BIN", data) for n, data in enumerate(reads)]
    return f"archive {' '.join(names)} {words}"


@pytest.fixture
def aboard(laptop: Laptop) -> Laptop:
    """Return a laptop with a chip that was read twice in this visit, without a layout."""
    laptop.yes(line(laptop, [MEMORY, MEMORY], WHERE))
    return laptop


def refused(laptop: Laptop, reads: Sequence[bytes], words: str, fault: str) -> Any:
    """Return the refusal of reads; the same with --position-confirmed goes on record."""
    error = laptop.refused(line(laptop, reads, words), fault)
    assert "--position-confirmed" in error["next"]
    laptop.yes(line(laptop, reads, f"{words} --position-confirmed"))
    return error


def test_a_spare_that_is_nearly_the_same_is_no_second_copy_of_the_visit(aboard: Laptop) -> None:
    """Two images, each read twice in one visit: stopped with the figures."""
    error = refused(aboard, [near(40), near(40)], WHERE, "position-second-image")
    assert error["found"] == "2 separate reads that differ in 40 bytes"
    assert error["expected"].endswith("2 separate reads on this occasion")
    shown = aboard.json(f"catalogue {AT}")["positions"][0]
    assert shown["state"] == "unstable"  # confirmed as a read, and not explained


def test_one_read_at_a_time_is_stopped_at_the_second(aboard: Laptop) -> None:
    """The first is a read that disagrees; the second would make it a copy that is verified."""
    aboard.yes(line(aboard, [near(9)], WHERE))
    refused(aboard, [near(9)], WHERE, "position-second-image")


def test_what_is_no_second_image_stops_nothing(aboard: Laptop) -> None:
    """A write with a name, another day, a new chip."""
    aboard.yes(line(aboard, [near(3), near(3)], f"{WHERE} --written 'set at the panel'"))
    aboard.now = aboard.now.replace(month=5)
    aboard.yes(line(aboard, [near(4), near(4)], WHERE))
    aboard.yes(line(aboard, [near(5), near(5)], f"{WHERE} --new-chip 'a cell failed'"))
    assert aboard.json(f"catalogue {AT}")["positions"][0]["copies"] == 4


def test_a_dump_far_from_every_earlier_one_is_stopped_in_another_visit_too(
    aboard: Laptop,
) -> None:
    """How many bytes differ, from which copy, and how many may."""
    aboard.now = aboard.now.replace(month=5)
    error = refused(aboard, [OTHER], WHERE, "position-far")
    assert AT in error["found"]
    assert "bytes differ from the nearest" in error["found"]
    assert "more" not in error["expected"]
    assert "at most half" in error["expected"]
    aboard.yes(line(aboard, [near(900)], WHERE))  # under half of the contents


def test_a_first_image_that_is_held_elsewhere_is_stopped(aboard: Laptop) -> None:
    """At a spare, at another unit, at another vessel: whose bytes they are."""
    error = refused(aboard, [MEMORY], SPARE, "position-image-elsewhere")
    assert f"the bytes of {AT}@" in error["found"]
    other = "--vessel avocet --unit thruster --position U12 --by 'A. Fitter'"
    error = refused(aboard, [MEMORY], other, "position-image-elsewhere")
    assert error["found"].endswith("another vessel")


def test_a_file_that_is_on_record_for_another_position_is_stopped(aboard: Laptop) -> None:
    """The very same file cannot be a read of two chips."""
    where = "--vessel grebe --unit winch --position U3 --by 'A. Fitter'"
    error = aboard.refused(f"archive R0.BIN {where}", "position-file-elsewhere")
    assert AT in error["found"]


def test_a_blank_dump_is_answered_with_what_it_is(aboard: Laptop) -> None:
    """Not with another position, nor with its distance; --position-confirmed passes nothing."""
    for value in (0xFF, 0x00):
        blank = bytes([value]) * 2048
        words = f"{WHERE} --position-confirmed"
        error = aboard.refused(line(aboard, [blank], words), "dump-blank")
        assert f"every byte of the dump is {value:02X}" in error["text"]
        assert "--position-confirmed" not in error["next"]
    aboard.yes(line(aboard, [bytes([0xFF]) * 2048], f"{WHERE} --blank-confirmed"))
    where = WHERE.replace("U12", "U13")
    first = aboard.yes(line(aboard, [bytes([0xFF]) * 2048], where))
    assert "the chip is blank, was not seated, or was not powered" in first


def test_without_a_layout_the_headline_says_what_it_does_not_show(aboard: Laptop) -> None:
    """VERIFIED AS READ, in archive, the catalogue and on the page."""
    aboard.dump("N.BIN", MEMORY)
    said = aboard.yes(f"archive N.BIN {WHERE}")
    assert "VERIFIED AS READ. The reads agree. There is no layout, so it is not shown that" in said
    assert "VERIFIED. " not in said
    assert "verified as read" in aboard.yes("catalogue").replace("  ", " ")
    assert aboard.json("catalogue")["positions"][0]["state"] == "verified-as-read"
    aboard.yes(f"report copy {AT} --out c.html")
    assert "VERIFIED AS READ. The reads agree." in (aboard.folder / "c.html").read_text()
