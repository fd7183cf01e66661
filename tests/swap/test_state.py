"""What a swap stands on: the new card's sheet, given or on record, and the last read."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest

from parambak.errors import SheetRefused
from parambak.keeping.assess import Assessor
from parambak.keeping.recording.cards import enter_card, record_cross_over, record_sheet
from parambak.keeping.recording.entries import correct
from parambak.memory.digests import sha256
from parambak.memory.image import Image
from parambak.swap.card_sheet import read_sheet
from parambak.swap.recording import Release, keep_sheet, open_swap, record_load_file, select_copy
from parambak.swap.state import GivenSheet, SwapState, accepted_words, notes_on, swap_state, who
from parambak.swap.swaps import Step, Swap, swaps_at
from tests.keeping.conftest import CHIPS, WHERE, Laptop, image
from tests.swap.conftest import (
    BY,
    abandoned,
    accepted,
    closed,
    newest,
    opened,
    read_back,
    shown_to_hold,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from parambak.keeping.state.model import Condition, Copy

STARBOARD = "grebe/stbd-thruster/U12"
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


def new_card(laptop: Laptop, given: bytes | None = None) -> Condition:
    """Return what is stated of the new card."""
    sheet = GivenSheet(sha256(given), "given.toml", read_sheet(given)) if given else None
    found = swap_state(laptop.fleet, Assessor(laptop.vault, CHIPS), WHERE, sheet)
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
        Assessor(laptop.vault),
        WHERE,
        why="dead",
        by="A. I.",
        route="load",
        old_card=None,
        new_card=new,
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
    assert found.text == "links.J1: needs 1-2, has 2-3; `card compare` explains each"


def test_a_sheet_given_goes_before_the_one_on_record(laptop: Laptop) -> None:
    """It was looked at last."""
    keep(laptop, "PC-2", OTHER)
    begin(laptop, "PC-2")
    assert new_card(laptop, SAME).met is True


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
        new_card(laptop, UNIT + f"[for]\n{target}\n".encode())
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
    """Return what is stated of the last read."""
    found = swap_state(laptop.fleet, Assessor(laptop.vault, CHIPS), WHERE)
    return next(c for c in found.readiness().conditions if c.condition == "final-read")


def test_who_answered_is_named_with_the_day_or_said_to_be_nobody() -> None:
    """A step without a person is not given another's name."""
    moment = datetime(2026, 3, 1, 12, tzinfo=UTC)
    people: Any = SimpleNamespace(person={"mark": "A. Fitter"}.__getitem__)
    assert who(people, Step("r", "mark", moment)) == "A. Fitter, 2026-03-01 12:00"
    assert who(people, Step("r", None, moment)) == "person not recorded, 2026-03-01 12:00"


# --- which copy, and what speaks against it ---


def state(laptop: Laptop, swap: Swap | None = None) -> SwapState:
    """Return where the swap stands."""
    return swap_state(laptop.fleet, Assessor(laptop.vault, CHIPS), WHERE, swap=swap)


def condition(laptop: Laptop, name: str) -> Condition:
    """Return the state of one condition."""
    return next(c for c in state(laptop).readiness().conditions if c.condition == name)


@pytest.fixture
def two_copies(laptop: Laptop) -> Laptop:
    """Return the laptop with a newer copy, of a day later."""
    laptop.on("2026-03-02")
    laptop.verified(image(1, {0x12: 0x55}))
    return laptop


def test_an_older_copy_is_selected_with_its_reason(two_copies: Laptop) -> None:
    """The reason stands with the condition; of the newest there is none."""
    opened(two_copies)
    older, newer = two_copies.position().copies
    for copy, reason in ((older, True), (newer, False)):
        select_copy(two_copies.vault, WHERE, copy, why="spoilt since", by=BY)
        assert state(two_copies).copy == copy
        found = condition(two_copies, "copy-selected")
        assert copy.sha256[:8] in found.text
        assert ("spoilt since" in found.text) is reason


def test_a_selected_copy_that_is_no_longer_there_is_replaced_by_none(two_copies: Laptop) -> None:
    """Its reads were put at another position since: nothing is loaded in its place."""
    opened(two_copies)
    older = two_copies.position().copies[0]
    assert condition(two_copies, "copy").met is True
    select_copy(two_copies.vault, WHERE, older, why="spoilt since", by=BY)
    two_copies.take(image(2), where=STARBOARD)
    name = f"{WHERE}@{older.sha256[:8]}"
    correct(two_copies.vault, name, {"position": STARBOARD}, by=BY, why="the other side's")
    assert state(two_copies).copy is None
    found = condition(two_copies, "copy")
    assert found.met is False
    assert found.text == (
        "the copy that was selected in this swap is no longer on record here; select one with "
        "`swap select`"
    )
    assert condition(two_copies, "within-limits").met is None


def ended(laptop: Laptop) -> Swap:
    """Return the swap that was opened last, which has ended."""
    return swaps_at(laptop.vault, laptop.fleet.vessels[0], laptop.position())[-1]


