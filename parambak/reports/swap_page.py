"""The page of a swap: deviations first, every condition, what was loaded, proven and tested."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from parambak.errors import VaultDamaged
from parambak.keeping.state.visits import while_open
from parambak.keeping.verified import headline
from parambak.memory.counted import counted
from parambak.reports import parts
from parambak.reports.html import render
from parambak.reports.parameters import parameters
from parambak.reports.swap_conditions import conditions
from parambak.swap import measurement_records
from parambak.swap.card_sheet import DEFER, NOT_ASKED, meaning
from parambak.swap.readiness import MOVE_CHIP
from parambak.swap.state import emergency_words, notes_on, swap_state, who
from parambak.swap.swaps import CLOSED, EMERGENCY, swaps_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.bodies import ReadBackBody
    from parambak.keeping.state.model import Card, Vessel
    from parambak.layouts.model import Layout
    from parambak.memory.image import Range
    from parambak.reports.parts import Desk
    from parambak.swap.state import SwapState
    from parambak.swap.swaps import ReadBackStep, Released, Swap

MOST_IMAGES = 6  # images read back whose differences are printed in full
ROUTES = {
    "load": "the new card's memory is loaded with the selected copy",
    "move-chip": "the old memory chip goes onto the new card",
}


def swap_page(desk: Desk, where: str, swap: Swap) -> bytes:
    """Return the HTML page of one swap, open or ended."""
    state = swap_state(desk.fleet, desk.assessor, where, swap=swap)
    return render(
        "swap.html",
        {
            **desk.frame(f"Card swap at {state.position.where}", state.vessel),
            "route_cautions": MOVE_CHIP if swap.route == "move-chip" else (),
            "state": _state(desk, swap),
            "closed": swap.end is not None and swap.end.outcome == CLOSED,
            "ended": swap.end is not None and not swap.unfinished,
            "deviations": [
                {
                    "who": who(desk.assessor, deviation),
                    "condition": deviation.condition,
                    "text": deviation.text,
                    "reason": deviation.reason,
                }
                for deviation in swap.deviations
            ],
            "unverified": [who(desk.assessor, r) for r in swap.released if r.body.unverified],
            "emergencies": _emergencies(desk, swap),
            "rules": state.rules.title if swap.end is None or swap.unfinished else None,
            "notes": _notes(desk, state, swap),
            "change": _change(desk, state, swap),
            "identity": _identity(desk, state, swap),
            "fallback": _fallback(state, swap),
            **conditions(desk, state, swap),
            "sheets": _sheets(state, swap),
            **proof(desk, swap),
            **_memory(desk, state, swap),
            "measurements": _measurements(desk, state, swap),
            "visits": _visits(desk, state, swap),
            "others": _others(desk, state, swap),
        },
    )


def _state(desk: Desk, swap: Swap) -> str:
    if swap.end is None:
        opened = swap.opened
        return f"OPEN, since {opened.at:%Y-%m-%d %H:%M} ({who(desk.assessor, opened)})"
    word = swap.end.words.upper()
    reason = f": {swap.end.reason}" if swap.end.reason else ""
    return f"{word} on {swap.end.at:%Y-%m-%d %H:%M} ({who(desk.assessor, swap.end)}){reason}"


def _emergencies(desk: Desk, swap: Swap) -> list[str]:
    return [emergency_words(desk.assessor, end) for end in swap.ends if end.outcome == EMERGENCY]


def _notes(desk: Desk, state: SwapState, swap: Swap) -> tuple[str, ...]:
    """Return the notes that come first on the page."""
    notes = (*state.rules.notes, *notes_on(desk.assessor.vault, state))
    ends = [f"{end.words} ({who(desk.assessor, end)})" for end in swap.ends]
    return (*notes, f"it was ended more than once: {'; '.join(ends)}") if len(ends) > 1 else notes


def _change(desk: Desk, state: SwapState, swap: Swap) -> list[parts.Fact]:
    """Return the items of a change record, as IACS UR E22 Rev.3, 6.11 lists them."""
    impact = swap.answers.get("impact")
    route = ROUTES.get(swap.route, swap.route)
    tests = [*(f"{name} passed" for name in swap.passed), *(f"{n} failed" for n in swap.failed)]
    named = ", ".join(tests)
    return [
        ("purpose", swap.body.why),
        ("description", f"the processor card is replaced; {route}: {_copy(state)}"),
        (
            "conclusion on impact",
            f"{impact.text} ({who(desk.assessor, impact)})" if impact else "not recorded",
        ),
        ("card identity and software", _version(desk, state)),
        ("test report", f"{contents(swap)}; {named or 'no function test on record'}"),
    ]


def _copy(state: SwapState) -> str:
    return parts.copy_name(state.position, state.copy)


def _version(desk: Desk, state: SwapState) -> str:
    """Return the hardware, the software and the parameters that go in."""
    layout = desk.assessor.layout_of(state.position)
    unit = state.unit.facts.get("maker_type") if state.unit is not None else None
    names = [f"unit {unit}"] if unit else []
    names += [
        f"{entry.name} {entry.card}"
        for entry in state.evidence.entries or ()
        if entry.name.casefold() in {"card.type", "card.revision", "card.software"}
        or "version" in entry.name.casefold()
    ]
    if layout is not None:
        names.append(f"layout {layout.title} {layout.revision or ''}".strip())
    if state.copy is not None:
        names.append(f"parameters {state.copy.sha256[:16]}")
    return "; ".join(names) or "not recorded"


def _identity(desk: Desk, state: SwapState, swap: Swap) -> list[parts.Fact]:
    layout = desk.assessor.layout_of(state.position)
    facts = parts.identity(state.vessel, state.unit, state.position, layout)
    facts += _card("old card", _of(state.vessel, swap.body.old_card))
    facts += _card("new card", _of(state.vessel, swap.body.new_card))
    facts.append(("opened by", who(desk.assessor, swap.opened)))
    facts.append(("selected copy", _copy(state)))
    if swap.selection is not None:
        facts.append(
            ("selected because", f"{swap.selection.why} ({who(desk.assessor, swap.selection)})")
        )
    if state.copy is not None:
        facts.append(("SHA-256 of the copy", state.copy.sha256))
    return facts


def _of(vessel: Vessel, identity: str | None) -> Card | None:
    return next((card for card in vessel.cards if identity in card.ids), None)


def _card(label: str, card: Card | None) -> list[parts.Fact]:
    if card is None:
        return [(label, "its serial number is not recorded")]
    kind = card.facts.get("card_type")
    now = card.facts.get("location", "not known")
    return [(label, f"{card.serial}{f', {kind}' if kind else ''}; location now: {now}")]


def _fallback(state: SwapState, swap: Swap) -> list[parts.Fact]:
    """Return the route, the fallback plan, and the effect on counters and on the card."""
    texts = {condition.condition: condition.text for condition in state.readiness().conditions}
    names = ("fallback-plan", "old-card-kept", "safeties-inhibited", "counters", "belongs-to-card")
    route = ROUTES.get(swap.route, swap.route)
    return [("route", route), *((name.replace("-", " "), texts[name]) for name in names)]


def _sheets(state: SwapState, swap: Swap) -> dict[str, Any] | None:
    """Return the unit's card sheet against the new card's; None without one."""
    entries = state.evidence.entries
    card = _of(state.vessel, swap.body.new_card)
    if entries is None:
        return None
    ordered = sorted(entries, key=lambda entry: {False: 0, None: 1, True: 2}[entry.same])
    return {
        "unit": _sheet(state.unit.sheet if state.unit is not None else None),
        "card": _sheet(card.sheet if card is not None else None),
        "defer": DEFER,
        "entries": [
            {
                "name": entry.name,
                "unit": entry.unit,
                "card": entry.card,
                "same": entry.same,
                "means": {False: meaning(entry.name), None: NOT_ASKED, True: ""}[entry.same],
            }
            for entry in ordered
        ],
    }


def _sheet(kept: tuple[str, str] | None) -> str:
    return f"{kept[1]}, SHA-256 {kept[0]}" if kept is not None else "none on record"


def _memory(desk: Desk, state: SwapState, swap: Swap) -> dict[str, Any]:
    """Return the decoded copy, its sums, what differed on the card, and the map."""
    nothing: dict[str, Any] = {"parameters": None, "sums": [], "map": None, "verified": None}
    assessor = desk.assessor
    layout = assessor.layout_of(state.position)
    differing, changed = differences(desk, layout, swap)
    shared = {"differences": differing, "copy": state.copy is not None, "reads": []}
    if state.copy is None:
        return {**nothing, **shared}
    shared["reads"] = parts.reads(desk, state.copy.reads)
    verdict = state.verdict
    shared["verified"] = verdict.verified if verdict is not None else None
    shared["headline"] = headline(verdict) if verdict is not None else ""
    try:
        image = assessor.image(state.copy.image)
    except VaultDamaged:
        return {**nothing, **shared}
    return {
        **shared,
        "parameters": parameters(state.evidence.decoded),
        "sums": parts.sums(state.copy, image),
        "map": parts.drawn(image, assessor.memory_size(state.position, layout), layout, changed),
    }


def proof(desk: Desk, swap: Swap) -> dict[str, Any]:
    """Return what was released, read back and tested, and whether the contents are proven."""
    proving = {step.record for step in swap.proof}
    return {
        "released": [_released(desk, step) for step in swap.released],
        "read_backs": [
            _read_back(desk, step, proving=step.record in proving) for step in swap.read_backs
        ],
        "contents": contents(swap),
        "unproven": swap.unproven,
        "tests": [
            {
                "name": test.name,
                "result": test.result,
                "text": test.text,
                "who": who(desk.assessor, step),
            }
            for step in swap.tested
            for test in step.tests
        ],
    }


def contents(swap: Swap) -> str:
    """Return in words whether it is proven that the card holds the selected copy, and how."""
    if swap.unproven is not None:
        return "contents NOT PROVEN"
    by_values = any(step.body.by_values for step in swap.proof)
    return f"contents proven by {'values, with a layout for each side' if by_values else 'bytes'}"


def _released(desk: Desk, step: Released) -> dict[str, Any]:
    body = step.body
    return {
        "who": who(desk.assessor, step),
        "format": body.format,
        "sha256": body.file_sha256,
        "second": body.second_sha256,
        "sum16": body.sum16,
        "unverified": body.unverified,
    }


def _read_back(desk: Desk, step: ReadBackStep, *, proving: bool) -> dict[str, Any]:
    body = step.body
    return {
        "who": who(desk.assessor, step),
        "stage": body.stage,
        "files": ", ".join(dump.name for dump in body.dumps),
        "sha256": body.image.sha256,
        "loaded": body.loaded_correctly,
        "differing": _difference_words(body),
        "proof": proving,
    }


def _difference_words(body: ReadBackBody) -> str:
    """Return how much differed, and how much of it runs by itself."""
    differing = body.differing_values if body.by_values else body.differing_bytes
    running = body.running_values if body.by_values else body.running_bytes
    noun = "value" if body.by_values else "byte"
    words = f"{counted(differing, noun)} differ{'s' if differing == 1 else ''}"
    return f"{words}; {running} more in running fields" if running else words


def differences(
    desk: Desk, layout: Layout | None, swap: Swap
) -> tuple[list[dict[str, Any]], Sequence[Range]]:
    """Return how the images read back differ from the selected copy, and the newest's ranges.

    There is one entry for each image that differs, the newest first; read-backs by values have
    none.
    """
    entries: list[dict[str, Any]] = []
    changed: Sequence[Range] = ()
    seen = set()
    for step in reversed(swap.read_backs):
        body = step.body
        if body.by_values or body.image in seen or body.image == body.selected:
            continue
        seen.add(body.image)
        if len(seen) > MOST_IMAGES:
            break
        difference = _difference(desk, layout, body)
        names = ", ".join(dump.name for dump in body.dumps)
        entries.append({"title": f"{names}, {body.stage}", "difference": difference})
        if step is swap.read_backs[-1] and difference is not None:
            changed = difference.ranges
    return entries, changed


def _difference(desk: Desk, layout: Layout | None, body: ReadBackBody) -> parts.Difference | None:
    vault = desk.assessor.vault
    try:
        selected, read = (
            entry.image(vault.read_object(entry.sha256)) for entry in (body.selected, body.image)
        )
    except VaultDamaged:
        return None
    return parts.difference(layout, selected, read)


def _measurements(desk: Desk, state: SwapState, swap: Swap) -> list[dict[str, Any]]:
    """Return the measurements at the unit during the swap, and the last ones before it."""
    ids = state.position.ids | (state.unit.ids if state.unit is not None else frozenset())
    records = measurement_records.records_of(desk.assessor.vault, state.vessel, ids)
    opened = swap.opened.at.date()
    ended = swap.end.at.date() if swap.end is not None else None
    within = [m for m in records if m.on >= opened and (ended is None or m.on <= ended)]
    before = [m for m in records if m.on < opened][-1:]
    return parts.rounds(desk, records, [m.record for m in (*before, *within)])


def _visits(desk: Desk, state: SwapState, swap: Swap) -> list[dict[str, Any]]:
    """Return the visits aboard while the swap was open, with their remarks."""
    ended = swap.end.at if swap.end is not None else None
    return [
        {"on": visit.on, "by": desk.person(visit.by), "remark": visit.remark}
        for visit in state.vessel.visits
        if while_open(visit, swap.opened.at, ended)
    ]


def _others(desk: Desk, state: SwapState, swap: Swap) -> list[dict[str, Any]]:
    """Return the other swaps at this position: closed, abandoned, or open."""
    swaps = swaps_at(desk.assessor.vault, state.vessel, state.position)
    return [
        parts.swap_entry(desk, number, other)
        for number, other in enumerate(swaps, 1)
        if other.id != swap.id
    ]
