"""The page of a swap: deviations first, every condition, what was loaded, proven and tested."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from parambak.errors import VaultDamaged
from parambak.reports import parts
from parambak.reports.html import render
from parambak.reports.parameters import parameters
from parambak.reports.rounds import rounds
from parambak.reports.swap_proof import contents, differences, proof
from parambak.swap import measurement_records
from parambak.swap.card_sheet import DEFER, NOT_ASKED, meaning
from parambak.swap.cautions import MOVE_CHIP
from parambak.swap.state import notes_on, swap_state, who
from parambak.swap.swaps import swaps_at

if TYPE_CHECKING:
    from parambak.keeping.state.known import Card, Vessel
    from parambak.reports.parts import Desk
    from parambak.swap.state import SwapState
    from parambak.swap.swaps import Released, Step, Swap

ROUTES = {
    "load": "the new card's memory is loaded with the copy meant",
    "move-chip": "the old memory chip goes onto the new card",
}


def swap_page(desk: Desk, where: str, swap: Swap) -> bytes:
    """Return the HTML page of one swap, open or ended."""
    found = swap_state(desk.known, desk.assessor, where, swap=swap)
    return render(
        "swap.html",
        {
            **desk.frame(f"Card swap at {found.position.where}", found.vessel),
            "route_cautions": MOVE_CHIP if swap.route == "move-chip" else (),
            "state": _state(desk, swap),
            "closed": swap.end is not None and swap.end.outcome == "closed",
            "ended": swap.end is not None,
            "deviations": [
                {
                    **_told(desk, each),
                    "condition": each.condition,
                    "text": each.text,
                    "reason": each.reason,
                }
                for each in swap.deviations
            ],
            "unverified": [_unverified(desk, r) for r in swap.released if r.body.unverified],
            "rules": found.rules.title,
            "said": _said(desk, found, swap),
            "change": _change(desk, found, swap),
            "identity": _identity(desk, found, swap),
            "way": _way(found, swap),
            **_conditions(found),
            "sheets": _sheets(found, swap),
            **proof(desk, swap),
            **_memory(desk, found, swap),
            "measurements": _measurements(desk, found, swap),
            "visits": _visits(desk, found, swap),
            "others": _others(desk, found, swap),
        },
    )


def _told(desk: Desk, told: Step) -> dict[str, Any]:
    return {"who": who(desk.assessor, told)}


def _state(desk: Desk, swap: Swap) -> str:
    if swap.end is None:
        opened = swap.opened
        return f"OPEN, since {opened.at:%Y-%m-%d %H:%M} ({who(desk.assessor, opened)})"
    word = "CLOSED" if swap.end.outcome == "closed" else "GIVEN UP"
    reason = f": {swap.end.reason}" if swap.end.reason else ""
    return f"{word} on {swap.end.at:%Y-%m-%d %H:%M} ({who(desk.assessor, swap.end)}){reason}"


def _unverified(desk: Desk, told: Released) -> dict[str, Any]:
    return {**_told(desk, told), "reason": told.body.reason}


def _said(desk: Desk, found: SwapState, swap: Swap) -> tuple[str, ...]:
    """Return what has to be said aloud before all else."""
    said = (*found.rules.said, *notes_on(desk.assessor.vault, found))
    ends = [
        f"{each.outcome} on {each.at.date()} ({who(desk.assessor, each)})" for each in swap.ends
    ]
    return (*said, f"it was ended more than once: {'; '.join(ends)}") if len(ends) > 1 else said


def _change(desk: Desk, found: SwapState, swap: Swap) -> list[parts.Fact]:
    """Return the items of a change record, as IACS UR E22 Rev.3, 6.11 lists them."""
    impact = swap.answers.get("impact")
    route = ROUTES.get(swap.route, swap.route)
    tests = swap.end.tests if swap.end is not None else ()
    named = ", ".join(f"{test.name} {test.result}" for test in tests)
    return [
        ("purpose", swap.body.why),
        ("description", f"the processor card is replaced; {route}: {_copy(found)}"),
        (
            "conclusion on impact",
            f"{impact.text} ({who(desk.assessor, impact)})" if impact else "not told",
        ),
        ("identity and version", _version(desk, found)),
        ("test report", f"{contents(swap)}; {named or 'no function test on record'}"),
    ]


def _copy(found: SwapState) -> str:
    return parts.copy_name(found.position, found.copy)


def _version(desk: Desk, found: SwapState) -> str:
    """Return what names the hardware, the software and the parameters that go in."""
    layout = desk.assessor.layout_of(found.position)
    unit = found.unit.facts.get("maker_type") if found.unit is not None else None
    told = [f"unit {unit}"] if unit else []
    told += [
        f"{entry.name} {entry.card}"
        for entry in found.evidence.entries or ()
        if entry.name.casefold() in {"card.type", "card.revision", "card.software"}
        or "version" in entry.name.casefold()
    ]
    if layout is not None:
        told.append(f"layout {layout.title} {layout.revision or ''}".strip())
    if found.copy is not None:
        told.append(f"parameters {found.copy.sha256[:16]}")
    return "; ".join(told) or "not known"


def _identity(desk: Desk, found: SwapState, swap: Swap) -> list[parts.Fact]:
    layout = desk.assessor.layout_of(found.position)
    facts = parts.identity(found.vessel, found.unit, found.position, layout)
    facts += _card("old card", _of(found.vessel, swap.body.old_card))
    facts += _card("new card", _of(found.vessel, swap.body.new_card))
    facts.append(("opened by", who(desk.assessor, swap.opened)))
    facts.append(("copy meant", _copy(found)))
    if swap.choice is not None:
        facts.append(("chosen because", f"{swap.choice.why} ({who(desk.assessor, swap.choice)})"))
    if found.copy is not None:
        facts.append(("SHA-256 of the copy", found.copy.sha256))
    return facts


def _of(vessel: Vessel, identity: str | None) -> Card | None:
    return next((card for card in vessel.cards if identity in card.ids), None)


def _card(label: str, card: Card | None) -> list[parts.Fact]:
    if card is None:
        return [(label, "its serial number was not told")]
    kind = card.facts.get("card_type")
    now = card.facts.get("whereabouts", "not known")
    return [(label, f"{card.serial}{f', {kind}' if kind else ''}; whereabouts now: {now}")]


def _way(found: SwapState, swap: Swap) -> list[parts.Fact]:
    """Return the route, the way back, and what the copy does to counters and to the card."""
    texts = {each.condition: each.text for each in found.readiness().conditions}
    names = ("way-back", "old-card-kept", "protections", "counters", "belongs-to-card")
    route = ROUTES.get(swap.route, swap.route)
    return [("route", route), *((name.replace("-", " "), texts[name]) for name in names)]


def _conditions(found: SwapState) -> dict[str, Any]:
    answer = found.readiness()
    return {
        "wanting": answer.wanting,
        "conditions": answer.told,
    }


def _sheets(found: SwapState, swap: Swap) -> dict[str, Any] | None:
    """Return the unit's card sheet against the new card's; None where there was none of it."""
    entries = found.evidence.entries
    card = _of(found.vessel, swap.body.new_card)
    if entries is None:
        return None
    ordered = sorted(entries, key=lambda each: {False: 0, None: 1, True: 2}[each.same])
    return {
        "unit": _sheet(found.unit.sheet if found.unit is not None else None),
        "card": _sheet(card.sheet if card is not None else None),
        "defer": DEFER,
        "entries": [
            {
                "name": each.name,
                "unit": each.unit,
                "card": each.card,
                "same": each.same,
                "means": {False: meaning(each.name), None: NOT_ASKED, True: ""}[each.same],
            }
            for each in ordered
        ],
    }


def _sheet(kept: tuple[str, str] | None) -> str:
    return f"{kept[1]}, SHA-256 {kept[0]}" if kept is not None else "none on record"


def _memory(desk: Desk, found: SwapState, swap: Swap) -> dict[str, Any]:
    """Return the decoded copy, its sums, what differed on the card, and the map."""
    nothing: dict[str, Any] = {"parameters": None, "sums": [], "map": None, "verified": None}
    assessor = desk.assessor
    layout = assessor.layout_of(found.position)
    differing, changed = differences(desk, layout, swap)
    shared = {"differences": differing, "copy": found.copy is not None, "reads": []}
    if found.copy is None:
        return {**nothing, **shared}
    shared["reads"] = parts.reads(desk, found.copy.reads)
    verdict = found.evidence.verdict
    shared["verified"] = verdict.verified if verdict is not None else None
    try:
        image = assessor.image(found.copy.image)
    except VaultDamaged:
        return {**nothing, **shared}
    return {
        **shared,
        "parameters": parameters(found.evidence.decoded),
        "sums": parts.sums(found.copy, image),
        "map": parts.drawn(image, assessor.memory_size(found.position, layout), layout, changed),
    }


def _measurements(desk: Desk, found: SwapState, swap: Swap) -> list[dict[str, Any]]:
    """Return what was measured at the unit from the day of the opening on, or last before it."""
    ids = found.position.ids | (found.unit.ids if found.unit is not None else frozenset())
    every = measurement_records.records_of(desk.assessor.vault, found.vessel, ids)
    opened = swap.opened.at.date()
    ended = swap.end.at.date() if swap.end is not None else None
    within = [m for m in every if m.on >= opened and (ended is None or m.on <= ended)]
    before = [m for m in every if m.on < opened][-1:]
    return rounds(desk, every, [each.record for each in (*before, *within)])


def _visits(desk: Desk, found: SwapState, swap: Swap) -> list[dict[str, Any]]:
    """Return the visits aboard while the swap was open, with their remarks."""
    opened = swap.opened.at.date().isoformat()
    ended = swap.end.at.date().isoformat() if swap.end is not None else None
    return [
        {"on": each.on, "by": desk.person(each.by), "remark": each.remark}
        for each in found.vessel.visits
        if (ended is None or each.on <= ended) and (each.closed is None or each.closed >= opened)
    ]


def _others(desk: Desk, found: SwapState, swap: Swap) -> list[dict[str, Any]]:
    """Return the other swaps at this position: closed, given up, or open."""
    every = swaps_at(desk.assessor.vault, found.vessel, found.position)
    return [
        {
            "number": number,
            "opened": who(desk.assessor, each.opened),
            "why": each.body.why,
            "outcome": parts.outcome(each.end),
            "deviations": [deviation.condition for deviation in each.deviations],
        }
        for number, each in enumerate(every, 1)
        if each.id != swap.id
    ]