def release(laptop: Laptop, copy: Copy, *, unverified: bool = False) -> None:
    """Put on record that a copy was written for loading."""
    swap = newest(laptop).id
    file = Release("raw", ("ab" * 32,), swap=swap, unverified=unverified, by=BY)
    record_load_file(laptop.vault, laptop.position(), copy, Image.of(image()), file)


def test_a_closed_swap_stands_for_the_copy_that_was_proven(laptop: Laptop) -> None:
    """Its page, printed later, is not about a copy that was archived since."""
    opened(laptop)
    read_back(laptop, image(), 2)
    closed(laptop)
    proven = laptop.latest()
    laptop.on("2026-03-02")
    laptop.verified(image(1, {0x12: 0x55}))
    assert laptop.latest() != proven
    assert state(laptop, ended(laptop)).copy == proven
    assert state(laptop).copy == laptop.latest()


@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        ((), 1),
        (("release 0",), 0),
        (("release 0", "release 1"), 1),
        (("release 1", "read 0"), 0),
        (("read 1", "read 0"), 0),
        (("read 0", "choose 1"), 1),
        (("read 1", "choose 0"), 0),
    ],
)
def test_an_abandoned_swap_stands_for_what_was_done_last(
    two_copies: Laptop, steps: tuple[str, ...], expected: int
) -> None:
    """The copy chosen, else that of the last read-back, of the last file, or the newest."""
    copies = two_copies.position().copies
    opened(two_copies)
    for step in steps:
        what, _, number = step.partition(" ")
        copy = copies[int(number)]
        if what == "release":
            release(two_copies, copy)
        elif what == "read":
            read_back(two_copies, image(), copy=copy)
        else:
            select_copy(two_copies.vault, WHERE, copy, why="spoilt since", by=BY)
    abandoned(two_copies)
    found = state(two_copies, ended(two_copies)).copy
    assert found is not None
    assert found.image == copies[expected].image


def test_an_open_swap_goes_by_the_newest_copy_until_another_is_selected(
    two_copies: Laptop,
) -> None:
    """A file or a read-back of an older copy selects nothing; the verdict is the newest's."""
    opened(two_copies)
    older = two_copies.position().copies[0]
    release(two_copies, older)
    read_back(two_copies, image(), copy=older)
    found = state(two_copies)
    assert found.copy == two_copies.latest()
    assert found.verdict is not None
    assert found.verdict.verified


def test_a_copy_whose_layout_is_lost_is_not_known_to_be_inside_its_limits(laptop: Laptop) -> None:
    """The other conditions are still worked out."""
    assert condition(laptop, "within-limits").met is True
    layout = laptop.position().layout
    assert layout is not None
    laptop.lose(layout.sha256)
    assert condition(laptop, "within-limits").met is None
    assert condition(laptop, "plausible").met is True


def test_a_backup_location_counts_once_its_bytes_were_read_there(laptop: Laptop) -> None:
    """With the day of that, not the day of a later sending; a sending alone is not known."""
    name = "second-location"
    assert condition(laptop, name).met is None
    laptop.on("2026-03-05")
    office = shown_to_hold(laptop, hashed=False)
    found = condition(laptop, name)
    assert found.met is None
    assert "office (2026-03-05)" in found.text
    laptop.on("2026-03-07")
    shown_to_hold(laptop, office)
    laptop.on("2026-03-09")
    shown_to_hold(laptop, office, hashed=False)
    found = condition(laptop, name)
    assert found.met is True
    assert "office (2026-03-07)" in found.text


# --- what is said next to every answer ---


def notes(laptop: Laptop) -> tuple[str, ...]:
    """Return the notes on where the swap stands."""
    return notes_on(laptop.vault, state(laptop))


def test_further_swaps_that_are_open_are_named(laptop: Laptop, tmp_path: Path) -> None:
    """Two laptops opened one each: what was stated of the other is not lost from sight."""
    opened(laptop, why="given up")
    abandoned(laptop)
    other = laptop.copy_to(tmp_path / "two")
    opened(laptop, why="earth fault")
    assert notes(laptop) == ()
    other.now = laptop.now
    opened(other, why="no output")
    laptop.merge_from(other)
    now = state(laptop)
    assert now.swap is not None
    assert now.swap.body.why == "no output"
    assert [each.body.why for each in now.others] == ["earth fault"]
    (note,) = notes(laptop)
    assert note.startswith("2 swaps are open here")
    assert "earth fault (2026-03-01)" in note
    assert "no output" not in note
    assert [s.body.why for s in state(laptop, now.others[0]).others] == ["no output"]
    other.close()


