"""Where a swap stands: the evidence for its conditions, gathered from the vault at this moment."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import dropwhile
from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import SheetRefused, VaultDamaged
from parambak.keeping.state import select
from parambak.keeping.state.backups import Holdings
from parambak.keeping.state.cards import cross_over_notes, refuse_other
from parambak.keeping.state.conditions import PersonsAnswer, SheetEntry, SwapEvidence
from parambak.swap import measurement_records
from parambak.swap.card_sheet import compare_sheets, read_sheet
from parambak.swap.lost_records import lost_since
from parambak.swap.readiness import readiness
from parambak.swap.swaps import CLOSED, ended_words, in_order, newest_open, swaps_at

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from parambak.keeping.assess import Assessor
    from parambak.keeping.state.model import Card, Copy, Fleet, Position, Unit, Vessel
    from parambak.keeping.state.rules import Rules
    from parambak.keeping.verified import Verdict
    from parambak.layouts.decode import Decoded
    from parambak.swap.card_sheet import Sheet
    from parambak.swap.readiness import Readiness
    from parambak.swap.swaps import Step, Swap
    from parambak.vault.vault import Vault


@dataclass(frozen=True)
class SwapState:
    """A position, the swap that is open there, the selected copy, and the evidence.

    `unit` is None for a position on a card that is in no unit; `swap` where no swap is
    open; `copy` and its `verdict` where there is none. `others` are further swaps that are
    open here, as two laptops may leave them. `ended` is the swap that was ended last.
    """

    vessel: Vessel
    unit: Unit | None
    position: Position
    swap: Swap | None
    others: tuple[Swap, ...]
    copy: Copy | None
    verdict: Verdict | None
    evidence: SwapEvidence
    rules: Rules
    ended: Swap | None = None

    def readiness(self, accepted: frozenset[str] = frozenset()) -> Readiness:
        """Return whether the swap may begin; `accepted` are conditions accepted in this call."""
        deviations = self.swap.deviations if self.swap is not None else ()
        return readiness(self.evidence, self.rules, deviations, accepted)


def swap_state(  # noqa: PLR0913 - what is asked for and what is given with it
    known: Fleet,
    assessor: Assessor,
    where: str,
    new_card: Sheet | None = None,
    swap: Swap | None = None,
    *,
    sheet_file: str | None = None,
) -> SwapState:
    """Gather where the swap at a WHERE stands; `new_card` is the new card's sheet.

    Where none is given, it is the one on record of the new card that the swap names.
    `sheet_file` is the digest of the file given.

    `swap` is the swap that is asked for; else the one that is open.
    """
    position = select.find_position(known, where)
    vessel = select.vessel_at(known, where)
    unit = next((unit for unit in vessel.units if position in unit.positions), None)
    every = swaps_at(assessor.vault, vessel, position)
    swap = swap or newest_open(every)
    others = tuple(
        each for each in every if each.end is None and (swap is None or each.id != swap.id)
    )
    copy = selected_copy(position, swap)
    verdict = assessor.verdict(position, copy) if copy else None
    evidence = _evidence(assessor, Site(vessel, unit, position), swap, copy)
    evidence = replace(
        evidence,
        verdict=verdict.conditions if verdict else None,
        entries=_entries(assessor, vessel, unit, swap, new_card),
        own_sheet=_one_sheet(_new_card(vessel, swap), unit, sheet_file if new_card else None),
    )
    return SwapState(
        vessel,
        unit,
        position,
        swap,
        others,
        copy,
        verdict,
        evidence,
        assessor.rules(position),
        next((each for each in reversed(every) if each.end is not None), None),
    )


class Site(NamedTuple):
    """A vessel, a unit of it, None where the position is on a card in none, and the position."""

    vessel: Vessel
    unit: Unit | None
    position: Position


def _evidence(
    assessor: Assessor, there: Site, swap: Swap | None, copy: Copy | None
) -> SwapEvidence:
    """Return the evidence but for the verdict, and what the new card's sheet says."""
    vault, (vessel, unit, position) = assessor.vault, there
    ids = position.ids | (unit.ids if unit is not None else frozenset())
    evidence = SwapEvidence(
        copy=select.copy_name(position, copy) if copy else None,
        verdict=None,
        decoded=_decoded(assessor, position, copy),
        sheet=unit is not None and unit.sheet is not None,
        older=_older(position, swap, copy),
        selected_lost=swap is not None and swap.choice is not None and copy is None,
        unsure=bool(lost_since(vault, vessel, swap)),
        supplies=measurement_records.supplies(measurement_records.records_of(vault, vessel, ids)),
        held=_held(vault, copy),
    )
    if swap is None:
        return evidence
    return replace(
        evidence,
        answers={
            name: PersonsAnswer(answer.answer, answer.text, who(assessor, answer))
            for name, answer in swap.answers.items()
        },
        read_since=_read_since(vault, vessel, position, swap),
    )


def selected_copy(position: Position, swap: Swap | None) -> Copy | None:
    """Return the copy that a swap means, else the newest; None where there is none.

    A swap that has ended means the copy that its card was last held against. A copy that an
    open swap chose and that is no longer this position's is never replaced by another.
    """
    image = swap.choice.image if swap is not None and swap.choice is not None else None
    if image is None and swap is not None and swap.end is not None:
        selected = [each.body.selected for each in swap.read_backs]
        selected = selected or [each.body.image for each in swap.released]
        image = selected[-1] if selected else None
    chosen = [copy for copy in position.copies if copy.image == image]
    if not chosen and swap is not None and swap.end is None and swap.choice is not None:
        return None
    return chosen[-1] if chosen else position.latest


