"""A new card's sheet compared with that of the unit, entry by entry."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from parambak.answers.forms import NO, YES, Answer, Part, Question
from parambak.answers.given_files import sheet_file
from parambak.errors import CallRefused, Fault, NotFound
from parambak.keeping.recording.cards import SHEET_WHERE
from parambak.keeping.state import select
from parambak.keeping.state.cards import cross_over_notes, refuse_other
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.model import Card, Unit
from parambak.memory.digests import sha256
from parambak.swap.card_sheet import NOT_ASKED, NOT_STATED, compare_sheets, meaning
from parambak.swap.state import stored_sheet

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.answers.session import Session
    from parambak.keeping.state.conditions import SheetEntry
    from parambak.keeping.state.model import Vessel
    from parambak.swap.card_sheet import Sheet
    from parambak.vault.vault import Vault

State = Literal["same", "differs", "not stated"]

STATES: Mapping[bool | None, State] = {True: "same", False: "differs", None: "not stated"}

COMPARE_CARD = Fault(
    "sheet-compare-card",
    CallRefused,
    "the new card is named by its sheet or by its serial number",
    "Give --new-card SHEET, or --new-card-serial SERIAL of a card whose sheet is on record.",
)
COMPARE_NONE = Fault(
    "sheet-none",
    NotFound,
    "no card sheet of {where} is on record",
    "Fill one in (`parambak card blank`) and keep it with `parambak card record {where} SHEET`.",
)
COMPARE_NOTHING = Fault(
    "sheet-nothing",
    CallRefused,
    "neither sheet states anything",
    "Remove the # from the lines that you can fill in, on both sheets.",
)


class CardCompareQuestion(Question["CardCompareAnswer"], frozen=True):
    """The unit, and the new card: its sheet (a file), or its serial number."""

    where: str
    new_card: str | None = None
    new_card_serial: str | None = None


class SheetEntryShown(Part, frozen=True):
    """One entry: what the unit needs and what the card has, null where it is not stated.

    `consequence` says what may follow, null where both are the same.
    """

    entry: str
    unit: str | None
    card: str | None
    state: State
    consequence: str | None


class CardCompareAnswer(Answer, frozen=True):
    """Whether all that either sheet states is the same on both, and how many entries are not.

    `card` is the serial number of a card whose sheet is on record, null for a sheet given.
    """

    where: str
    card: str | None
    same: bool
    differing: int
    not_stated: int
    entries: tuple[SheetEntryShown, ...]

    @property
    def exit_code(self) -> int:
        """Return 0 where all is the same, else 1."""
        return YES if self.same else NO


def answer(session: Session, question: CardCompareQuestion) -> CardCompareAnswer:
    """Compare the sheets; raise CallRefused, SheetRefused, NotFound, VaultRefused, VaultDamaged."""
    if (question.new_card is None) == (question.new_card_serial is None):
        found = "neither" if question.new_card is None else "both"
        raise COMPARE_CARD.error(expected="one of the two", found=found)
    given = sheet_file(question.new_card) if question.new_card is not None else None
    vessel, unit = _unit(session.vault, question.where)
    own = _stated(session.vault, unit)
    if given is not None:
        other, serial = given[1], None
    else:
        card = _card(vessel, question.new_card_serial or "")
        other, serial = _stated(session.vault, card), card.serial
    refuse_other(other.target, vessel, unit, serial)
    entries = compare_sheets(own.entries, other.entries)
    if not entries:
        raise COMPARE_NOTHING.error(expected="entries", found="two sheets without any")
    session.note(*cross_over_notes(session.vault, vessel, [unit]))
    if given is not None:
        session.note(*_own_sheet(given[0], unit))
    return CardCompareAnswer(
        where=unit.where,
        card=serial,
        same=all(entry.same for entry in entries),
        differing=sum(1 for entry in entries if entry.same is False),
        not_stated=sum(1 for entry in entries if entry.same is None),
        entries=tuple(_entry_shown(entry) for entry in entries),
    )


def _unit(vault: Vault, where: str) -> tuple[Vessel, Unit]:
    parts = select.parse_where(where)
    vessel = select.find_vessel(fleet(vault), parts.vessel)
    holder = select.find_holder(vessel, parts.holder) if parts.holder is not None else None
    if not isinstance(holder, Unit) or parts.position is not None:
        raise SHEET_WHERE.error(expected="VESSEL/UNIT", found=repr(where[:80]))
    return vessel, holder


def _card(vessel: Vessel, serial: str) -> Card:
    holder = select.find_holder(vessel, f"{select.CARD}{serial}")
    if not isinstance(holder, Card):  # the name asked for is a card's
        raise TypeError(holder)
    return holder


def recorded_sheet(vessel: Vessel, serial: str) -> tuple[str, str]:
    """Return the digest and the name of a card's sheet on record; raise NotFound without one."""
    card = _card(vessel, serial)
    if card.sheet is None:
        raise COMPARE_NONE.error(where=card.where, expected="a card sheet", found="none")
    return card.sheet


def _stated(vault: Vault, holder: Unit | Card) -> Sheet:
    """Return the sheet on record; raise NotFound where there is none."""
    sheet = stored_sheet(vault, holder.sheet)
    if sheet is None:
        raise COMPARE_NONE.error(where=holder.where, expected="a card sheet", found="none")
    return sheet


def _own_sheet(data: bytes, unit: Unit) -> tuple[str, ...]:
    """Say where the sheet given as a new card's is the very file on record for the unit."""
    if unit.sheet is None or sha256(data) != unit.sheet[0]:
        return ()
    return ("the new card's sheet is the same file as the unit's: was it filled in from the card?",)


def _entry_shown(entry: SheetEntry) -> SheetEntryShown:
    return SheetEntryShown(
        entry=entry.name,
        unit=None if entry.unit == NOT_STATED and entry.same is None else entry.unit,
        card=None if entry.card == NOT_STATED and entry.same is None else entry.card,
        state=STATES[entry.same],
        consequence=None if entry.same else _meaning(entry),
    )


def _meaning(entry: SheetEntry) -> str:
    return NOT_ASKED if entry.same is None else meaning(entry.name)
