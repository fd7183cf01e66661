"""The answer of `history`, for scripts and as a page."""

from __future__ import annotations

from array import array
from collections import Counter
from typing import TYPE_CHECKING, Any

from parambak.cli.parts.diff_page import span
from parambak.cli.written import Listed
from parambak.differences.fields import CHECK, EXPECTED, FADING, FLIPS, MOVED, TOLERANCE, value_text
from parambak.differences.history import changes_of
from parambak.differences.small_line import small_line
from parambak.keeping.state import select
from parambak.memory.counted import counted
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from parambak.cli.commands.history import Told
    from parambak.cli.screen import Screen
    from parambak.differences.fields import FieldChange

NARROW, WIDE = 16, 78  # characters of a small line, in a table and by itself
LISTED = 60
QUIET = frozenset({EXPECTED, TOLERANCE, CHECK})


def document(told: Told, name: str | None) -> dict[str, Any]:
    """Return every time and every change under the keys of the contract."""
    found: dict[str, Any] = {
        "where": told.position.where,
        "copies": [
            {
                "copy": select.copy_name(told.position, time.copy),
                "number": time.copy.number,
                "sha256": time.copy.sha256,
                "reads": [
                    {"read_on": read.read_on.isoformat(), "read_by": told.person(read.by) or None}
                    for read in time.reads
                ],
            }
            for time in told.times
        ],
        "changes": Listed(lambda: _changes(told, name)),
        "not_written_down": Listed(lambda: _not_written_down(told)),
        "lost": told.lost,
        "other_layout": told.unfit,
    }
    if name is not None and name in told.found.first:
        first = told.found.first[name]
        values = _values(told, (name,))[name]
        found["field"] = {"field": name, "unit": first.unit, "values": values}
    return found


def _changes(told: Told, name: str | None) -> Iterator[dict[str, Any]]:
    for step in told.found.steps:
        time = told.times[step.image]
        at = {
            "copy": select.copy_name(told.position, time.copy),
            "read_on": time.on,
            "read_by": told.person(time.reads[0].by) or None,
            "remarks": [each.text for each in told.remarks.get(step.image, ())],
        }
        for change in step.fields:
            if name in (None, change.field):
                yield _change(change, step.renewed.get(change.field, ())) | at
        if name is not None:
            continue
        for loose in step.loose:
            start, length = loose.range
            yield _stretch(loose.kind, start, length) | at
        for each in step.moves:
            yield _stretch(MOVED, each.start, each.length) | {"how": each.words} | at


def _change(change: FieldChange, renewed: tuple[str, ...]) -> dict[str, Any]:
    return {
        "field": change.field,
        "kind": change.kind,
        "at": change.at,
        "length": change.length,
        "old": change.old,
        "new": change.new,
        "unit": change.unit,
        "by": change.by,
        "crossed": change.crossed,
        "checks_renewed": list(renewed),
    }


def _stretch(kind: str, start: int, length: int) -> dict[str, Any]:
    absent = dict.fromkeys(("old", "new", "unit", "by", "crossed"))
    here = {"field": None, "kind": kind, "at": start, "length": length}
    return here | absent | {"checks_renewed": []}


def _not_written_down(told: Told) -> Iterator[dict[str, str]]:
    for what, times in _unwritten(told).items():
        for at in times:
            yield {"what": what, "read_on": told.times[at].on}


def _values(told: Told, names: Collection[str]) -> dict[str, list[str]]:
    """Return the values of fields or checks at each time; what was moved alone is left out."""
    first = told.found.first
    now = {name: value_text(first[name]) if name in first else None for name in names}
    values: dict[str, list[str | None]] = {name: [] for name in names}
    past = 0
    for step in told.found.steps:
        for name, value in now.items():
            values[name] += [value] * (step.image - past)
        past = step.image
        for change in step.fields:
            if change.field not in now:
                continue
            if now[change.field] is None:  # a check: what it was till here
                values[change.field] = [change.old] * past
                now[change.field] = change.old
            if change.kind != MOVED:
                now[change.field] = change.new
    for name, value in now.items():
        values[name] += [value] * (len(told.times) - past)
    return {name: [value or "" for value in listed] for name, listed in values.items()}


def all_fields(screen: Screen, told: Told, heights: str) -> None:
    """Print the times, the last change of every field, and what flips or fades."""
    screen.heading(told.position.where)
    if not told.times:
        screen.mind("Nothing was read there yet.")
        return
    rows = []
    for at, time in enumerate(told.times):
        by = ", ".join(dict.fromkeys(filter(None, (told.person(read.by) for read in time.reads))))
        rows.append((time.on, time.copy.sha256[:8], str(len(time.reads)), by, _said(told, at)))
    screen.table(("read on", "copy", "reads", "read by", "remarks on what changed"), rows, (2,))
    if told.lost:
        screen.say(f"Passed over, since its bytes are lost or damaged: {', '.join(told.lost)}.")
    _say_unfit(screen, told)
    screen.say()
    _last_changes(screen, told, heights)
    _stretches(screen, told)
    _verdict(screen, told)


def _say_unfit(screen: Screen, told: Told) -> None:
    if told.unfit:
        screen.mind(f"Passed over, since another layout tells it: {', '.join(told.unfit)}.")
        screen.say("With that layout: `parambak history WHERE --layout FILE`; what became of the")
        screen.say("values: `parambak diff OLD NEW --old-layout FILE --layout FILE`.")


def _said(told: Told, at: int) -> str:
    return "; ".join(each.text for each in told.remarks.get(at, ()))


