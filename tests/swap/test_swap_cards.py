"""The cards of a swap, compared with the record and the other swaps that are open."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest

from parambak.errors import CallRefused
from parambak.keeping.recording.cards import enter_card
from parambak.keeping.state.bodies import SwapOpenedBody
from parambak.swap.swap_cards import Named, refuse_taken
from parambak.swap.swaps import Step, Swap
from tests.keeping.conftest import LAYOUT, WHERE, Laptop, image
from tests.swap.conftest import abandoned, closed, opened, read_back

if TYPE_CHECKING:
    from collections.abc import Sequence

CARD: Any = SimpleNamespace(ids=frozenset({"c2", "c3"}), serial="S-2")
OTHER: Any = SimpleNamespace(ids=frozenset({"c9"}), serial="S-9")
VESSEL: Any = SimpleNamespace(cards=(OTHER, CARD), units=())


def naming(**cards: Any) -> Swap:
    """Return an open swap that names these cards."""
    body = SwapOpenedBody(swap="s", position="p", route="load", why="x", **cards)
    return Swap("s", "v", Step("r", None, datetime(2026, 3, 1, tzinfo=UTC)), body)


@pytest.mark.parametrize(
    ("there", "here", "expected"),
    [
        ({"new_card": "c2"}, Named(None, "c3"), "a card that goes into one unit"),
        ({"old_card": "c3"}, Named("c2", None), "a card that comes out of one unit"),
    ],
)
def test_one_card_in_two_open_swaps_is_refused(
    there: dict[str, str], here: Named, expected: str
) -> None:
    """Two identities of it, as two laptops enter them, are one card; its serial is named."""
    with pytest.raises(CallRefused) as caught:
        refuse_taken(VESSEL, [naming(**there)], here)
    assert caught.value.code == "swap-card-taken"
    assert caught.value.expected == expected
    assert caught.value.found == "card S-2, at another position"


def test_another_card_is_not_refused() -> None:
    """Neither one that is on record nor one that is not."""
    refuse_taken(VESSEL, [naming(new_card="c2"), naming(old_card="c3")], Named("c9", "c9"))
    refuse_taken(VESSEL, [naming(new_card="c7")], Named(None, "c2"))
    with pytest.raises(CallRefused):
        refuse_taken(VESSEL, [naming(new_card="c7")], Named(None, "c7"))


# --- on a laptop ---

PORT, STARBOARD, BOW = WHERE, "grebe/stbd-thruster/U12", "grebe/bow-thruster/U12"


@pytest.fixture
def units(laptop: Laptop) -> Laptop:
    """Return a laptop with a copy of three units, and no card."""
    for seed, where in enumerate((STARBOARD, BOW), start=2):
        laptop.take(image(seed), where=where, layout=LAYOUT, chip="T256")
    return laptop


def keep(laptop: Laptop, serial: str, location: str) -> None:
    """Put a card on record: in the unit that is named, or elsewhere."""
    unit = location.endswith("-thruster")
    enter_card(
        laptop.vault,
        vessel="grebe",
        serial=serial,
        location="in a unit" if unit else location,
        card_type=None,
        by=None,
        unit=location if unit else None,
    )


@pytest.mark.parametrize(
    ("old", "new", "elsewhere"),
    [
        ("port-thruster", "spare aboard", ()),
        ("stbd-thruster", "spare aboard", ("old card, PC-1, is on record in grebe/stbd-thruster",)),
        ("spare aboard", "spare aboard", ("old card, PC-1, is on record spare aboard",)),
        ("ashore", "spare aboard", ("old card, PC-1, is on record ashore",)),
        ("port-thruster", "bow-thruster", ("new card, PC-2, is on record in grebe/bow-thruster",)),
        (
            "port-thruster",
            "port-thruster",
            ("new card, PC-2, is on record in grebe/port-thruster",),
        ),
        ("port-thruster", "ashore", ("new card, PC-2, is on record ashore",)),
        ("port-thruster", "scrapped", ("new card, PC-2, is on record scrapped",)),
        (
            "scrapped",
            "scrapped",
            ("old card, PC-1, is on record scrapped", "new card, PC-2, is on record scrapped"),
        ),
    ],
)
def test_a_card_that_the_record_has_elsewhere_is_pointed_out(
    units: Laptop, old: str, new: str, elsewhere: Sequence[str]
) -> None:
    """A wrong card in the hand, or a serial misread, is met before anything is loaded."""
    keep(units, "PC-1", old)
    keep(units, "PC-2", new)
    notes = opened(units, old_card="pc-1", new_card="pc-2")
    assert len(notes) == len(elsewhere)
    for note, words in zip(notes, elsewhere, strict=True):
        assert f"the {words}: " in note


def test_cards_that_the_swap_brings_in_are_put_where_it_has_them(units: Laptop) -> None:
    """The old one in the unit, the new one a spare aboard; nothing speaks against them."""
    assert opened(units, old_card="PC-1", new_card="PC-2") == ()
    facts = {card.serial: card.facts for card in units.fleet.vessels[0].cards}
    assert (facts["PC-1"]["location"], facts["PC-1"]["unit"]) == ("in a unit", "port-thruster")
    assert facts["PC-2"]["location"] == "spare aboard"
    assert "unit" not in facts["PC-2"]


def test_a_card_that_goes_from_one_open_swap_to_another_is_pointed_out(units: Laptop) -> None:
    """Two cards changed over: what each holds is gone once the other swap has loaded it."""
    opened(units, PORT, old_card="PC-1", new_card="PC-2")
    notes = opened(units, STARBOARD, old_card="PC-2", new_card="PC-1")
    crossed = [note for note in notes if "check which card" not in note]
    assert len(crossed) == 2
    assert crossed[0].startswith(f"card PC-2 comes out here, and goes in at {PORT}: ")
    assert "first read it and archive it here" in crossed[0]
    assert crossed[1].startswith(f"card PC-1 goes in here, and comes out at {PORT}: ")
    assert opened(units, BOW, old_card="PC-3", new_card="PC-4") == ()


@pytest.mark.parametrize("cards", [{"old_card": "PC-1"}, {"new_card": "pc-2"}])
def test_a_card_is_free_again_once_its_swap_has_ended(units: Laptop, cards: dict[str, str]) -> None:
    """Until then it is refused, and the other position is named."""
    opened(units, PORT, old_card="PC-1", new_card="PC-2")
    with pytest.raises(CallRefused) as refusal:
        opened(units, STARBOARD, **cards)
    assert refusal.value.code == "swap-card-taken"
    (serial,) = cards.values()
    assert refusal.value.found == f"card {serial.upper()}, at {PORT}"
    assert ("comes out" if "old_card" in cards else "goes in") in refusal.value.text
    abandoned(units, PORT)
    opened(units, STARBOARD, **cards)


@pytest.mark.parametrize(
    ("new", "others", "listed"),
    [
        ("PC-2", (), None),
        ("PC-2", ("PC-8",), "PC-8"),
        ("PC-2", ("PC-8", "PC-9"), "PC-8, PC-9"),
        (None, ("PC-8",), None),
    ],
)
def test_closing_names_further_cards_that_are_on_record_in_the_unit(
    units: Laptop, new: str | None, others: Sequence[str], listed: str | None
) -> None:
    """One card was fitted: another that the record has there is most likely the one taken out."""
    for serial in others:
        keep(units, serial, "port-thruster")
    keep(units, "PC-7", "bow-thruster")
    opened(units, old_card="PC-1", new_card=new)
    read_back(units, image(), 2)
    notes = closed(units).notes
    if listed is None:
        assert notes == ()
    else:
        (note,) = notes
        assert f"still on record in grebe/port-thruster: {listed}." in note
