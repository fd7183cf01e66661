"""The cards of two units crossed over: known, said, a read stopped, and put back."""

from __future__ import annotations

from itertools import permutations
from typing import TYPE_CHECKING

import pytest

from parambak.errors import CallRefused, ParambakError
from parambak.keeping.recording.cards import enter_card, record_cross_over
from parambak.keeping.recording.entries import correct
from parambak.keeping.state.bodies import CardsCrossedOverBody, body_of
from parambak.keeping.state.cards import cross_over_notes, cross_overs, still_crossed_over
from tests.keeping.conftest import Laptop, image

if TYPE_CHECKING:
    from pathlib import Path

PORT, STBD, WINCH = "grebe/port", "grebe/stbd", "grebe/winch"


@pytest.fixture
def tug(laptop: Laptop) -> Laptop:
    """Return a laptop that knows three units of a tug."""
    for seed, unit in enumerate((PORT, STBD, WINCH), 1):
        laptop.take(image(seed), where=f"{unit}/U12")
    return laptop


def say(laptop: Laptop, one: str = PORT, other: str = STBD, *, back: bool = False) -> str:
    """Put an cross-over or its end on record; return what it means."""
    words = "it went with the card" if back else "does it go with the card?"
    told, _ = record_cross_over(laptop.vault, one, other, why=words, by="A. Fitter", back=back)
    return told.text


def said(laptop: Laptop) -> list[str]:
    """Return which units are crossed over now."""
    (vessel,) = laptop.fleet.vessels
    found = cross_overs(laptop.vault, vessel)
    return [" and ".join(unit.where for unit in each.units) for each in found]


def body(one: str, other: str, *, back: bool = False) -> CardsCrossedOverBody:
    """Return what a record tells."""
    return CardsCrossedOverBody(units=(one, other), why="", back=back)


def test_pairs_are_worked_out_from_what_is_told_in_order() -> None:
    """Named either way round, under any identity; put back, and crossed over again."""
    told = [("r1", body("a", "b")), ("r2", body("c", "d"))]
    assert still_crossed_over(told, {}) == {frozenset("ab"): "r1", frozenset("cd"): "r2"}
    assert still_crossed_over([*told, ("r3", body("b", "a", back=True))], {}) == {
        frozenset("cd"): "r2"
    }
    again = [*told, ("r3", body("x", "a", back=True)), ("r4", body("a", "b"))]
    assert still_crossed_over(again, {"x": "b"})[frozenset("ab")] == "r4"
    assert still_crossed_over([("r1", body("a", "b")), ("r2", body("b", "a"))], {}) == {
        frozenset("ab"): "r1"
    }


def test_an_exchange_is_known_and_said_until_the_cards_are_back(tug: Laptop) -> None:
    """For both units and no other; with the position that they share."""
    assert said(tug) == []
    text = say(tug)
    assert "the chip in U12 of each unit carries the parameters of the other" in text
    assert said(tug) == ["grebe/port and grebe/stbd"]
    (vessel,) = tug.fleet.vessels
    told = {unit.short: cross_over_notes(tug.vault, vessel, [unit]) for unit in vessel.units}
    assert told["port"] == told["stbd"] == (text,)
    assert told["winch"] == ()
    say(tug, STBD, PORT, back=True)
    assert said(tug) == []


def test_a_read_filed_under_an_exchanged_unit_is_stopped(tug: Laptop) -> None:
    """At any position, known or new; nothing is kept; the third unit's read goes on record."""
    say(tug)
    before = tug.tree()
    for where in (f"{PORT}/U12", f"{STBD}/U12", "grebe/STBD/U13"):
        with pytest.raises(CallRefused) as refusal:
            tug.take(image(), where=where)
        assert refusal.value.code == "cross-over-read"
        assert "grebe/port and grebe/stbd" in refusal.value.text
    assert tug.tree() == before
    assert tug.take(image(3), where=f"{WINCH}/U12").warnings == ()
    taken = tug.take(image(1), where=f"{PORT}/U12", position_confirmed=True)
    assert "CROSSED OVER" in taken.warnings[0]
    say(tug, back=True)
    assert tug.take(image(1), where=f"{PORT}/U12").warnings == ()


def test_a_read_of_another_vessel_or_of_a_spare_is_not_stopped(tug: Laptop) -> None:
    """A unit of the same name elsewhere, and a card in none."""
    say(tug)
    assert tug.take(image(4), where="avocet/port/U12").position.where == "avocet/port/U12"
    assert tug.take(image(5), where="grebe/card:PC-1/U12").warnings == ()