def _unwritten(told: Told) -> dict[str, array[int]]:
    """Return what changed, wants explaining, and has no remark on its read: with the times."""
    found: dict[str, array[int]] = {}
    for step in told.found.steps:
        if told.remarks.get(step.image):
            continue
        names = [each.field for each in step.fields if each.kind not in QUIET | {MOVED}]
        names += [span(loose.range) for loose in step.loose]
        names += [span(Range(each.start, each.length)) for each in step.moves]
        for name in names:
            found.setdefault(name, array("L")).append(step.image)
    return found


def _say_unwritten(screen: Screen, told: Told) -> None:
    """Name what nobody wrote down, and how it is put on record."""
    unwritten = _unwritten(told)
    if not unwritten:
        return
    listed = [
        f"{name} ({', '.join(told.times[at].on for at in times)})"
        for name, times in list(unwritten.items())[:LISTED]
    ]
    more = f", and {len(unwritten) - LISTED} more" if len(unwritten) > LISTED else ""
    screen.mind(f"Not written down: {'; '.join(listed)}{more}.")
    day = min(told.times[at].on for times in unwritten.values() for at in times)
    at = next(at for at, time in enumerate(told.times) if time.on == day and at)
    pair = [select.copy_name(told.position, told.times[each].copy) for each in (at - 1, at)]
    screen.say(f"Once it is known: parambak diff {pair[0]} {pair[1]} --remark TEXT --by NAME")


def _last_changes(screen: Screen, told: Told, heights: str) -> None:
    last: dict[str, tuple[int, FieldChange]] = {}
    counts: Counter[str] = Counter()
    for step in told.found.steps:
        for change in step.fields:
            if change.kind != MOVED:
                last[change.field] = step.image, change
                counts[change.field] += 1
    if not last:
        screen.say("No field ever changed." if told.layout else "There is no layout: no fields.")
        screen.say()
        return
    order = sorted(last.items(), key=lambda each: (each[1][1].kind in QUIET, -each[1][0]))
    rows = []
    values = _values(told, [name for name, _ in order[:LISTED]])
    for name, (at, change) in order[:LISTED]:
        unit = f" {change.unit}" if change.unit else ""
        line = small_line(values[name], NARROW, heights)
        from_to = f"{change.old} to {change.new}{unit}"
        kind = f"{change.kind} ({counts[name]})"
        rows.append((told.times[at].on, name, from_to, kind, line))
    screen.table(("last change", "field", "from, to", "sort (times)", "values"), rows)
    if len(order) > LISTED:
        screen.say(f"and {len(order) - LISTED} more; --json gives them all.")
    still = len(told.found.first.keys() - last.keys())
    screen.say(f"{counted(still, 'field')} never changed.")
    screen.say()


def _stretches(screen: Screen, told: Told) -> None:
    """Print what was moved, and what changed in no field."""
    for step in told.found.steps:
        on = told.times[step.image].on
        for each in step.moves:
            where = span(Range(each.start, each.length))
            screen.say(f"MOVED {where}, read on {on}: {each.words}.", indent=2)
        for loose in step.loose[:LISTED]:
            word = "FADING" if loose.kind == FADING else "UNEXPLAINED"
            by = told.person(told.times[step.image].reads[0].by)
            who = f" by {by}" if by else ""
            screen.say(f"{word} at {span(loose.range)}, read on {on}{who}", indent=2)
        if len(step.loose) > LISTED:
            more = counted(len(step.loose) - LISTED, "more stretch", "more stretches")
            screen.say(f"and {more} read on {on}; --json gives them all.", indent=2)


def _verdict(screen: Screen, told: Told) -> None:
    kinds: dict[str, set[str]] = {FLIPS: set(), FADING: set()}
    for step in told.found.steps:
        for change in step.fields:
            if change.kind in kinds:
                kinds[change.kind].add(change.field)
        for loose in step.loose:
            if loose.kind == FADING:
                kinds[FADING].add(span(loose.range))
    if kinds[FADING]:
        screen.bad(
            f"Cells may be fading: {', '.join(sorted(kinds[FADING]))}. Bits went one way and no "
            "check was renewed. Read the chip again, and replace it."
        )
    if kinds[FLIPS]:
        screen.mind(f"Goes back and forth: {', '.join(sorted(kinds[FLIPS]))}. Ask who sets it.")
    _say_unwritten(screen, told)
    if not kinds[FADING] and not kinds[FLIPS]:
        screen.good("Nothing goes back and forth, and no cell fades, as far as was read.")


def one_field(screen: Screen, told: Told, name: str, heights: str) -> None:
    """Print every value of one field, who read it and when, and its small line."""
    screen.heading(f"{told.position.where}: {name}")
    values = _values(told, (name,))[name]
    changed = dict(changes_of(told.found, name))
    first = told.found.first.get(name)
    unit = f" {first.unit}" if first is not None and first.unit else ""
    rows = []
    for at, time in enumerate(told.times):
        change = changed.get(at)
        by = told.person(time.reads[0].by)
        if at == 0:
            rows.append((time.on, values[0] + unit, "", "", by, ""))
        elif change is not None:
            kind = f"{change.kind}, {change.crossed}" if change.crossed else change.kind
            new = change.new + unit
            rows.append((time.on, new, change.by or "", kind, by, _said(told, at)))
    headings = ("read on", "value", "by", "sort", "read by", "remarks on that read")
    screen.table(headings, rows, (2,))
    screen.say()
    screen.lines([small_line(values, WIDE, heights)])
    screen.say(
        f"{counted(len(told.times), 'time')} from {told.times[0].on} to {told.times[-1].on}; "
        f"it changed at {len(changed)} of them."
    )
    _say_unfit(screen, told)
