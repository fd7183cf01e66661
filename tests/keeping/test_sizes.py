"""A chip told later, against the layout and the copies that are there."""

from __future__ import annotations

import pytest

from parambak.errors import LayoutRefused
from parambak.keeping.assess import Assessor, size_doubts
from parambak.keeping.recording.entries import correct
from tests.keeping.conftest import CHIPS, LAYOUT, WHERE, Laptop, image

WIDE = LAYOUT.replace(b"memory = 256", b"memory = 512")


def doubts(laptop: Laptop, chip: str) -> tuple[str, ...]:
    """Put a chip on record; return what it contradicts."""
    correct(laptop.vault, WHERE, {"chip": chip}, by=None, why=None)
    return size_doubts(
        Assessor(laptop.vault, CHIPS), laptop.position(), CHIPS[chip].name, CHIPS[chip].size
    )


def test_a_chip_of_the_same_size_contradicts_nothing(laptop: Laptop) -> None:
    """Neither the layout nor the copy; nor where there is no layout and no other size."""
    laptop.take(image(), layout=LAYOUT)
    assert doubts(laptop, "t256") == ()


def test_a_chip_of_another_size_than_the_layout_and_the_copy(laptop: Laptop) -> None:
    """Both are stated with their sizes; the copy is no longer verified."""
    laptop.verified()
    of_layout, of_copy = doubts(laptop, "t512")
    assert "T512 has 512 bytes" in of_layout
    assert "thruster.toml, is for 256" in of_layout
    assert f"{laptop.latest().sha256[:8]}, holds 256" in of_copy
    verdict = Assessor(laptop.vault, CHIPS).verdict(laptop.position(), laptop.latest())
    assert not verdict.verified


def test_no_layout_leaves_the_copy_alone_to_contradict(laptop: Laptop) -> None:
    """One doubt, not two."""
    laptop.take(image())
    (of_copy,) = doubts(laptop, "t512")
    assert "the latest copy" in of_copy


def test_archiving_after_it_is_refused_until_one_of_the_two_is_mended(laptop: Laptop) -> None:
    """By the code of chip and layout at odds; either way of mending it goes on."""
    laptop.take(image(), layout=LAYOUT)
    assert doubts(laptop, "t512")
    before = laptop.tree()
    with pytest.raises(LayoutRefused) as refused:
        laptop.take(image(3))
    assert refused.value.code == "layout-chip-differs"
    assert "correct" in (refused.value.next or "")
    assert laptop.tree() == before
    wide = laptop.take(image() + bytes(range(256)), layout=WIDE, position_confirmed=True)
    assert wide.copy.image.ranges == ((0, 512),)
    assert doubts(laptop, "t256")
    correct(laptop.vault, WHERE, {"chip": "t512"}, by=None, why="misread")
    assert doubts(laptop, "t512") == ()


def test_a_size_that_was_used_counts_where_a_later_table_has_no_such_chip(laptop: Laptop) -> None:
    """It is kept with the read; another chip on record since then has none of it."""
    laptop.take(image(), chip="t256")
    position = laptop.position()
    for chips in (CHIPS, {}):
        size = Assessor(laptop.vault, chips).size_entry(position, None)
        assert size is not None
        assert (size.bytes, size.by, size.chip) == (256, "chip", "T256")
    correct(laptop.vault, WHERE, {"chip": "z9"}, by=None, why="misread")
    assert Assessor(laptop.vault, {}).size_entry(laptop.position(), None) is None


def test_a_size_on_record_that_no_chip_has_counts_for_nothing(laptop: Laptop) -> None:
    """What another program wrote there: no number, a number of 5,000 digits, a negative one."""
    laptop.take(image())
    for text in ("", "x", "-1", "0", "9" * 5000, "1" * 9, "\u0662", "12.0"):
        correct(laptop.vault, WHERE, {"size": text[:3999]}, by=None, why=None)
        assert laptop.position().size is None
    correct(laptop.vault, WHERE, {"size": "0300"}, by=None, why=None)
    assert laptop.position().size == 300
