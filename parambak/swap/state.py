"""The state of a swap: the evidence for its conditions, from the vault at this moment."""

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
from parambak.swap.readiness import readiness
from parambak.swap.swaps import CLOSED, ended_words, in_order, newest_open, swaps_at
from parambak.swap.unsettled import of_cards

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
    """A position, its open swap, the selected copy, and the evidence.

    `unit` is None for a position on a card that is in no unit; `swap` if no swap is open; `copy`
    and its `verdict` without a copy. `others` are further open swaps of the position, as two
    laptops may leave them. `ended` is the swap that ended last.
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


def swap_state(  # noqa: PLR0913 - the question and the files given with it
    fleet: Fleet,
    assessor: Assessor,
    where: str,
    new_card: Sheet | None = None,
    swap: Swap | None = None,
    *,
    sheet_file: str | None = None,
) -> SwapState:
    """Return the state of the swap at a WHERE; `swap` is the open one if not given.

    `new_card` is the new card's sheet, else the one on record of the new card that the swap
    names; `sheet_file` is the digest of the given file.
    """
    position = select.find_position(fleet, where)
    vessel = select.vessel_at(fleet, where)
    unit = next((unit for unit in vessel.units if position in unit.positions), None)
    swaps = swaps_at(assessor.vault, vessel, position)
    swap = swap or newest_open(swaps)
    others = tuple(s for s in swaps if s.end is None and (swap is None or s.id != swap.id))
    copy = selected_copy(position, swap)
    verdict = assessor.verdict(position, copy) if copy else None
    evidence = _evidence(assessor, Site(vessel, unit, position), swap, copy)
    evidence = replace(
        evidence,
        verdict=verdict.conditions if verdict else None,
        entries=_entries(assessor, vessel, unit, swap, new_card),
        own_sheet=_own_sheet(_new_card(vessel, swap), unit, sheet_file if new_card else None),
        records=assessor.records(position, of_cards(vessel, swap)),
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
        next((s for s in reversed(swaps) if s.end is not None), None),
    )


class Site(NamedTuple):
    """A vessel, its unit (None for a position on a card in no unit), and the position."""

    vessel: Vessel
    unit: Unit | None
    position: Position


def _evidence(assessor: Assessor, site: Site, swap: Swap | None, copy: Copy | None) -> SwapEvidence:
    """Return the evidence without the verdict and the new card's sheet."""
    vault, (vessel, unit, position) = assessor.vault, site
    ids = position.ids | (unit.ids if unit is not None else frozenset())
    evidence = SwapEvidence(
        copy=select.copy_name(position, copy) if copy else None,
        verdict=None,
        decoded=_decoded(assessor, position, copy),
        sheet=unit is not None and unit.sheet is not None,
        older=_older(position, swap, copy),
        selected_lost=swap is not None and swap.selection is not None and copy is None,
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
    """Return the selected copy of a swap, else the newest; None without a copy.

    For an ended swap it is the copy that its card was last compared with. A copy selected in an
    open swap that is no longer this position's is never replaced by another.
    """
    image = swap.selection.image if swap is not None and swap.selection is not None else None
    if image is None and swap is not None and swap.end is not None:
        selected = [step.body.selected for step in swap.read_backs]
        selected = selected or [step.body.image for step in swap.released]
        image = selected[-1] if selected else None
    copies = [copy for copy in position.copies if copy.image == image]
    if not copies and swap is not None and swap.end is None and swap.selection is not None:
        return None
    return copies[-1] if copies else position.latest


def notes_on(vault: Vault, state: SwapState) -> tuple[str, ...]:
    """Return the notes that go with every answer of a swap; deviations are not among them."""
    notes = cross_over_notes(vault, state.vessel, [state.unit]) if state.unit is not None else ()
    return (*notes, *others_words(state.others), *_ended_words(state.ended))


def _ended_words(ended: Swap | None) -> tuple[str, ...]:
    """Return notes against the end of the last swap, as two laptops may leave it."""
    if ended is None:
        return ()
    notes = []
    outcomes = {end.outcome for end in ended.ends}
    if len(outcomes) > 1:
        notes.append(f"the swap that was opened on {ended.opened.at.date()}: {ended_words(ended)}")
    if CLOSED in outcomes and any(not step.body.loaded_correctly for step in ended.unknown_to_end):
        notes.append(
            f"the swap that was opened on {ended.opened.at.date()} is closed, and a read-back of "
            "its card from another laptop was NOT loaded correctly: read the chip again"
        )
    return tuple(notes)


def others_words(others: Sequence[Swap]) -> tuple[str, ...]:
    """Return a note on further open swaps at one position, as two laptops may leave them."""
    if not others:
        return ()
    listed = "; ".join(f"{swap.body.why} ({swap.opened.at.date()})" for swap in others)
    return (
        (
            f"{len(others) + 1} swaps are open here, as two laptops may leave them. The one opened "
            f"last counts. The records of the other stay with it: {listed}. After this one is "
            "closed, abandon that one with `swap close --abandoned`"
        ),
    )


def accepted_words(assessor: Assessor, swap: Swap | None) -> tuple[str, ...]:
    """Return what was accepted unmet in a swap, with the release of an unverified file."""
    if swap is None:
        return ()
    words = [
        f"{step.condition} ({step.text}): {step.reason} ({who(assessor, step)})"
        for step in swap.deviations
    ]
    words += [
        f"a file was released UNVERIFIED: {step.body.reason or 'no reason'} ({who(assessor, step)})"
        for step in swap.released
        if step.body.unverified
    ]
    return tuple(words)


def _older(position: Position, swap: Swap | None, copy: Copy | None) -> str | None:
    """Return why an older copy is selected; None if it is the newest."""
    if swap is None or swap.selection is None or copy is position.latest:
        return None
    return swap.selection.why


def who(assessor: Assessor, step: Step) -> str:
    """Return who made a step and on which day, in words."""
    day = step.at.date().isoformat()
    return (
        f"person not recorded, {day}" if step.by is None else f"{assessor.person(step.by)}, {day}"
    )


def _held(vault: Vault, copy: Copy | None) -> tuple[tuple[str, date, bool], ...]:
    """Return the backup locations that held the copy, and whether it was hashed there."""
    held = Holdings(vault).of(copy) if copy is not None else ()
    return tuple((h.name, h.hashed_on or h.on, h.hashed_on is not None) for h in held)


def _entries(
    assessor: Assessor,
    vessel: Vessel,
    unit: Unit | None,
    swap: Swap | None,
    new_card: Sheet | None,
) -> tuple[SheetEntry, ...] | None:
    """Return the unit's sheet against the new card's, entry by entry; None without a new sheet.

    A given sheet that is for another unit or card is refused; one on record gets an entry `for`.
    """
    card = _new_card(vessel, swap)
    sheet = new_card
    if sheet is None and card is not None:
        sheet = stored_sheet(assessor.vault, card.sheet)
    if sheet is None:
        return None
    stored = stored_sheet(assessor.vault, unit.sheet if unit is not None else None)
    entries = compare_sheets(stored.entries if stored is not None else {}, sheet.entries)
    try:
        refuse_other(sheet.target, vessel, unit, card.serial if card is not None else None)
    except SheetRefused as other:
        if new_card is not None:
            raise
        return (SheetEntry("for", other.expected or "", other.found or "", same=False), *entries)
    return entries


def _own_sheet(card: Card | None, unit: Unit | None, given: str | None) -> bool:
    """Return whether the new card's sheet, given or on record, is the very file of the unit's."""
    sheet = given
    if sheet is None and card is not None and card.sheet is not None:
        sheet = card.sheet[0]
    return sheet is not None and unit is not None and sheet == (unit.sheet or ("",))[0]


def _new_card(vessel: Vessel, swap: Swap | None) -> Card | None:
    """Return the card that goes in, if the swap names one."""
    identity = swap.body.new_card if swap is not None else None
    return next((card for card in vessel.cards if identity in card.ids), None)


def stored_sheet(vault: Vault, file: tuple[str, str] | None) -> Sheet | None:
    """Return a sheet on record, by its digest and name; None without one."""
    return read_sheet(vault.read_object(file[0]), file[1]) if file is not None else None


def _decoded(assessor: Assessor, position: Position, copy: Copy | None) -> Decoded | None:
    """Return the copy's fields, None if its layout or bytes cannot be read."""
    if copy is None:
        return None
    try:
        return assessor.decoded(position, copy)
    except VaultDamaged:
        return None


def _read_since(vault: Vault, vessel: Vessel, position: Position, swap: Swap) -> str | None:
    """Return the day of the newest read recorded after the swap's opening, by order of records."""
    order = [stored.digest for stored in in_order(vault, vessel)]
    since = frozenset(dropwhile(lambda digest: digest != swap.opened.record, order))
    days = [read.read_on for read in position.reads if read.record in since]
    return max(days).isoformat() if days else None