def notes_on(vault: Vault, found: SwapState) -> tuple[str, ...]:
    """Return what has to be said beside every answer of a swap, but for its deviations."""
    said = cross_over_notes(vault, found.vessel, [found.unit]) if found.unit is not None else ()
    return (*said, *others_words(found.others), *_ended_words(found.ended))


def _ended_words(ended: Swap | None) -> tuple[str, ...]:
    """Say what speaks against the end of the last swap, as two laptops may leave it."""
    if ended is None:
        return ()
    said = []
    outcomes = {each.outcome for each in ended.ends}
    if len(outcomes) > 1:
        said.append(f"the swap that was opened on {ended.opened.at.date()}: {ended_words(ended)}")
    if CLOSED in outcomes and any(not each.body.loaded_correctly for each in ended.unknown_to_end):
        said.append(
            f"the swap that was opened on {ended.opened.at.date()} is closed, and a read-back of "
            "its card that closing did not know of was NOT loaded correctly: read the chip again"
        )
    return tuple(said)


def others_words(others: Sequence[Swap]) -> tuple[str, ...]:
    """Say that further swaps are open at one position, as two laptops may leave them."""
    if not others:
        return ()
    listed = "; ".join(f"{each.body.why} ({each.opened.at.date()})" for each in others)
    return (
        (
            f"{len(others) + 1} swaps are open here, as two laptops may leave them: the one opened "
            f"last is selected. What was told and done of the other stays with it: {listed}. Once "
            "this one is closed, give that one up with `swap close --abandoned`"
        ),
    )


def accepted_words(assessor: Assessor, swap: Swap | None) -> tuple[str, ...]:
    """Return what was accepted in a swap though not met, a file's release among it."""
    if swap is None:
        return ()
    said = [
        f"{each.condition} ({each.text}): {each.reason} ({who(assessor, each)})"
        for each in swap.deviations
    ]
    said += [
        f"a file was released UNVERIFIED: {each.body.reason or 'no reason'} ({who(assessor, each)})"
        for each in swap.released
        if each.body.unverified
    ]
    return tuple(said)


def _older(position: Position, swap: Swap | None, copy: Copy | None) -> str | None:
    """Return why a copy was chosen that is not the newest; None where it is the newest."""
    if swap is None or swap.choice is None or copy is position.latest:
        return None
    return swap.choice.why


def who(assessor: Assessor, told: Step) -> str:
    """Return who told something and on which day, in words."""
    day = told.at.date().isoformat()
    return f"nobody named, {day}" if told.by is None else f"{assessor.person(told.by)}, {day}"


def _held(vault: Vault, copy: Copy | None) -> tuple[tuple[str, date, bool], ...]:
    """Return the other places that held the copy, and whether it was hashed there."""
    held = Holdings(vault).of(copy) if copy is not None else ()
    return tuple((h.name, h.hashed_on or h.on, h.hashed_on is not None) for h in held)


def _entries(
    assessor: Assessor,
    vessel: Vessel,
    unit: Unit | None,
    swap: Swap | None,
    new_card: Sheet | None,
) -> tuple[SheetEntry, ...] | None:
    """Return the unit's sheet against the new card's, entry by entry; None where there is none.

    A sheet given that is for another unit or card is refused; one on record differs by that.
    """
    card = _new_card(vessel, swap)
    theirs = new_card
    if theirs is None and card is not None:
        theirs = stored_sheet(assessor.vault, card.sheet)
    if theirs is None:
        return None
    stored = stored_sheet(assessor.vault, unit.sheet if unit is not None else None)
    entries = compare_sheets(stored.entries if stored is not None else {}, theirs.entries)
    try:
        refuse_other(theirs.target, vessel, unit, card.serial if card is not None else None)
    except SheetRefused as other:
        if new_card is not None:
            raise
        return (SheetEntry("for", other.expected or "", other.found or "", same=False), *entries)
    return entries


def _one_sheet(card: Card | None, unit: Unit | None, given: str | None) -> bool:
    """Tell whether the new card's sheet, given or on record, is the very file of the unit's."""
    theirs = given
    if theirs is None and card is not None and card.sheet is not None:
        theirs = card.sheet[0]
    return theirs is not None and unit is not None and theirs == (unit.sheet or ("",))[0]


def _new_card(vessel: Vessel, swap: Swap | None) -> Card | None:
    """Return the card that goes in, where the swap names one."""
    wanted = swap.body.new_card if swap is not None else None
    return next((card for card in vessel.cards if wanted in card.ids), None)


def stored_sheet(vault: Vault, kept: tuple[str, str] | None) -> Sheet | None:
    """Return a sheet on record, by its digest and name; None where there is none."""
    return read_sheet(vault.read_object(kept[0]), kept[1]) if kept is not None else None


def _decoded(assessor: Assessor, position: Position, copy: Copy | None) -> Decoded | None:
    """Return the copy's fields, None where layout or bytes cannot be had."""
    if copy is None:
        return None
    try:
        return assessor.decoded(position, copy)
    except VaultDamaged:
        return None


def _read_since(vault: Vault, vessel: Vessel, position: Position, swap: Swap) -> str | None:
    """Return the day of the newest read put on record behind the swap's opening, by no clock."""
    order = [stored.digest for stored in in_order(vault, vessel)]
    since = frozenset(dropwhile(lambda digest: digest != swap.opened.record, order))
    days = [read.read_on for read in position.reads if read.record in since]
    return max(days).isoformat() if days else None
