"""Puts a swap on record, from its opening to its closing, with each file and read-back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, NamedTuple

from msgspec.structs import replace

from parambak.errors import CallRefused, Fault
from parambak.keeping.recording.filing import new_identity
from parambak.keeping.recording.received import entry_of, objects_of, put_layout
from parambak.keeping.recording.texts import (
    NAME,
    REMARK,
    check_short,
    check_texts,
    kept_name,
    refuse_near,
)
from parambak.keeping.state import select
from parambak.keeping.state.bodies import (
    Entity,
    ImageEntry,
    LayoutEntry,
    LoadFileBody,
    ReadBackBody,
    RenamesEntry,
    SwapAnswerBody,
    SwapCopySelectedBody,
    SwapOpenedBody,
    SwapSheetBody,
)
from parambak.keeping.state.cards import IN_A_UNIT, cross_over_notes
from parambak.keeping.state.conditions import answerable
from parambak.keeping.state.counting import counting
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.record_sets import local_time
from parambak.memory.digests import sha256, sum16
from parambak.swap.state import swap_state
from parambak.swap.swap_cards import Named, card_notes, open_swaps, refuse_taken
from parambak.swap.swaps import (
    NEW_CARD,
    SWAP_OPEN,
    Step,
    Swap,
    newest_open,
    swaps_at,
    the_open_swap,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.assess import Assessor
    from parambak.keeping.recording.received import Incoming, LayoutFile, RenamesFile
    from parambak.keeping.state.bodies import Body, ConditionEntry, Facts
    from parambak.keeping.state.model import Copy, Fleet, Position, Unit, Vessel
    from parambak.memory.image import Image
    from parambak.swap.guard import Acceptance, Cleared
    from parambak.swap.read_back import ReadBack, ValuesReadBack
    from parambak.swap.state import GivenSheet
    from parambak.vault.vault import Vault, Writing

ROUTES = ("load", "move-chip")
NO_TIME = datetime.min.replace(tzinfo=UTC)
"""The time of an opening that is not on record yet."""

SWAP_CARD = Fault(
    "swap-same-card",
    CallRefused,
    "the old card and the new card have the same serial number",
    "Give the serial number of each card.",
)
SWAP_CONDITION = Fault(
    "swap-condition",
    CallRefused,
    "a person does not answer that condition",
    "The records decide the other conditions; `parambak swap check` shows how.",
)
SWAP_ANSWER_TWICE = Fault(
    "swap-answer-twice",
    CallRefused,
    "one condition has two answers in one call",
    "Give each condition once. To correct an answer, give it again in a separate call.",
)
SWAP_ON_UNIT = Fault(
    "swap-no-unit",
    CallRefused,
    "a swap is in a unit, and that position is on a card that is in no unit",
    "Name a position of the unit.",
)


class GivenAnswer(NamedTuple):
    """A person's answer on one condition: `answer` is one of `ANSWERS`, `text` the evidence."""

    condition: str
    answer: str
    text: str


class Opened(NamedTuple):
    """A swap that was opened: its position, and notes on its cards."""

    position: Position
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Site:
    """Where a swap is: its vessel, unit and position by the records now."""

    vessel: Vessel
    unit: Unit
    position: Position


def site_of(ships: Fleet, where: str) -> Site:
    """Return where a swap is; raise if the WHERE names no position of a unit."""
    position = select.find_position(ships, where)
    vessel = select.vessel_at(ships, where)
    for unit in vessel.units:
        if position in unit.positions:
            return Site(vessel, unit, position)
    raise SWAP_ON_UNIT.error(expected="VESSEL/UNIT/POSITION", found=position.where)


def open_swap(  # noqa: PLR0913 - the facts of the opening, all by keyword
    assessor: Assessor,
    where: str,
    *,
    why: str,
    by: str,
    route: str,
    old_card: str | None,
    new_card: str | None,
) -> Opened:
    """Put the opening of a swap on record with its conditions; return notes on its cards too."""
    vault = assessor.vault
    check_texts([("name of the person", by, NAME), ("reason", why, REMARK)])
    if old_card is not None and new_card is not None and old_card.casefold() == new_card.casefold():
        raise SWAP_CARD.error(expected="two serial numbers", found=old_card)
    with vault.writing() as writing:
        ships = fleet(vault)
        site = site_of(ships, where)
        if newest_open(swaps_at(vault, site.vessel, site.position)) is not None:
            raise SWAP_OPEN.error(where=site.position.where, expected="no open swap", found="one")
        new: list[Entity] = []
        cards = _cards(site, old_card, new_card, new)
        opened = open_swaps(vault, site.vessel)
        refuse_taken(site.vessel, opened, cards)
        body = SwapOpenedBody(
            swap=new_identity(),
            position=site.position.id,
            route=route,
            why=why,
            new=tuple(new),
            old_card=cards.old,
            new_card=cards.new,
        )
        swap = Swap(
            body.swap, site.vessel.home(body.position), Step("", None, NO_TIME), body
        )  # as it will be, for the conditions at this moment
        entries = swap_state(ships, assessor, where, swap=swap).readiness().entries
        add_step(writing, swap, replace(body, conditions=entries), by)
    notes = cross_over_notes(vault, site.vessel, [site.unit])
    return Opened(site.position, (*notes, *card_notes(site.vessel, site.unit, opened, cards)))