@pytest.mark.parametrize(
    ("here", "there", "told"),
    [
        ("close", (), ()),
        ("close", ("right",), ()),
        ("close", ("wrong",), ("NOT loaded correctly",)),
        ("close", ("abandon",), ("closed on 2026-03-01 and abandoned on 2026-03-01",)),
        (
            "close",
            ("wrong", "abandon"),
            ("closed on 2026-03-01 and abandoned on 2026-03-01", "NOT loaded correctly"),
        ),
        ("abandon", ("wrong",), ()),
        ("abandon", ("wrong", "abandon"), ()),
    ],
)
def test_what_another_laptop_holds_against_the_end_is_told(
    laptop: Laptop, tmp_path: Path, here: str, there: tuple[str, ...], told: tuple[str, ...]
) -> None:
    """A card in service whose chip was read wrong elsewhere is read again."""
    opened(laptop)
    read_back(laptop, image(), 2)
    other = laptop.copy_to(tmp_path / "two")
    other.now += timedelta(hours=1)
    for step in there:
        if step == "abandon":
            abandoned(other)
        else:
            read_back(other, image() if step == "right" else image(9))
    if here == "close":
        closed(laptop)
    else:
        abandoned(laptop)
    assert notes(laptop) == ()
    laptop.merge_from(other)
    found = notes(laptop)
    assert len(found) == len(told)
    for note, words in zip(found, told, strict=True):
        assert note.startswith("the swap that was opened on 2026-03-01")
        assert words in note
    other.close()


def test_cards_that_are_crossed_over_are_told_with_every_answer(laptop: Laptop) -> None:
    """The chip carries the other unit's parameters then."""
    laptop.take(image(2), where=STARBOARD)
    units = ("grebe/port-thruster", "grebe/stbd-thruster")
    record_cross_over(laptop.vault, *units, why="which side?", by=BY, back=False)
    (note,) = notes(laptop)
    assert all(unit in note for unit in units)


def test_a_position_on_a_card_in_no_unit_has_a_state_without_a_sheet(laptop: Laptop) -> None:
    """A spare's own memory: nothing is compared, and nothing breaks."""
    where = "grebe/card:PC-1/U3"
    laptop.take(image(3), where=where)
    found = swap_state(laptop.fleet, Assessor(laptop.vault, CHIPS), where)
    assert (found.unit, found.evidence.sheet) == (None, False)
    assert notes_on(laptop.vault, found) == ()


def test_what_was_accepted_though_not_met_is_listed_with_who_and_why(laptop: Laptop) -> None:
    """A file's release too, where its copy was not verified; one that was is none."""
    opened(laptop)
    assessor = Assessor(laptop.vault, CHIPS)
    assert accepted_words(assessor, None) == accepted_words(assessor, newest(laptop)) == ()
    accepted(laptop, "permit")
    release(laptop, laptop.latest(), unverified=True)
    release(laptop, laptop.latest())
    deviation, unverified = accepted_words(Assessor(laptop.vault, CHIPS), newest(laptop))
    assert deviation.startswith("permit (not answered: ")
    assert deviation.endswith("): at sea (A. Invented, 2026-03-01 09:00)")
    assert "UNVERIFIED" in unverified
    assert unverified.endswith("(A. Invented, 2026-03-01 09:00)")


def test_what_is_loaded_is_compared_with_the_copy_that_was_released(two_copies: Laptop) -> None:
    """Before loading, the newest counts: a release selects nothing."""
    opened(two_copies)
    older, newer = two_copies.position().copies
    release(two_copies, older)
    assessor = Assessor(two_copies.vault, CHIPS)
    assert swap_state(two_copies.fleet, assessor, WHERE, loaded=True).copy == older
    assert swap_state(two_copies.fleet, assessor, WHERE).copy == newer


def test_the_sheet_that_was_kept_last_is_not_kept_again(laptop: Laptop, tmp_path: Path) -> None:
    """Another one is; so is the same, to settle what two laptops kept apart."""
    opened(laptop)
    keep_given(laptop, SAME, OTHER, OTHER, SAME)
    assert kept(laptop) == [sha256(data) for data in (SAME, OTHER, SAME)]
    other = laptop.copy_to(tmp_path / "two")
    keep_given(laptop, OTHER)
    keep_given(other, UNIT)
    laptop.merge_from(other)
    assert newest(laptop).conflicts
    last = newest(laptop).sheet
    assert last is not None
    keep_given(laptop, {sha256(data): data for data in (OTHER, UNIT)}[last.file[0]])
    assert not newest(laptop).conflicts
    other.close()


def keep_given(laptop: Laptop, *sheets: bytes) -> None:
    """Keep the new card's sheets with the open swap, one after another."""
    for data in sheets:
        given = GivenSheet(sha256(data), "new.toml", read_sheet(data))
        keep_sheet(laptop.vault, newest(laptop), given, data, BY)


def kept(laptop: Laptop) -> list[str]:
    """Return the digests of the sheets on record of swaps, in order."""
    (vessel,) = laptop.vault.vessels()
    records = [stored.record for stored in laptop.vault.records(vessel)]
    return [record.body["sheet"] for record in records if record.kind == "swap-sheet"]
