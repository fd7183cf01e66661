"""What is put on record in the course of a swap: opened, answered, chosen, accepted, closed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from parambak.errors import CallRefused, Fault, NotProven
from parambak.keeping import select
from parambak.keeping.bodies import (
    AmendBody,
    Entity,
    SwapAnswerBody,
    SwapClosedBody,
    SwapDeviationBody,
    SwapMeantBody,
    SwapOpenedBody,
    SwapTestedBody,
)
from parambak.keeping.fold import fleet
from parambak.keeping.identities import new_identity
from parambak.keeping.names import check_short, refuse_near
from parambak.keeping.texts import NAME, REMARK, check_texts
from parambak.swap.conditions import QUESTIONS
from parambak.swap.course import SWAP_OPEN, courses, open_course, the_open_course

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.bodies import Body, Facts, FunctionTest
    from parambak.keeping.known import Card, Copy, Fleet, Position, Unit, Vessel
    from parambak.swap.course import Course
    from parambak.vault.vault import Vault, Writing

ROUTES = ("load", "move-chip")
ANSWERS = ("yes", "no", "not-known", "not-needed")
ANSWERED = (*QUESTIONS, "belongs-to-card", "counters")

SWAP_CARD = Fault(
    "swap-same-card",
    CallRefused,
    "the old card and the new card are one",
    "Name the serial number of each.",
)
SWAP_CONDITION = Fault(
    "swap-condition",
    CallRefused,
    "that condition is not one that a person answers",
    "The others are worked out from what is on record; `parambak swap check` says how.",
)
SWAP_ON_UNIT = Fault(
    "swap-no-unit",
    CallRefused,
    "a card is swapped in a unit, and that position is on a card that is in none",
    "Name the unit's position.",
)
SWAP_NOT_PROVEN = Fault(
    "swap-contents-not-proven",
    NotProven,
    "the swap stays open: it is not proven that the card holds the copy that was meant",
    "Read the new card twice, apart, and give both dumps to `parambak swap read-back {where}`; "
    "or give the swap up with --abandoned and a reason.",
)
SWAP_NOT_TESTED = Fault(
    "swap-not-tested",
    NotProven,
    "the swap stays open: no function test is on record as passed",
    "Test every function and every safety action, and give each with --test NAME=passed.",
)
SWAP_TEST_FAILED = Fault(
    "swap-test-failed",
    NotProven,
    "the swap stays open: a function test failed",
    "That is on record. Do not return the unit to service. Find the cause and test again, or "
    "give the swap up with --abandoned and a reason.",
)
SWAP_ABANDON_WHY = Fault(
    "swap-abandoned-why",
    CallRefused,
    "a swap that is given up needs its reason",
    "Give it with --reason.",
)


@dataclass(frozen=True)
class At:
    """Where a swap is: its vessel, unit and position as known now."""

    vessel: Vessel
    unit: Unit
    position: Position


def at(known: Fleet, where: str) -> At:
    """Return where a swap is; raise where the WHERE names no position of a unit."""
    position = select.find_position(known, where)
    vessel = select.find_vessel(known, select.parse_where(where).vessel)
    for unit in vessel.units:
        if position in unit.positions:
            return At(vessel, unit, position)
    raise SWAP_ON_UNIT.at(expected="VESSEL/UNIT/POSITION", found=position.where)


def open_swap(  # noqa: PLR0913 - what is known at the opening, all by keyword
    vault: Vault,
    where: str,
    *,
    why: str,
    by: str,
    route: str,
    old_card: str | None,
    new_card: str | None,
) -> Position:
    """Put the opening of a swap on record; return its position."""
    check_texts([("name of the person", by, NAME), ("reason", why, REMARK)])
    if old_card is not None and new_card is not None and old_card.casefold() == new_card.casefold():
        raise SWAP_CARD.at(expected="two serial numbers", found=old_card)
    with vault.writing() as writing:
        there = at(fleet(vault), where)
        if open_course(courses(vault, there.vessel, there.position)) is not None:
            raise SWAP_OPEN.at(where=there.position.where, expected="no open swap", found="one")
        new: list[Entity] = []
        old_id = _card(there.vessel, old_card, "in a unit", new)
        new_id = _card(there.vessel, new_card, "spare aboard", new)
        body = SwapOpenedBody(
            swap=new_identity(),
            position=there.position.id,
            route=route,
            why=why,
            new=tuple(new),
            old_card=old_id,
            new_card=new_id,
        )
        _add(writing, "swap-opened", there.vessel.home(there.position.id), body, by)
    return there.position


def _card(vessel: Vessel, serial: str | None, whereabouts: str, new: list[Entity]) -> str | None:
    """Return the identity of a card by its serial number; one that is not known comes in."""
    if serial is None:
        return None
    check_short(serial, "card's serial number")
    for card in vessel.cards:
        if card.serial.casefold() == serial.casefold():
            return card.id
    refuse_near(serial, (card.serial for card in vessel.cards), "card")
    facts: Facts = {"serial": serial, "whereabouts": whereabouts}
    entity = Entity(what="card", id=new_identity(), facts=facts, inside=vessel.id)
    new.append(entity)
    return entity.id


def answer(  # noqa: PLR0913 - what was told, all by keyword
    vault: Vault, where: str, *, condition: str, told: str, text: str, by: str
) -> Position:
    """Put on record what a person tells of one condition of the open swap."""
    check_texts([("name of the person", by, NAME), ("answer", text, REMARK)])
    if condition not in ANSWERED:
        raise SWAP_CONDITION.at(expected=", ".join(ANSWERED), found=repr(condition[:40]))
    with vault.writing() as writing:
        there, course = _open_at(vault, where)
        body = SwapAnswerBody(swap=course.id, condition=condition, answer=told, text=text)
        _add(writing, "swap-answer", course.vessel, body, by)
    return there.position


def choose(vault: Vault, where: str, copy: Copy, *, why: str, by: str) -> Position:
    """Put on record that this copy is meant, and why not the newest."""
    check_texts([("name of the person", by, NAME), ("reason", why, REMARK)])
    with vault.writing() as writing:
        there, course = _open_at(vault, where)
        body = SwapMeantBody(swap=course.id, image=copy.image, why=why)
        _add(writing, "swap-meant", course.vessel, body, by, copy.sha256)
    return there.position


def accept(  # noqa: PLR0913 - what was told, all by keyword
    vault: Vault, where: str, *, condition: str, text: str, reason: str, by: str
) -> None:
    """Put on record that one condition, which says `text` now, is accepted though not met."""
    check_texts([("name of the person", by, NAME), ("reason", reason, REMARK)])
    with vault.writing() as writing:
        _, course = _open_at(vault, where)
        body = SwapDeviationBody(
            swap=course.id, condition=condition, text=text[:REMARK], reason=reason
        )
        _add(writing, "swap-deviation", course.vessel, body, by)


def close(  # noqa: PLR0913 - what is told at the end, all by keyword
    vault: Vault,
    where: str,
    *,
    tests: Sequence[FunctionTest],
    by: str,
    reason: str | None,
    old_card_to: str,
) -> tuple[Position, int]:
    """Close the open swap; return its position, and how many read-backs became reads.

    Raise NotProven where the contents are not proven by two read-backs, or the function
    tests are not all passed; tests of which one failed go on record all the same.
    """
    _check(tests, by, reason)
    with vault.writing() as writing:
        there, course = _open_at(vault, where)
        proof = course.proof
        if not proof:
            found = f"{len(course.read_backs)} read-backs in this swap"
            expected = "two read-backs made apart at one stage, loaded correctly, none worse since"
            raise SWAP_NOT_PROVEN.at(where=there.position.where, expected=expected, found=found)
        failed = [test.name for test in tests if test.result != "passed"]
        if failed:
            told = SwapTestedBody(swap=course.id, tests=tuple(tests))
            _add(writing, "swap-tested", course.vessel, told, by)
            raise SWAP_TEST_FAILED.at(expected="all passed", found=f"failed: {', '.join(failed)}")
        if not tests:
            raise SWAP_NOT_TESTED.at(expected="--test NAME=passed", found="no test")
        _move_cards(writing, there, course, old_card_to, by)
        taken_in = tuple(each.record for each in proof)
        body = SwapClosedBody(
            swap=course.id, outcome="closed", reason=reason, tests=tuple(tests), taken_in=taken_in
        )
        objects = [each.body.image.sha256 for each in proof]
        _add(writing, "swap-closed", course.vessel, body, by, *objects)
    return there.position, len(proof)


def abandon(
    vault: Vault, where: str, *, tests: Sequence[FunctionTest], by: str, reason: str | None
) -> Position:
    """Give the open swap up, for a reason; nothing that was read back becomes a read."""
    _check(tests, by, reason)
    if not reason:
        raise SWAP_ABANDON_WHY.at(expected="--reason TEXT", found="none")
    with vault.writing() as writing:
        there, course = _open_at(vault, where)
        body = SwapClosedBody(
            swap=course.id, outcome="abandoned", reason=reason, tests=tuple(tests)
        )
        _add(writing, "swap-closed", course.vessel, body, by)
    return there.position


def _check(tests: Sequence[FunctionTest], by: str, reason: str | None) -> None:
    texts = [("name of the test", test.name, NAME) for test in tests]
    texts += [("result of the test", test.text or "", REMARK) for test in tests]
    check_texts([*texts, ("name of the person", by, NAME), ("reason", reason, REMARK)])


def _open_at(vault: Vault, where: str) -> tuple[At, Course]:
    there = at(fleet(vault), where)
    return there, the_open_course(vault, there.vessel, there.position)


def _move_cards(writing: Writing, there: At, course: Course, old_card_to: str, by: str) -> None:
    """Put the whereabouts of both cards on record, the fitted one's with its unit."""
    moves: list[tuple[str | None, Facts]] = [
        (course.body.old_card, {"whereabouts": old_card_to, "unit": ""}),
        (course.body.new_card, {"whereabouts": "in a unit", "unit": there.unit.short}),
    ]
    for card, facts in moves:
        if card is not None:
            for identity in _identities(there.vessel, card):
                body = AmendBody(what="card", id=identity, facts=facts, why="swap closed")
                _add(writing, "amend", there.vessel.home(identity), body, by)


def _identities(vessel: Vessel, card: str) -> list[str]:
    same: list[Card] = [each for each in vessel.cards if card in each.ids]
    return sorted(same[0].ids) if same else [card]


def _add(writing: Writing, kind: str, vessel: str, body: Body, by: str, *relies_on: str) -> None:
    writing.add(kind, vessel, body.members(), by=writing.person(by, vessel), relies_on=relies_on)
