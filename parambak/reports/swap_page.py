"""The page of a swap: deviations first, every condition, what was loaded, proven and tested."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from parambak.errors import VaultDamaged
from parambak.reports import parts
from parambak.reports.html import render
from parambak.swap import measured
from parambak.swap.standing import standing, who

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.keeping.known import Vessel
    from parambak.reports.parts import Desk
    from parambak.swap.course import Course, End, Released, Tested, Told
    from parambak.swap.standing import Standing


def swap_page(desk: Desk, where: str, course: Course) -> bytes:
    """Return the HTML page of one swap, open or ended."""
    found = standing(desk.known, desk.assessor, where, course=course)
    title = f"Card swap at {found.position.where}"
    return render(
        "swap.html",
        {
            **desk.frame(title, found.vessel),
            "state": _state(desk, course),
            "closed": course.end is not None and course.end.outcome == "closed",
            "deviations": [
                {
                    **_told(desk, each),
                    "condition": each.condition,
                    "text": each.text,
                    "reason": each.reason,
                }
                for each in course.deviations
            ],
            "unverified": [
                _released(desk, each) for each in course.released if each.body.unverified
            ],
            "rules": found.rules.title,
            "said": found.rules.said,
            "identity": _identity(found, course),
            "change": _change(desk, found, course),
            **_conditions(found),
            **_proof(desk, course),
            **_memory(desk, found, course),
            "measurements": _measurements(desk, found, course),
            "entries": found.evidence.entries or (),
        },
    )


def _told(desk: Desk, told: Told) -> dict[str, Any]:
    return {"who": who(desk.assessor, told)}


def _state(desk: Desk, course: Course) -> str:
    if course.end is None:
        return (
            f"OPEN, since {course.opened.at:%Y-%m-%d %H:%M} ({who(desk.assessor, course.opened)})"
        )
    word = "CLOSED" if course.end.outcome == "closed" else "GIVEN UP"
    reason = f": {course.end.reason}" if course.end.reason else ""
    return f"{word} on {course.end.at:%Y-%m-%d %H:%M} ({who(desk.assessor, course.end)}){reason}"


def _identity(found: Standing, course: Course) -> list[parts.Fact]:
    layout_of = found.position
    facts = parts.identity(found.vessel, found.unit, layout_of, None)
    facts += _card("old card", found.vessel, course.body.old_card)
    facts += _card("new card", found.vessel, course.body.new_card)
    facts.append(("copy meant", parts.copy_name(found.position, found.copy)))
    if found.copy is not None:
        facts.append(("SHA-256 of the copy", found.copy.sha256))
    return facts


def _card(label: str, vessel: Vessel, identity: str | None) -> list[parts.Fact]:
    for card in vessel.cards:
        if identity in card.ids:
            kind = card.facts.get("card_type")
            now = card.facts.get("whereabouts", "")
            return [(label, f"{card.serial}{f', {kind}' if kind else ''}; now {now}")]
    return []


def _change(desk: Desk, found: Standing, course: Course) -> list[parts.Fact]:
    """Return the items of a change record, as IACS UR E22 Rev.3, 6.11 lists them."""
    impact = course.answers.get("impact")
    route = {
        "load": "the new card's memory was loaded with the copy meant",
        "move-chip": "the old memory chip went onto the new card",
    }.get(course.route, course.route)
    tests = course.end.tests if course.end is not None else ()
    named = ", ".join(f"{test.name} {test.result}" for test in tests)
    proof = "contents proven by bytes" if course.proof else "contents not proven"
    return [
        ("purpose", course.body.why),
        ("description", f"{route}; {parts.copy_name(found.position, found.copy)}"),
        (
            "conclusion on impact",
            f"{impact.text} ({who(desk.assessor, impact)})" if impact else "not told",
        ),
        ("identity and version", _version(desk, found)),
        ("test report", f"{proof}; {named or 'no function test on record'}"),
    ]


def _version(desk: Desk, found: Standing) -> str:
    layout = desk.assessor.layout_of(found.position)
    told = [
        f"{entry.name} {entry.card}"
        for entry in found.evidence.entries or ()
        if "version" in entry.name.casefold() or "software" in entry.name.casefold()
    ]
    if layout is not None:
        told.append(f"layout {layout.title} {layout.revision or ''}".strip())
    if found.copy is not None:
        told.append(f"parameters {found.copy.sha256[:16]}")
    return "; ".join(told) or "not known"


def _conditions(found: Standing) -> dict[str, Any]:
    answer = found.readiness()
    return {
        "ready": answer.ready,
        "wanting": answer.wanting,
        "conditions": [
            {
                "condition": each.condition,
                "met": each.met,
                "text": each.text,
                "required": each.condition in answer.required,
            }
            for each in answer.conditions
        ],
    }


def _released(desk: Desk, told: Released) -> dict[str, Any]:
    body = told.body
    return {
        **_told(desk, told),
        "format": body.format,
        "sha256": body.file_sha256,
        "second": body.second_sha256,
        "sum16": body.sum16,
        "unverified": body.unverified,
        "reason": body.reason,
    }


def _proof(desk: Desk, course: Course) -> dict[str, Any]:
    proof = {each.record for each in course.proof}
    tested: list[Tested | End] = [*course.tested]
    if course.end is not None:
        tested.append(course.end)
    return {
        "released": [_released(desk, each) for each in course.released],
        "read_backs": [
            {
                **_told(desk, each),
                "stage": each.body.stage,
                "files": ", ".join(dump.name for dump in each.body.dumps),
                "loaded": each.body.loaded_correctly,
                "differing": each.body.differing_values
                if each.body.by_values
                else each.body.differing_bytes,
                "by_values": each.body.by_values,
                "expected": each.body.expected_values
                if each.body.by_values
                else each.body.expected_bytes,
                "sha256": each.body.image.sha256,
                "proof": each.record in proof,
            }
            for each in course.read_backs
        ],
        "proven": bool(proof),
        "tests": [
            {**_told(desk, each), "name": test.name, "result": test.result, "text": test.text}
            for each in tested
            for test in each.tests
        ],
    }


def _memory(desk: Desk, found: Standing, course: Course) -> dict[str, Any]:
    """Return the decoded copy, its sums, what differs on the card, and the map."""
    nothing: dict[str, Any] = {
        "parameters": [],
        "checks": (),
        "sums": [],
        "difference": None,
        "map": None,
    }
    if found.copy is None:
        return nothing
    assessor = desk.assessor
    layout = assessor.layout_of(found.position)
    try:
        image = assessor.image(found.copy.image)
        last = course.read_backs[-1].body if course.read_backs else None
        card = last.image.image(assessor.vault.read_object(last.image.sha256)) if last else None
    except VaultDamaged:
        return nothing
    by_bytes = last is not None and not last.by_values
    difference = parts.difference(layout, image, card) if card and by_bytes else None
    decoded = found.evidence.decoded
    return {
        "parameters": parts.parameters(decoded),
        "checks": decoded.checks if decoded is not None else (),
        "sums": parts.sums(found.copy, image),
        "difference": difference,
        "map": parts.drawn(
            image,
            assessor.memory_size(found.position, layout),
            layout,
            difference.ranges if difference is not None else (),
        ),
    }


def _measurements(desk: Desk, found: Standing, course: Course) -> list[dict[str, Any]]:
    """Return what was measured at the unit from the day of the opening on, or last before it."""
    ids = found.position.ids | (found.unit.ids if found.unit is not None else frozenset())
    every = measured.on_record(desk.assessor.vault, found.vessel, ids)
    opened = course.opened.at.date()
    ended = course.end.at.date() if course.end is not None else None
    within = [m for m in every if m.on >= opened and (ended is None or m.on <= ended)]
    before = [m for m in every if m.on < opened][-1:]
    return parts.measurements(desk, _in_order(before, within))


def _in_order(*rounds: Iterable[measured.Measured]) -> list[measured.Measured]:
    return [each for one in rounds for each in one]