def _cards(site: Site, old: str | None, new: str | None, entered: list[Entity]) -> Named:
    """Return the cards of a swap by their serial numbers; new ones are added to `entered`."""
    within: Facts = {"location": IN_A_UNIT, "unit": site.unit.short}
    return Named(
        _card(site.vessel, old, within, entered),
        _card(site.vessel, new, {"location": "spare aboard"}, entered),
    )


def _card(vessel: Vessel, serial: str | None, where: Facts, new: list[Entity]) -> str | None:
    """Return the identity of a card by its serial number; a new card is added to `new`."""
    if serial is None:
        return None
    check_short(serial, "card's serial number")
    for card in vessel.cards:
        if card.serial.casefold() == serial.casefold():
            return card.id
    refuse_near(serial, (card.serial for card in vessel.cards), "card")
    facts: Facts = {"serial": serial, **where}
    entity = Entity(what="card", id=new_identity(), facts=facts, inside=vessel.id)
    new.append(entity)
    return entity.id


def answer(vault: Vault, where: str, answers: Sequence[GivenAnswer], *, by: str) -> Position:
    """Put on record a person's answers on conditions of the open swap: all of them, or none."""
    check_texts([("name of the person", by, NAME)])
    check_texts([(f"answer to {given.condition}"[:60], given.text, REMARK) for given in answers])
    seen: set[str] = set()
    for given in answers:
        if given.condition not in answerable():
            raise SWAP_CONDITION.error(
                expected=", ".join(answerable()), found=repr(given.condition[:40])
            )
        if given.condition in seen:
            raise SWAP_ANSWER_TWICE.error(expected="each condition once", found=given.condition)
        seen.add(given.condition)
    with vault.writing() as writing:
        site, swap = open_at(vault, where)
        for given in answers:
            body = SwapAnswerBody(
                swap=swap.id, condition=given.condition, answer=given.answer, text=given.text
            )
            add_step(writing, swap, body, by)
    return site.position


def select_copy(vault: Vault, where: str, copy: Copy, *, why: str, by: str) -> Position:
    """Put on record that this copy is selected, and why not the newest."""
    check_texts([("name of the person", by, NAME), ("reason", why, REMARK)])
    with vault.writing() as writing:
        site, swap = open_at(vault, where)
        body = SwapCopySelectedBody(swap=swap.id, image=copy.image, why=why)
        add_step(writing, swap, body, by, copy.sha256)
    return site.position


def keep_sheet(vault: Vault, swap: Swap, sheet: GivenSheet, data: bytes, by: str | None) -> None:
    """Keep the new card's sheet with the swap, unless it is the one that was kept last."""
    undecided = any(conflict.fact == NEW_CARD for conflict in swap.conflicts)
    if swap.sheet is not None and swap.sheet.file[0] == sheet.sha256 and not undecided:
        return
    with vault.writing() as writing:
        mark = writing.person(by, swap.vessel) if by else None
        digest = writing.put(data)
        body = SwapSheetBody(swap=swap.id, sheet=digest, name=kept_name(sheet.name))
        writing.add(body.kind, swap.vessel, body.members(), by=mark, relies_on=[digest])


def open_at(vault: Vault, where: str) -> tuple[Site, Swap]:
    """Return where a swap is, and the swap at work there; raise NotFound without one."""
    site = site_of(fleet(vault), where)
    return site, the_open_swap(vault, site.vessel, site.position)


def add_step(writing: Writing, swap: Swap, body: Body, by: str, *relies_on: str) -> None:
    """Put one step of a swap on record, signed by a person."""
    mark = writing.person(by, swap.vessel)
    writing.add(body.kind, swap.vessel, body.members(), by=mark, relies_on=relies_on)