@pytest.mark.parametrize(
    ("one", "other", "code"),
    [
        (PORT, PORT, "cross-over-units"),
        (PORT, "grebe", "cross-over-units"),
        (PORT, f"{STBD}/U12", "cross-over-units"),
        (PORT, "grebe/card:PC-1", "cross-over-units"),
        (PORT, "avocet/port", "cross-over-units"),
        (PORT, "grebe/crane", "where-unit"),
    ],
)
def test_only_two_units_of_one_vessel_exchange_cards(
    tug: Laptop, one: str, other: str, code: str
) -> None:
    """One and itself, a vessel, a position, a spare, a sister ship; nothing is kept."""
    tug.take(image(4), where="avocet/port/U12")
    tug.take(image(5), where="grebe/card:PC-1/U12")
    before = tug.tree()
    for pair in permutations((one, other)):
        with pytest.raises(ParambakError) as refusal:
            say(tug, *pair)
        assert refusal.value.code == code
    assert tug.tree() == before


def test_an_exchange_is_not_made_twice_nor_put_back_where_there_is_none(tug: Laptop) -> None:
    """Nor a third unit drawn in: first back, then again."""
    with pytest.raises(CallRefused) as refusal:
        say(tug, back=True)
    assert refusal.value.code == "cross-over-none"
    say(tug)
    for pair in ((PORT, STBD), (STBD, WINCH)):
        with pytest.raises(CallRefused) as refusal:
            say(tug, *pair)
        assert refusal.value.code == "cross-over-already"
    with pytest.raises(CallRefused) as refusal:
        say(tug, STBD, WINCH, back=True)
    assert refusal.value.code == "cross-over-none"


@pytest.mark.parametrize("text", ["\x1b[2J", "a\u202eb", "x" * 10_000])
def test_hostile_words_about_an_exchange_are_refused(tug: Laptop, text: str) -> None:
    """In the reason and the name; nothing is kept."""
    before = tug.tree()
    for words in ({"why": text, "by": "A. I."}, {"why": "a", "by": text}):
        with pytest.raises(CallRefused) as refusal:
            record_cross_over(tug.vault, PORT, STBD, back=False, **words)
        assert refusal.value.code in {"text-character", "text-length"}
    assert tug.tree() == before


def test_units_of_two_types_are_warned_of(tug: Laptop) -> None:
    """It may have been done all the same, and goes on record."""
    for unit, kind in ((PORT, "TC-4"), (STBD, "TC-5")):
        correct(tug.vault, unit, {"maker_type": kind}, by=None, why=None)
    _, warnings = record_cross_over(tug.vault, PORT, STBD, why="a", by="A. I.", back=False)
    assert "grebe/port is a TC-4 and grebe/stbd a TC-5" in warnings[0]
    assert said(tug) == ["grebe/port and grebe/stbd"]


def test_the_cards_are_named_where_each_unit_has_one(tug: Laptop) -> None:
    """With two in one unit nobody knows which."""
    for serial, unit in (("PC-1", "port"), ("PC-2", "stbd"), ("PC-3", "winch"), ("PC-4", "winch")):
        enter_card(
            tug.vault,
            vessel="grebe",
            serial=serial,
            location="in a unit",
            card_type=None,
            by=None,
            unit=unit,
        )
    cards = {card.serial: card.id for card in tug.fleet.vessels[0].cards}
    say(tug, STBD, PORT)
    say(tug, STBD, PORT, back=True)
    say(tug, PORT, WINCH)
    found = tug.vault.of_kind(tug.vault.vessels()[0], "cards-crossed-over")
    bodies = [body_of(each.record, each.digest, CardsCrossedOverBody) for each in found]
    assert sorted(each.cards or () for each in bodies) == sorted(
        [(), (cards["PC-2"], cards["PC-1"]), (cards["PC-2"], cards["PC-1"])]
    )


def test_an_exchange_of_a_ship_entered_twice_holds_under_both(tmp_path: Path) -> None:
    """Told on one laptop, known after the merge, and put back for both identities."""
    one, other = Laptop(tmp_path / "one"), Laptop(tmp_path / "two", start=60)
    for laptop in (one, other):
        laptop.take(image(1), where=f"{PORT}/U12")
        laptop.take(image(2), where=f"{STBD}/U12")
        correct(laptop.vault, "grebe", {"imo": "1234567"}, by=None, why=None)
    say(other)
    one.merge_from(other)
    assert said(one) == ["grebe/port and grebe/stbd"]
    say(one, back=True)
    assert said(one) == []
    say(one)
    assert said(one) == ["grebe/port and grebe/stbd"]
    kinds = [
        len(one.vault.of_kind(identity, "cards-crossed-over")) for identity in one.vault.vessels()
    ]
    assert sorted(kinds) == [2, 3]
    (vessel,) = one.fleet.vessels
    for identity in vessel.ids:  # each one's records name its own units
        for stored in one.vault.of_kind(identity, "cards-crossed-over"):
            units = body_of(stored.record, stored.digest, CardsCrossedOverBody).units
            assert {vessel.home(unit) for unit in units} == {identity}
