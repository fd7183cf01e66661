"""Puts a swap on record, from its opening to its closing, with each file and read-back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from parambak.errors import CallRefused, Fault, NotProven
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
    CorrectBody,
    Entity,
    ImageEntry,
    LayoutEntry,
    LoadFileBody,
    ReadBackBody,
    RenamesEntry,
    SwapAnswerBody,
    SwapClosedBody,
    SwapCopySelectedBody,
    SwapDeviationBody,
    SwapOpenedBody,
    SwapTestedBody,
)
from parambak.keeping.state.cards import IN_A_UNIT, cross_over_notes, unit_of
from parambak.keeping.state.conditions import answerable
from parambak.keeping.state.counting import counting
from parambak.keeping.state.fold import fleet
from parambak.memory.digests import sha256, sum16
from parambak.swap.swap_cards import Named, also_in, card_notes, open_swaps, refuse_taken
from parambak.swap.swaps import SWAP_OPEN, newest_open, swaps_at, the_open_swap
from parambak.swap.unsettled import refuse_unsettled

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.recording.received import Incoming, LayoutFile, RenamesFile
    from parambak.keeping.state.bodies import Body, Facts, FunctionTest
    from parambak.keeping.state.model import Copy, Fleet, Position, Unit, Vessel
    from parambak.memory.image import Image
    from parambak.swap.read_back import ReadBack, ValuesReadBack
    from parambak.swap.swaps import Swap
    from parambak.vault.vault import Vault, Writing

ROUTES = ("load", "move-chip")

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
SWAP_NOT_PROVEN = Fault(
    "swap-contents-not-proven",
    NotProven,
    "the swap stays open: it is not proven that the card holds the selected copy",
    "Make two separate reads of the new card, and give both dumps to `parambak swap read-back "
    "{where}`. Or abandon the swap with --abandoned and a reason.",
)
SWAP_NOT_TESTED = Fault(
    "swap-not-tested",
    NotProven,
    "the swap stays open: no function test is on record as passed",
    "Test every function and every safety action, and give each test with --test NAME=passed.",
)
SWAP_TEST_FAILED = Fault(
    "swap-test-failed",
    NotProven,
    "the swap stays open: a function test failed",
    "The result is on record. Do not return the unit to service. Find the cause and test again, or "
    "abandon the swap with --abandoned and a reason.",
)
SWAP_ABANDON_WHY = Fault(
    "swap-abandoned-why",
    CallRefused,
    "an abandoned swap needs a reason",
    "Give the reason with --reason.",
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


class Closed(NamedTuple):
    """A swap that was closed.

    `reads` counts the read-backs that became reads. `by_values`: no byte was compared with the
    selected copy. `cards` are where the cards went, in words; `notes` what is left open.
    """

    position: Position
    reads: int
    by_values: bool
    cards: tuple[str, ...]
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
    vault: Vault,
    where: str,
    *,
    why: str,
    by: str,
    route: str,
    old_card: str | None,
    new_card: str | None,
) -> Opened:
    """Put the opening of a swap on record; return its position, and notes on its cards."""
    check_texts([("name of the person", by, NAME), ("reason", why, REMARK)])
    if old_card is not None and new_card is not None and old_card.casefold() == new_card.casefold():
        raise SWAP_CARD.error(expected="two serial numbers", found=old_card)
    with vault.writing() as writing:
        site = site_of(fleet(vault), where)
        if newest_open(swaps_at(vault, site.vessel, site.position)) is not None:
            raise SWAP_OPEN.error(where=site.position.where, expected="no open swap", found="one")
        new: list[Entity] = []
        within: Facts = {"location": IN_A_UNIT, "unit": site.unit.short}
        cards = Named(
            _card(site.vessel, old_card, within, new),
            _card(site.vessel, new_card, {"location": "spare aboard"}, new),
        )
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
        _add(writing, "swap-opened", site.vessel.home(site.position.id), body, by)
    notes = cross_over_notes(vault, site.vessel, [site.unit])
    return Opened(site.position, (*notes, *card_notes(site.vessel, site.unit, opened, cards)))


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
        site, swap = _open_at(vault, where)
        for given in answers:
            body = SwapAnswerBody(
                swap=swap.id, condition=given.condition, answer=given.answer, text=given.text
            )
            _add(writing, "swap-answer", swap.vessel, body, by)
    return site.position


def select_copy(vault: Vault, where: str, copy: Copy, *, why: str, by: str) -> Position:
    """Put on record that this copy is selected, and why not the newest."""
    check_texts([("name of the person", by, NAME), ("reason", why, REMARK)])
    with vault.writing() as writing:
        site, swap = _open_at(vault, where)
        body = SwapCopySelectedBody(swap=swap.id, image=copy.image, why=why)
        _add(writing, "swap-copy-selected", swap.vessel, body, by, copy.sha256)
    return site.position


def accept(  # noqa: PLR0913 - the parts of a deviation, all by keyword
    vault: Vault, where: str, *, condition: str, text: str, reason: str, by: str
) -> None:
    """Put on record that one condition, with the evidence `text` now, is accepted unmet."""
    check_texts([("name of the person", by, NAME), ("reason", reason, REMARK)])
    with vault.writing() as writing:
        _, swap = _open_at(vault, where)
        body = SwapDeviationBody(
            swap=swap.id, condition=condition, text=text[:REMARK], reason=reason
        )
        _add(writing, "swap-deviation", swap.vessel, body, by)


def close(  # noqa: PLR0913 - the facts of the end, all by keyword
    vault: Vault,
    where: str,
    *,
    tests: Sequence[FunctionTest],
    by: str,
    reason: str | None,
    old_card_to: str,
) -> Closed:
    """Close the open swap; return its position, how many reads it gave, and where the cards went.

    Raise NotProven if the contents are not proven by two read-backs, or not all function tests
    passed; failed tests go on record all the same.
    """
    _check(tests, by, reason)
    with vault.writing() as writing:
        site, swap = _settled_at(vault, where)
        failed = [test.name for test in tests if test.result != "passed"]
        if failed:
            tested = SwapTestedBody(swap=swap.id, tests=tuple(tests))
            _add(writing, "swap-tested", swap.vessel, tested, by)
            raise SWAP_TEST_FAILED.error(
                expected="all passed", found=f"failed: {', '.join(failed)}"
            )
        if swap.unproven is not None:
            raise SWAP_NOT_PROVEN.error(
                where=site.position.where,
                expected="two separate read-backs at one stage, loaded correctly, and no wrong one "
                "after them",
                found=swap.unproven,
            )
        if not tests:
            raise SWAP_NOT_TESTED.error(expected="--test NAME=passed", found="no test")
        proof = swap.proof
        cards = _move_cards(writing, site, swap, old_card_to, by)
        taken_in = tuple(step.record for step in proof)
        body = SwapClosedBody(
            swap=swap.id, outcome="closed", reason=reason, tests=tuple(tests), taken_in=taken_in
        )
        objects = [step.body.image.sha256 for step in proof]
        _add(writing, "swap-closed", swap.vessel, body, by, *objects)
    named = Named(swap.body.old_card, swap.body.new_card)
    notes = also_in(site.vessel, site.unit, named) if swap.body.new_card else ()
    by_values = any(step.body.by_values for step in proof)
    return Closed(site.position, len(proof), by_values, cards, notes)


def abandon(
    vault: Vault, where: str, *, tests: Sequence[FunctionTest], by: str, reason: str | None
) -> Position:
    """Abandon the open swap, for a reason; no read-back becomes a read."""
    _check(tests, by, reason)
    if not reason:
        raise SWAP_ABANDON_WHY.error(expected="--reason TEXT", found="none")
    with vault.writing() as writing:
        site, swap = _open_at(vault, where)
        body = SwapClosedBody(swap=swap.id, outcome="abandoned", reason=reason, tests=tuple(tests))
        _add(writing, "swap-closed", swap.vessel, body, by)
    return site.position


def _check(tests: Sequence[FunctionTest], by: str, reason: str | None) -> None:
    texts = [("name of the test", test.name, NAME) for test in tests]
    texts += [("result of the test", test.text or "", REMARK) for test in tests]
    check_texts([*texts, ("name of the person", by, NAME), ("reason", reason, REMARK)])


def _settled_at(vault: Vault, where: str) -> tuple[Site, Swap]:
    """Return a position and its open swap; raise if a record is lost or in conflict there."""
    site, swap = _open_at(vault, where)
    refuse_unsettled(site.vessel, site.position, swap)
    return site, swap


def _open_at(vault: Vault, where: str) -> tuple[Site, Swap]:
    site = site_of(fleet(vault), where)
    return site, the_open_swap(vault, site.vessel, site.position)


def _move_cards(
    writing: Writing, site: Site, swap: Swap, old_card_to: str, by: str
) -> tuple[str, ...]:
    """Put the location of both cards on record; return where they went, in words.

    An old card that was fitted in another unit since the opening stays on record site.
    """
    moves: list[tuple[str, str | None, Facts]] = [
        ("old card", swap.body.old_card, {"location": old_card_to, "unit": ""}),
        ("new card", swap.body.new_card, {"location": IN_A_UNIT, "unit": site.unit.short}),
    ]
    words = []
    for what, identity, facts in moves:
        card = next((card for card in site.vessel.cards if identity in card.ids), None)
        if card is None:
            continue
        since = unit_of(site.vessel, card)
        if what == "old card" and since is not None and since is not site.unit:
            words.append(f"old card {card.serial}: stays on record in {since.where}")
            continue
        for card_id in sorted(card.ids):
            body = CorrectBody(what="card", id=card_id, facts=facts, why="swap closed")
            _add(writing, "correct", site.vessel.home(card_id), body, by)
        now = f"in {site.unit.where}" if facts["unit"] else str(facts["location"])
        words.append(f"{what} {card.serial}: {now}")
    return tuple(words)


def _add(writing: Writing, kind: str, vessel: str, body: Body, by: str, *relies_on: str) -> None:
    writing.add(kind, vessel, body.members(), by=writing.person(by, vessel), relies_on=relies_on)


class ValueLayouts(NamedTuple):
    """What values were compared by: the selected copy's layout, the card's, and the renames.

    `old` is an entry if it is the position's layout, which the vault holds already.
    """

    old: LayoutFile | LayoutEntry
    new: LayoutFile
    renames: RenamesFile | None = None


class Release(NamedTuple):
    """A file that was written for loading; of a pair, `digests` are both files' in order.

    `swap` is the open swap that it is for; `reason` why an unverified copy was released, None
    if the copy is verified.
    """

    format: str
    digests: tuple[str, ...]
    swap: str | None = None
    reason: str | None = None
    by: str | None = None


def record_load_file(
    vault: Vault, position: Position, copy: Copy, image: Image, release: Release
) -> None:
    """Put on record that a copy was written for loading."""
    body = LoadFileBody(
        position=position.id,
        image=copy.image,
        format=release.format,
        file_sha256=release.digests[0],
        sum16=sum16(image.content),
        second_sha256=release.digests[1] if len(release.digests) > 1 else None,
        swap=release.swap,
        unverified=release.reason is not None,
        reason=release.reason,
    )
    with vault.writing() as writing:
        vessel = _home(vault, position)
        mark = writing.person(release.by, vessel) if release.by else None
        writing.add("load-file", vessel, body.members(), by=mark, relies_on=[copy.sha256])


def record_read_back(  # noqa: PLR0913 - who states it and by what, by keyword
    vault: Vault,
    position: Position,
    copy: Copy,
    reads: Sequence[tuple[Incoming, ReadBack | ValuesReadBack]],
    *,
    by: str | None,
    layouts: ValueLayouts | None = None,
    swap: str | None = None,
) -> None:
    """Put the read-backs of a card on record, one record a dump, with the answer.

    `swap` is the open swap. `layouts` are those of a comparison by values: kept in full, so that
    the answer can be calculated again.
    """
    with vault.writing() as writing:
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


def released_files(vault: Vault, position: Position) -> frozenset[str]:
    """Return the digests of the files that were released for loading at this position."""
    bodies = [
        stored.record.body
        for stored in counting(vault, _home(vault, position))
        if stored.record.kind == "load-file" and stored.record.body.get("position") in position.ids
    ]
    names = ("file_sha256", "second_sha256")
    return frozenset(str(body[name]) for body in bodies for name in names if name in body)


def _home(vault: Vault, position: Position) -> str:
    parts = select.parse_where(position.where)
    return select.find_vessel(fleet(vault), parts.vessel).home(position.id)