class ValueLayouts(NamedTuple):
    """What values were compared by: the selected copy's layout, the card's, and the renames.

    `old` is an entry if it is the position's layout, which the vault holds already.
    """

    old: LayoutFile | LayoutEntry
    new: LayoutFile
    renames: RenamesFile | None = None


class Release(NamedTuple):
    """A file that was written for loading; of a pair, `digests` are both files' in order.

    `swap` is the open swap that it is for. `conditions` are those at that moment.
    """

    format: str
    digests: tuple[str, ...]
    swap: str | None = None
    by: str | None = None
    unverified: bool = False
    conditions: tuple[ConditionEntry, ...] = ()


def record_load_file(  # noqa: PLR0913 - what was written, and what was accepted for it
    vault: Vault,
    position: Position,
    copy: Copy,
    image: Image,
    release: Release,
    *,
    accepting: tuple[Cleared, Acceptance] | None = None,
) -> None:
    """Put on record that a copy was written for loading, and what was accepted for that."""
    body = LoadFileBody(
        position=position.id,
        image=copy.image,
        format=release.format,
        file_sha256=release.digests[0],
        sum16=sum16(image.content),
        second_sha256=release.digests[1] if len(release.digests) > 1 else None,
        swap=release.swap,
        unverified=release.unverified,
        conditions=release.conditions,
    )
    with vault.writing() as writing:
        if accepting is not None:
            accepting[0].refuse_changed(vault)
            accepting[0].put(writing, accepting[1])
        vessel = _home(vault, position)
        mark = writing.person(release.by, vessel) if release.by else None
        writing.add(body.kind, vessel, body.members(), by=mark, relies_on=[copy.sha256])


def record_read_back(  # noqa: PLR0913 - who states it and by what, by keyword
    vault: Vault,
    position: Position,
    copy: Copy,
    reads: Sequence[tuple[Incoming, ReadBack | ValuesReadBack]],
    *,
    by: str | None,
    layouts: ValueLayouts | None = None,
    swap: str | None = None,
    accepting: tuple[Cleared, Acceptance] | None = None,
) -> None:
    """Put the read-backs of a card on record, one record a dump, with the answer.

    `swap` is the open swap; `accepting` what is accepted in this call. `layouts` are those of a
    comparison by values: kept in full, so that the answer can be calculated again.
    """
    with vault.writing() as writing:
        if accepting is not None:
            accepting[0].refuse_changed(vault)
            accepting[0].put(writing, accepting[1])
        vessel = _home(vault, position)
        mark = writing.person(by, vessel) if by else None
        kept, needed = _kept(writing, layouts)
        call = new_identity()
        for incoming, result in reads:
            image = incoming.image
            relies_on = [writing.put(image.content), copy.sha256, *needed]
            relies_on += [writing.put(file.data) for file in incoming.files]
            body = ReadBackBody(
                position=position.id,
                selected=copy.image,
                image=ImageEntry.of(image, sha256(image.content)),
                dumps=tuple(entry_of(file) for file in incoming.files),
                stage=result.stage,
                loaded_correctly=result.loaded_correctly,
                swap=swap,
                call=call,
                **result.counts,
                **kept,
            )
            writing.add("read-back", vessel, body.members(), by=mark, relies_on=relies_on)


def _kept(writing: Writing, layouts: ValueLayouts | None) -> tuple[dict[str, Any], list[str]]:
    """Write the layouts and the renames; return the body's members, and every object's digest."""
    if layouts is None:
        return {}, []
    old = layouts.old
    before = old if isinstance(old, LayoutEntry) else put_layout(writing, old)
    behind = put_layout(writing, layouts.new)
    members: dict[str, Any] = {"old_layout": before, "layout": behind}
    objects = [*objects_of(before), *objects_of(behind)]
    if layouts.renames is not None:
        table = writing.put(layouts.renames.data)
        members["renames"] = RenamesEntry(sha256=table, name=kept_name(layouts.renames.name))
        objects.append(table)
    return members, objects


def released_files(vault: Vault, position: Position) -> dict[str, datetime]:
    """Return the files released for loading at this position: digest, and when that was last."""
    records = [
        stored.record
        for stored in counting(vault, _home(vault, position))
        if stored.record.kind == "load-file" and stored.record.body.get("position") in position.ids
    ]
    names = ("file_sha256", "second_sha256")
    return {
        str(record.body[name]): local_time(record)
        for record in records
        for name in names
        if name in record.body
    }


def _home(vault: Vault, position: Position) -> str:
    parts = select.parse_where(position.where)
    return select.find_vessel(fleet(vault), parts.vessel).home(position.id)
