"""Cards: location, a spare's own dump, and the sheet of what a unit's card must carry."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from parambak.errors import CallRefused, NotFound, ParambakError, SheetRefused
from parambak.keeping.recording.cards import enter_card, record_sheet
from parambak.keeping.state.cards import cards_in
from parambak.memory.digests import sha256
from tests.keeping.conftest import WHERE, Laptop, image

if TYPE_CHECKING:
    from pathlib import Path

SHEET = b'card-type = "TC-2"\n'


def enter(laptop: Laptop, serial: str, location: str, **words: str) -> tuple[str, bool]:
    """Put a card on record."""
    return enter_card(
        laptop.vault,
        vessel="grebe",
        serial=serial,
        location=location,
        card_type=words.get("card_type"),
        by=words.get("by"),
    )


def test_a_spares_own_dump_is_never_filed_under_a_unit(laptop: Laptop) -> None:
    """It stands under its card; the unit's positions do not know of it."""
    laptop.take(image())
    taken = laptop.take(image(2), where="grebe/card:PC-1/U12")
    assert taken.made == ("new card PC-1, a spare aboard", "new position U12")
    assert taken.position.where == "grebe/card:PC-1/U12"
    (vessel,) = laptop.fleet.vessels
    assert [unit.short for unit in vessel.units] == ["port-thruster"]
    assert [copy.sha256 for copy in laptop.position(WHERE).copies] == [sha256(image())]
    assert vessel.cards[0].facts == {"serial": "PC-1", "location": "spare aboard"}


def test_a_spare_set_as_a_unit_is_asked_about(laptop: Laptop) -> None:
    """A spare's first dump may equal the unit's: it is the unit's spare, or the unit's own chip."""
    laptop.take(image())
    with pytest.raises(CallRefused) as refusal:
        laptop.take(image(), where="grebe/card:PC-1/U12")
    assert refusal.value.code == "position-image-elsewhere"
    assert laptop.take(image(), where="grebe/card:PC-1/U12", position_confirmed=True).reads == 1


def test_a_unit_may_be_named_as_a_card(laptop: Laptop) -> None:
    """Units and cards do not share names: both are found."""
    laptop.take(image(), where="grebe/PC-1/U12")
    laptop.take(image(2), where="grebe/card:PC-1/U12")
    assert laptop.latest("grebe/PC-1/U12").sha256 == sha256(image())
    assert laptop.latest("grebe/card:pc-1/u12").sha256 == sha256(image(2))


def test_a_card_is_entered_once_and_then_moved(laptop: Laptop) -> None:
    """New at first, then the same card somewhere else; the type once told stays."""
    laptop.take(image())
    where = "grebe/card:PC-1"
    assert enter(laptop, "PC-1", "spare aboard", card_type="TC-2", by="A. I.") == (where, True)
    assert enter(laptop, "pc-1", "ashore") == (where, False)
    (card,) = laptop.fleet.vessels[0].cards
    facts = {"serial": "PC-1", "location": "ashore", "card_type": "TC-2"}
    assert (card.where, card.facts) == (where, facts)


def test_a_card_needs_its_vessel(laptop: Laptop) -> None:
    """An unknown vessel makes nothing."""
    laptop.take(image())
    with pytest.raises(NotFound) as refusal:
        enter_card(
            laptop.vault,
            vessel="avocet",
            serial="PC-1",
            location="ashore",
            card_type=None,
            by=None,
        )
    assert refusal.value.code == "where-vessel"


def test_a_cards_type_is_a_text_like_any_other(laptop: Laptop) -> None:
    """Control characters are refused."""
    laptop.take(image())
    with pytest.raises(CallRefused) as refusal:
        enter(laptop, "PC-1", "ashore", card_type="\x1b")
    assert refusal.value.code == "text-character"


def test_the_sheet_of_a_unit_is_kept_as_given_and_the_last_one_counts(laptop: Laptop) -> None:
    """Its bytes are an object that the record relies on."""
    laptop.take(image())
    assert [unit.sheet for unit in laptop.fleet.vessels[0].units] == [None]
    for data, name in ((SHEET, "a.toml"), (SHEET + b"# later\n", "b\x1b.toml")):
        where = "grebe/port-thruster"
        unit = record_sheet(laptop.vault, where=where, name=name, data=data, by="A. Invented")
        assert unit.where == where
    later = sha256(SHEET + b"# later\n")
    assert laptop.fleet.vessels[0].units[0].sheet == (later, "b\\u{001B}.toml")
    assert laptop.vault.read_object(later) == SHEET + b"# later\n"
    (vessel,) = laptop.vault.vessels()
    assert later in laptop.vault.records(vessel)[-1].record.objects


def test_a_sheet_for_no_unit_is_refused_and_leaves_nothing(laptop: Laptop) -> None:
    """Not its bytes either."""
    laptop.take(image())
    before = laptop.tree()
    with pytest.raises(NotFound):
        record_sheet(laptop.vault, where="grebe/winch", name="a", data=SHEET, by=None)
    assert laptop.tree() == before


