"""The state of a swap: the evidence for its conditions, from the vault at this moment."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import dropwhile, takewhile
from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import SheetRefused, VaultDamaged
from parambak.keeping.state import select
from parambak.keeping.state.backups import Holdings
from parambak.keeping.state.bodies import SheetOfCardBody
from parambak.keeping.state.cards import cross_over_notes, refuse_other
from parambak.keeping.state.conditions import PersonsAnswer, SheetEntry, SwapEvidence
from parambak.swap import measurement_records
from parambak.swap.card_sheet import compare_sheets, read_sheet
from parambak.swap.closing import GivenNow, closing_of
from parambak.swap.readiness import readiness
from parambak.swap.swaps import (
    CLOSED,
    EMERGENCY,
    at_work,
    ended_words,
    in_order,
    newest_records,
    swaps_at,
)
from parambak.swap.unsettled import of_swap

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
    from parambak.swap.swaps import End, Step, Swap
    from parambak.vault.vault import Vault

NOTHING = GivenNow()


@dataclass(frozen=True)
class SwapState:
    """A position, its open swap, the selected copy, and the evidence.

    `unit` is None for a position on a card that is in no unit; `swap` if no swap is open or
    unfinished; `copy` and its `verdict` without a copy. `others` are further open swaps of the
    position, as two laptops may leave them. `newest` are the newest records about the vessel, on
    which this rests. `ended` is the swap that ended last.
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
    newest: frozenset[str]
    ended: Swap | None = None

    def readiness(
        self, accepted: frozenset[str] = frozenset(), *, closing: bool = False
    ) -> Readiness:
        """Return whether the swap may begin, or with `closing` end.

        `accepted` are conditions accepted in this call.
        """
        deviations = self.swap.deviations if self.swap is not None else ()
        return readiness(self.evidence, self.rules, deviations, accepted, closing=closing)


class GivenSheet(NamedTuple):
    """A card sheet: the digest and the name of its file, and what it states."""

    sha256: str
    name: str
    sheet: Sheet


def swap_state(  # noqa: PLR0913 - the question and what is given with it
    fleet: Fleet,
    assessor: Assessor,
    where: str,
    new_card: GivenSheet | None = None,
    swap: Swap | None = None,
    *,
    loaded: bool = False,
    now: GivenNow = NOTHING,
) -> SwapState:
    """Return the state of the swap at a WHERE; `swap` is the one at work if not given.

    `new_card` is the new card's sheet, else the one that was given last in the swap, or that is
    on record of the new card that it names. With `loaded`, the copy is the one that was released
    for loading, if one was. `now` is what is stated in the call that closes the swap.
    """
    vessel, unit, position = site = _site(fleet, where)
    swaps = swaps_at(assessor.vault, vessel, position)
    swap = swap or at_work(swaps)
    copy = selected_copy(position, swap, loaded=loaded)
    verdict = assessor.verdict(position, copy) if copy else None
    rules = assessor.rules(position)
    evidence = _evidence(assessor, site, swap, copy)
    evidence = _with_sheets(assessor, site, swap, evidence, new_card=new_card)
    if swap is not None:
        listed = (*rules.tests_of(_names(unit)), *_tests_of(assessor.vault, unit))
        evidence = replace(evidence, closing=closing_of(swap, listed, now))
    return SwapState(
        vessel,
        unit,
        position,
        swap,
        tuple(s for s in swaps if s.end is None and (swap is None or s.id != swap.id)),
        copy,
        verdict,
        replace(
            evidence,
            verdict=verdict.conditions if verdict else None,
            records=assessor.records(position, of_swap(vessel, position, swap)),
        ),
        rules,
        newest_records(assessor.vault, vessel),
        next((s for s in reversed(swaps) if s.end is not None), None),
    )


class Site(NamedTuple):
    """A vessel, its unit (None for a position on a card in no unit), and the position."""

    vessel: Vessel
    unit: Unit | None
    position: Position


def _site(fleet: Fleet, where: str) -> Site:
    position, vessel = select.find_position(fleet, where), select.vessel_at(fleet, where)
    unit = next((unit for unit in vessel.units if position in unit.positions), None)
    return Site(vessel, unit, position)


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
        selected_lost=copy is None and position.latest is not None,
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


def _with_sheets(
    assessor: Assessor,
    site: Site,
    swap: Swap | None,
    evidence: SwapEvidence,
    *,
    new_card: GivenSheet | None,
) -> SwapEvidence:
    """Return the evidence with the unit's sheet against the new card's, given or on record."""
    unit, sheet = site.unit, new_card or _kept_sheet(assessor.vault, site.vessel, swap)
    recorded = unit.sheet if unit is not None else None
    return replace(
        evidence,
        entries=_entries(
            site, swap, stored_sheet(assessor.vault, recorded), sheet, given=new_card is not None
        ),
        own_sheet=sheet is not None and recorded is not None and sheet.sha256 == recorded[0],
    )


def _tests_of(vault: Vault, unit: Unit | None) -> tuple[str, ...]:
    """Return the function tests that the unit's card sheet lists."""
    sheet = stored_sheet(vault, unit.sheet if unit is not None else None)
    return sheet.tests if sheet is not None else ()


