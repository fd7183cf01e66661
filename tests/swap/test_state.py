"""What a swap stands on: the new card's sheet, given or on record, and the last read."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest

from parambak.errors import SheetRefused
from parambak.keeping.assess import Assessor
from parambak.keeping.recording.cards import enter_card, record_sheet
from parambak.swap.card_sheet import read_sheet
from parambak.swap.recording import open_swap
from parambak.swap.state import swap_state, who
from parambak.swap.swaps import Step
from tests.keeping.conftest import CHIPS, WHERE, Laptop

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from parambak.keeping.state.model import Condition
    from parambak.swap.card_sheet import Sheet

UNIT = b"[card]\ntype = 'TC-2'\n[links]\nJ1 = '1-2'\n"
SAME = UNIT + b"[for]\ncard = 'PC-2'\n"
OTHER = SAME.replace(b"1-2", b"2-3")


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[Laptop]:
    """Return a laptop with a verified copy, and the unit's card sheet on record."""
    made = Laptop(tmp_path)
    made.verified()
    record_sheet(made.vault, where="grebe/port-thruster", name="u.toml", data=UNIT, by=None)
    yield made
    made.close()


@pytest.fixture(autouse=True)
def _no_flush(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("os.fsync", lambda _: None)


def new_card(laptop: Laptop, given: Sheet | None = None) -> Condition:
    """Return what is told of the new card."""
    found = swap_state(laptop.fleet, Assessor(laptop.vault, CHIPS), WHERE, given)
    return next(c for c in found.readiness().conditions if c.condition == "new-card")


def keep(laptop: Laptop, serial: str, data: bytes) -> None:
    """Put a card and its sheet on record."""
    enter_card(
        laptop.vault,
        vessel="grebe",
        serial=serial,
        location="spare aboard",
        card_type=None,
        by=None,
    )
    where = f"grebe/card:{serial}"
    record_sheet(laptop.vault, where=where, name="c.toml", data=data, by=None)


def begin(laptop: Laptop, new: str | None) -> None:
    """Open a swap."""
    open_swap(
        laptop.vault, WHERE, why="dead", by="A. I.", route="load", old_card=None, new_card=new
    )


def test_the_sheet_on_record_of_the_card_that_the_swap_names_is_taken(laptop: Laptop) -> None:
    """No --new-card is needed then; the card's sheet of another card is not."""
    keep(laptop, "PC-2", SAME)
    keep(laptop, "PC-3", OTHER)
    assert new_card(laptop).met is None
    begin(laptop, "PC-2")
    found = new_card(laptop)
    assert found.met is True
    assert "2 entries" in found.text


def test_what_differs_on_the_sheet_on_record_is_told(laptop: Laptop) -> None:
    """As if the sheet had been given."""
    keep(laptop, "PC-2", OTHER)
    begin(laptop, "PC-2")
    found = new_card(laptop)
    assert found.met is False
    assert found.text == "links.J1: needs 1-2, has 2-3; what each means: `card compare`"


def test_a_sheet_given_goes_before_the_one_on_record(laptop: Laptop) -> None:
    """It was looked at last."""
    keep(laptop, "PC-2", OTHER)
    begin(laptop, "PC-2")
    assert new_card(laptop, read_sheet(SAME)).met is True


def test_without_a_sheet_of_the_new_card_it_is_not_known(laptop: Laptop) -> None:
    """A swap that names no card, or one without a sheet."""
    begin(laptop, None)
    assert new_card(laptop).met is None
    assert "no sheet of the new card" in new_card(laptop).text


@pytest.mark.parametrize("target", ["vessel = 'avocet'", "unit = 'stbd-thruster'", "card = 'PC-3'"])
def test_a_sheet_given_for_another_is_refused(laptop: Laptop, target: str) -> None:
    """Another vessel, unit, or card than the one that the open swap names."""
    keep(laptop, "PC-2", SAME)
    begin(laptop, "PC-2")
    with pytest.raises(SheetRefused) as refusal:
        new_card(laptop, read_sheet(UNIT + f"[for]\n{target}\n".encode()))
    assert refusal.value.code == "sheet-other"


def test_a_sheet_on_record_for_another_unit_is_told_and_stops_no_check(laptop: Laptop) -> None:
    """The card was meant for the other side: the condition says so."""
    keep(laptop, "PC-2", SAME + b"unit = 'stbd-thruster'\n")
    begin(laptop, "PC-2")
    found = new_card(laptop)
    assert found.met is False
    assert found.text.startswith("for: needs grebe/port-thruster, has unit stbd-thruster; ")


def test_a_read_of_the_very_second_before_the_opening_is_none_since(laptop: Laptop) -> None:
    """The order of the records tells it, not a clock of whole seconds."""
    stands = laptop.now
    laptop.clock = lambda: stands  # type: ignore[method-assign]
    laptop.verified()
    begin(laptop, None)
    assert last_read(laptop).met is None
    laptop.verified()
    assert last_read(laptop).met is True


def last_read(laptop: Laptop) -> Condition:
    """Return what is told of the last read."""
    found = swap_state(laptop.fleet, Assessor(laptop.vault, CHIPS), WHERE)
    return next(c for c in found.readiness().conditions if c.condition == "final-read")


def test_who_answered_is_named_with_the_day_or_said_to_be_nobody() -> None:
    """A step without a person is not given another's name."""
    moment = datetime(2026, 3, 1, 12, tzinfo=UTC)
    people: Any = SimpleNamespace(person={"mark": "A. Fitter"}.__getitem__)
    assert who(people, Step("r", "mark", moment)) == "A. Fitter, 2026-03-01"
    assert who(people, Step("r", None, moment)) == "nobody named, 2026-03-01"