def test_a_sheet_of_a_ship_entered_twice_is_found_and_the_later_counts(tmp_path: Path) -> None:
    """Whichever identity it was recorded for; after the merge a new one replaces both."""
    from parambak.keeping.recording.entries import correct

    one, other = Laptop(tmp_path / "one"), Laptop(tmp_path / "two", start=60)
    for laptop, data in ((one, b"a = 1\n"), (other, b"a = 2\n")):
        laptop.take(image())
        correct(laptop.vault, "grebe", {"imo": "1234567"}, by=None, why=None)
        record_sheet(laptop.vault, where="grebe/port-thruster", name="s", data=data, by=None)
    one.merge_from(other)
    assert one.fleet.vessels[0].units[0].sheet == (sha256(b"a = 2\n"), "s")
    record_sheet(one.vault, where="grebe/port-thruster", name="s", data=b"a = 3\n", by=None)
    assert one.fleet.vessels[0].units[0].sheet == (sha256(b"a = 3\n"), "s")


def test_a_wrong_serial_number_is_corrected_unless_another_card_has_it(laptop: Laptop) -> None:
    """A card is named by its number: the correction renames it."""
    from parambak.keeping.recording.entries import correct

    laptop.take(image())
    for serial in ("PC-1", "PC-2"):
        enter(laptop, serial, "ashore")
    with pytest.raises(CallRefused) as refusal:
        correct(laptop.vault, "grebe/card:PC-1", {"serial": "pc-2"}, by=None, why=None)
    assert refusal.value.code == "correct-name-taken"
    correct(laptop.vault, "grebe/card:PC-1", {"serial": "PC-3"}, by=None, why="misread")
    assert [card.serial for card in laptop.fleet.vessels[0].cards] == ["PC-2", "PC-3"]


def test_a_spare_is_read_twice_under_its_own_number(laptop: Laptop) -> None:
    """The known card is found again, in any case; one of almost that number is refused."""
    laptop.take(image(), where="grebe/card:PC-1/U12")
    taken = laptop.take(image(), where="grebe/card:pc-1/u12")
    assert (taken.made, taken.verdict.verified) == ((), True)
    with pytest.raises(CallRefused) as refusal:
        laptop.take(image(), where="grebe/card:PC1/U12")
    assert refusal.value.code == "name-near"
    assert re.search(r"\bcard\b", refusal.value.text)


def test_a_card_in_a_unit_says_in_which_and_a_moved_one_in_none(laptop: Laptop) -> None:
    """The unit must be known; once the card is elsewhere the unit is taken back."""
    laptop.take(image())
    enter_in(laptop, "PC-1", "Port-Thruster")
    (card,) = laptop.fleet.vessels[0].cards
    assert (card.facts["location"], card.facts["unit"]) == ("in a unit", "port-thruster")
    vessel = laptop.fleet.vessels[0]
    assert cards_in(vessel, vessel.units[0]) == vessel.cards
    enter(laptop, "PC-1", "ashore")
    vessel = laptop.fleet.vessels[0]
    assert vessel.cards[0].facts == {"serial": "PC-1", "location": "ashore"}
    assert cards_in(vessel, vessel.units[0]) == ()


def enter_in(laptop: Laptop, serial: str, unit: str | None, location: str = "in a unit") -> None:
    """Put a card on record as being in a unit."""
    enter_card(
        laptop.vault,
        vessel="grebe",
        serial=serial,
        location=location,
        card_type=None,
        by=None,
        unit=unit,
    )


@pytest.mark.parametrize(
    ("unit", "location", "code", "found"),
    [
        (None, "in a unit", "card-unit", "in a unit, no unit"),
        ("port-thruster", "ashore", "card-unit", "ashore, port-thruster"),
        ("card:PC-9", "in a unit", "card-unit", "'card:PC-9'"),
        ("winch", "in a unit", "where-unit", "'winch'"),
    ],
)
def test_a_unit_and_a_whereabouts_that_do_not_fit_are_refused(
    laptop: Laptop, unit: str | None, location: str, code: str, found: str
) -> None:
    """In a unit without its name, ashore with one, a card for a unit, none such; nothing kept."""
    laptop.take(image())
    before = laptop.tree()
    with pytest.raises(ParambakError) as refusal:
        enter_in(laptop, "PC-1", unit, location)
    assert (refusal.value.code, refusal.value.found) == (code, found)
    assert laptop.tree() == before


def test_a_unit_that_is_renamed_keeps_its_card(laptop: Laptop) -> None:
    """The card is found by the unit's former name."""
    from parambak.keeping.recording.entries import correct

    laptop.take(image())
    enter_in(laptop, "PC-1", "port-thruster")
    correct(laptop.vault, "grebe/port-thruster", {"short": "pt-bow"}, by=None, why=None)
    vessel = laptop.fleet.vessels[0]
    assert [card.serial for card in cards_in(vessel, vessel.units[0])] == ["PC-1"]