def _names(unit: Unit | None) -> tuple[str, ...]:
    """Return the names by which the ship's rules may list tests of a unit."""
    if unit is None:
        return ()
    return (unit.short, *unit.former, unit.facts.get("maker_type", ""))


def selected_copy(position: Position, swap: Swap | None, *, loaded: bool = False) -> Copy | None:
    """Return the selected copy of a swap, else the newest; None without a copy.

    For an ended swap it is the copy that its card was last compared with; with `loaded`, it is
    the one that was released for loading. If that copy is no longer this position's, no other one
    takes its place in a swap at work.
    """
    if swap is None:
        return position.latest
    image = swap.selection.image if swap.selection is not None else None
    if image is None and swap.end is not None:
        image = next((step.body.selected for step in reversed(swap.read_backs)), swap.expected)
    elif loaded:
        image = swap.expected
    copies = [copy for copy in position.copies if copy.image == image]
    if not copies and image is not None and swap.end is None:
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
    outcomes = {end.outcome for end in ended.ends} - {EMERGENCY}
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
    """Return what was accepted unmet in a swap: conditions, a file, an end in emergency."""
    if swap is None:
        return ()
    words = [
        f"{step.condition} ({step.text}): {step.reason} ({who(assessor, step)})"
        for step in swap.deviations
    ]
    words += [
        f"a file of an UNVERIFIED copy was released ({who(assessor, step)})"
        for step in swap.released
        if step.body.unverified
    ]
    words += [emergency_words(assessor, end) for end in swap.ends if end.outcome == EMERGENCY]
    return tuple(words)


def emergency_words(assessor: Assessor, end: End) -> str:
    """Return who closed a swap in emergency, why, and what was missing."""
    listed = ", ".join(end.missing) or "nothing"
    return f"CLOSED IN EMERGENCY: {end.reason} ({who(assessor, end)}); missing then: {listed}"


def _older(position: Position, swap: Swap | None, copy: Copy | None) -> str | None:
    """Return why an older copy is selected; None if it is the newest."""
    if swap is None or copy is None or copy is position.latest:
        return None
    return swap.selection.why if swap.selection else "it was released for loading in this swap"


def who(assessor: Assessor, step: Step) -> str:
    """Return who made a step and at which hour, in words."""
    name = "person not recorded" if step.by is None else assessor.person(step.by)
    return f"{name}, {step.at:%Y-%m-%d %H:%M}"


def _held(vault: Vault, copy: Copy | None) -> tuple[tuple[str, date, bool], ...]:
    """Return the backup locations that held the copy, and whether it was hashed there."""
    held = Holdings(vault).of(copy) if copy is not None else ()
    return tuple((h.name, h.hashed_on or h.on, h.hashed_on is not None) for h in held)


def _entries(
    site: Site, swap: Swap | None, unit: Sheet | None, sheet: GivenSheet | None, *, given: bool
) -> tuple[SheetEntry, ...] | None:
    """Return the unit's sheet against the new card's, entry by entry; None without a new sheet.

    A given sheet that is for another unit or card is refused; one on record gets an entry `for`.
    """
    if sheet is None:
        return None
    card = _new_card(site.vessel, swap)
    entries = compare_sheets(unit.entries if unit is not None else {}, sheet.sheet.entries)
    serial = card.serial if card is not None else None
    try:
        refuse_other(sheet.sheet.target, site.vessel, site.unit, serial)
    except SheetRefused as other:
        if given:
            raise
        return (SheetEntry("for", other.expected or "", other.found or "", same=False), *entries)
    return entries


def _kept_sheet(vault: Vault, vessel: Vessel, swap: Swap | None) -> GivenSheet | None:
    """Return the new card's sheet on record: given in the swap, or recorded later of the card."""
    card = _new_card(vessel, swap)
    file = card.sheet if card is not None else None
    if swap is not None and swap.sheet is not None and not _recorded_since(vault, vessel, swap):
        file = swap.sheet.file
    sheet = stored_sheet(vault, file)
    return GivenSheet(*file, sheet) if file is not None and sheet is not None else None


def _recorded_since(vault: Vault, vessel: Vessel, swap: Swap) -> bool:
    """Return whether the new card's own sheet was recorded after one was given in the swap."""
    card = _new_card(vessel, swap)
    given = swap.sheet.record if swap.sheet is not None else ""
    last = [
        stored.record.kind
        for stored in in_order(vault, vessel)
        if stored.digest == given
        or (card is not None and stored.record.body.get("card") in card.ids)
    ]
    return bool(last) and last[-1] == SheetOfCardBody.kind


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
    """Return the day of the newest read of the old card since the swap's opening.

    By the order of the records: a read that was archived after a file was released or a card was
    read back may be the new card's, and what was read back is.
    """
    order = [stored.digest for stored in in_order(vault, vessel)]
    since = dropwhile(lambda digest: digest != swap.opened.record, order)
    loaded = {step.record for step in (*swap.released, *swap.read_backs)}
    before = frozenset(takewhile(lambda digest: digest not in loaded, since))
    days = [read.read_on for read in position.reads if read.record in before]
    return max(days).isoformat() if days else None
