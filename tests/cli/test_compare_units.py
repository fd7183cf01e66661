"""`compare-units`, as a user and a script meet it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.cli.invented import LAYOUT, MEMORY, dump

if TYPE_CHECKING:
    from tests.cli.conftest import Ship


@pytest.fixture
def sisters(ship: Ship) -> Ship:
    """Return two vessels with three units of one layout, one of them odd."""
    ship.write("layout.toml", LAYOUT)
    odd = MEMORY[:0x10] + bytes([MEMORY[0x10] ^ 0x55]) + MEMORY[0x11:]
    units = (("grebe", "port", MEMORY), ("grebe", "stbd", odd), ("avocet", "port", MEMORY))
    for second, (vessel, unit, memory) in enumerate(units):
        ship.write(f"{second}.hex", dump(memory), second=second)
        where = ("--vessel", vessel, "--unit", unit, "--position", "U12", "--position-confirmed")
        assert ship.run("archive", f"{second}.hex", *where, "--layout", "layout.toml").code == 0
    return ship


def test_the_odd_one_is_named(sisters: Ship) -> None:
    """With its value and what the others hold."""
    result = sisters.run("compare-units")
    assert result.code == 0
    assert "Differs most: grebe/stbd/U12, in 1 value: level." in result.out
    words = " ".join(result.out.split())
    assert "`parambak history grebe/stbd/U12 --field level`" in words
    assert "`parambak compare-units grebe/stbd/U12 --on-purpose FIELD --reason TEXT`" in words
    (group,) = sisters.answer("compare-units").document["groups"]
    assert len(group["units"]) == 3
    (unlike,) = group["different"]
    assert (unlike["where"], unlike["field"]) == ("grebe/stbd/U12", "level")
    assert (unlike["usual"], unlike["same"], unlike["units"]) == (str(MEMORY[0x10]), 1, 3)


def test_what_is_asked_for_is_held_against_the_fleet(sisters: Ship) -> None:
    """A vessel without an odd unit has none; the others are still compared with."""
    assert "No unit differs" in sisters.run("compare-units", "avocet").out
    assert "grebe/stbd/U12" in sisters.run("compare-units", "grebe").out


def test_what_differs_on_purpose_is_marked_once(sisters: Ship) -> None:
    """With a reason; it can be looked at again."""
    words = ("compare-units", "grebe/stbd/U12", "--on-purpose", "level", "--by", "A. Fitter")
    marked = sisters.answer(*words, "--reason", "larger pump")
    assert marked.document["groups"][0]["different"] == []
    later = sisters.answer("compare-units").document
    assert later["groups"][0]["different"] == []
    assert later["on_purpose"][0]["reason"] == "larger pump"
    again = sisters.answer(*words, "--reason", "pump changed", "--withdraw")
    assert len(again.document["groups"][0]["different"]) == 1


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--on-purpose", "level", "--reason", "x"), "compare-units-on-purpose"),
        (("grebe/stbd/U12", "--on-purpose", "level"), "compare-units-on-purpose"),
        (("grebe/stbd/U12", "--on-purpose", "leval", "--reason", "x"), "compare-units-no-field"),
        (("grebe/stbd", "--on-purpose", "level", "--reason", "x"), "where-shape"),
        (("heron",), "where-vessel"),
    ],
)
def test_what_is_refused_leaves_the_vault_as_it_was(
    sisters: Ship, words: tuple[str, ...], code: str
) -> None:
    """Exit 2, the code, and what to do."""
    before = sisters.tree()
    refused = sisters.answer("compare-units", *words)
    assert (refused.code, refused.document["error"]["code"]) == (2, code)
    assert refused.document["error"]["next"]
    assert sisters.tree() == before


def test_without_two_alike_there_is_nothing_to_compare(ship: Ship) -> None:
    """It is said, and so is what has no layout."""
    ship.write("a.hex", dump())
    where = ("--vessel", "grebe", "--unit", "port", "--position", "U12")
    ship.run("archive", "a.hex", *where)
    result = ship.run("compare-units")
    assert "No two units have the same layout" in result.out
    assert "grebe/port/U12" in result.out