def test_the_sheet_of_a_card_is_its_own_and_the_last_one_counts(laptop: Laptop) -> None:
    """Not the unit's, though the card is in it."""
    laptop.take(image())
    enter_in(laptop, "PC-1", "port-thruster")
    for data in (SHEET, SHEET + b"# later\n"):
        where = "grebe/card:pc-1"
        kept = record_sheet(laptop.vault, where=where, name="c.toml", data=data, by="A. I.")
        assert kept.where == "grebe/card:PC-1"
    (vessel,) = laptop.fleet.vessels
    assert vessel.cards[0].sheet == (sha256(SHEET + b"# later\n"), "c.toml")
    assert vessel.units[0].sheet is None
    last = laptop.vault.records(vessel.id)[-1].record
    assert last.kind == "sheet-of-card"
    assert sha256(SHEET + b"# later\n") in last.objects


@pytest.mark.parametrize("where", ["grebe/port-thruster/U12", "grebe", "grebe/card:PC-1/U12"])
def test_a_sheet_for_a_position_or_a_vessel_is_refused(laptop: Laptop, where: str) -> None:
    """The position was once dropped in silence."""
    laptop.take(image())
    laptop.take(image(2), where="grebe/card:PC-1/U12")
    before = laptop.tree()
    with pytest.raises(CallRefused) as refusal:
        record_sheet(laptop.vault, where=where, name="a", data=SHEET, by=None)
    assert refusal.value.code == "sheet-where"
    assert laptop.tree() == before


@pytest.mark.parametrize(
    ("where", "target", "found"),
    [
        ("grebe/port-thruster", {"unit": "stbd-thruster"}, "unit stbd-thruster"),
        ("grebe/port-thruster", {"vessel": "avocet"}, "vessel avocet"),
        ("grebe/port-thruster", {"card": "PC-1"}, "card PC-1"),
        ("grebe/card:PC-1", {"card": "PC-2"}, "card PC-2"),
        ("grebe/card:PC-1", {"vessel": "avocet", "card": "PC-1"}, "vessel avocet"),
    ],
)
def test_a_sheet_for_another_is_refused(
    laptop: Laptop, where: str, target: dict[str, str], found: str
) -> None:
    """What stands under [for] is compared with what it is recorded for; nothing is kept."""
    laptop.take(image())
    enter(laptop, "PC-1", "ashore")
    before = laptop.tree()
    with pytest.raises(SheetRefused) as refusal:
        record_sheet(laptop.vault, where=where, name="a", data=SHEET, by=None, target=target)
    assert (refusal.value.code, refusal.value.found) == ("sheet-other", found)
    assert laptop.tree() == before


@pytest.mark.parametrize(
    ("where", "target"),
    [
        ("grebe/port-thruster", {"vessel": "GREBE", "unit": "Port-Thruster", "card": "PC-7"}),
        ("grebe/port-thruster", {"vessel": "IMO 1234567"}),
        ("grebe/port-thruster", {"vessel": "Old Name", "unit": "Bow, port side"}),
        ("grebe/card:PC-1", {"unit": "anything", "card": "pc-1"}),
    ],
)
def test_a_sheet_may_name_what_it_is_for_by_any_of_its_names(
    laptop: Laptop, where: str, target: dict[str, str]
) -> None:
    """In any case, by IMO number, former name or display name."""
    from parambak.keeping.recording.entries import correct

    laptop.take(image())
    enter(laptop, "PC-1", "ashore")
    told = {"imo": "1234567", "former": "Old Name"}
    correct(laptop.vault, "grebe", told, by=None, why=None)
    correct(laptop.vault, "grebe/port-thruster", {"display": "Bow, port side"}, by=None, why=None)
    kept = record_sheet(laptop.vault, where=where, name="a", data=SHEET, by=None, target=target)
    assert kept.where == where


def test_a_sheet_may_name_its_unit_by_the_name_that_it_had(laptop: Laptop) -> None:
    """A sheet filled in before the unit was renamed is still its own."""
    from parambak.keeping.recording.entries import correct

    laptop.take(image())
    correct(laptop.vault, "grebe/port-thruster", {"short": "pt-bow"}, by=None, why=None)
    target = {"unit": "Port-Thruster"}
    where = "grebe/pt-bow"
    kept = record_sheet(laptop.vault, where=where, name="a", data=SHEET, by=None, target=target)
    assert kept.where == where


def test_the_sheet_of_a_card_of_a_ship_entered_twice_is_found(tmp_path: Path) -> None:
    """After the merge a new one goes to both identities."""
    from parambak.keeping.recording.entries import correct

    one, other = Laptop(tmp_path / "one"), Laptop(tmp_path / "two", start=60)
    for laptop, data in ((one, b"a = 1\n"), (other, b"a = 2\n")):
        laptop.take(image())
        correct(laptop.vault, "grebe", {"imo": "1234567"}, by=None, why=None)
        enter(laptop, "PC-1", "ashore")
        record_sheet(laptop.vault, where="grebe/card:PC-1", name="s", data=data, by=None)
    one.merge_from(other)
    assert one.fleet.vessels[0].cards[0].sheet == (sha256(b"a = 2\n"), "s")
    record_sheet(one.vault, where="grebe/card:PC-1", name="s", data=b"a = 3\n", by=None)
    assert one.fleet.vessels[0].cards[0].sheet == (sha256(b"a = 3\n"), "s")
