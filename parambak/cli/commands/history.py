"""`history`: every value that the fields of a position ever had, who read it and when."""

from __future__ import annotations

import sys
from collections import Counter
from functools import partial
from itertools import groupby
from typing import TYPE_CHECKING

import click
from msgspec import UNSET

from parambak.answers.history import HistoryQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.kinds import kinds_explained
from parambak.cli.parts.withdrawn import struck_lines
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.differences.fields import ALTERNATES, FADING, MOVED, SETTLED
from parambak.differences.small_line import BLOCKS, PLAIN, small_line
from parambak.memory.counted import counted
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Collection

    from parambak.answers.history import HistoryAnswer, HistoryChange, HistoryCopy
    from parambak.cli.screen import Screen

NARROW, WIDE = 16, 78  # characters of a small line, in a table and by itself
LISTED = 60


@parambak_command("history", example="parambak history grebe/port-thruster/U12 --field run_hours")
@click.argument("where", metavar="WHERE")
@click.option("--field", "name", metavar="NAME", help="Every value of this field.")
@click.option("--layout", metavar="FILE", help="Use this layout, not the position's.")
@click.option("--withdrawn", is_flag=True, help="Show also what was withdrawn, struck through.")
@pass_settings
def command(
    settings: Settings, /, *, where: str, name: str | None, layout: str | None, withdrawn: bool
) -> Answer:
    """Show what changed at a position from read to read, and who read it.

    Parameters that alternate and cells that fade are marked by the rules of
    formats/changes.md. A small line shows the values: one character for each time that the
    memory was read with new contents.
    """
    question = HistoryQuestion(where=where, field=name, layout=layout, withdrawn=withdrawn)
    return settings.ask(answer, question, partial(_page, name=name, heights=_heights()))


def _heights() -> str:
    """Return the characters of a small line, such as the output can write."""
    try:
        BLOCKS.encode(getattr(sys.stdout, "encoding", None) or "ascii")
    except (UnicodeError, LookupError):
        return PLAIN
    return BLOCKS


def _page(screen: Screen, history: HistoryAnswer, name: str | None, heights: str) -> None:
    if not history.copies:
        screen.heading(history.where)
        screen.warn("Nothing was read there yet.")
    elif name is None:
        _all_fields(screen, history, heights)
    else:
        _one_field(screen, history, name, heights)
    if history.withdrawn is not UNSET:
        struck_lines(screen, history.withdrawn)


def _all_fields(screen: Screen, history: HistoryAnswer, heights: str) -> None:
    """Print the copies, the last change of every field, and what alternates or fades."""
    screen.heading(history.where)
    screen.table(
        ("read on", "copy", "reads", "read by", "remarks on what changed"),
        [_copy_row(copy) for copy in history.copies],
        (2,),
    )
    if history.lost:
        screen.say(f"Left out, because the bytes are lost or damaged: {', '.join(history.lost)}.")
    _other_layout(screen, history)
    screen.say()
    _last_changes(screen, history, heights)
    _stretches(screen, history)
    _verdict(screen, history)


def _copy_row(copy: HistoryCopy) -> tuple[str, ...]:
    by = ", ".join(dict.fromkeys(read.read_by for read in copy.reads if read.read_by))
    loaded = sum(read.read_back for read in copy.reads)
    count = f"{copy.separate_reads} + {loaded} read back" if loaded else str(copy.separate_reads)
    return (copy.since, copy.sha256[:8], count, by, "; ".join(copy.remarks))


def _other_layout(screen: Screen, history: HistoryAnswer) -> None:
    if history.other_layout:
        names = ", ".join(history.other_layout)
        screen.warn(f"Left out, because another layout is needed: {names}.")
        screen.say("To see it: `parambak history WHERE --layout FILE`.")
        screen.say(
            "To compare the values: `parambak diff OLD NEW --old-layout FILE --layout FILE`."
        )


def _last_changes(screen: Screen, history: HistoryAnswer, heights: str) -> None:
    last: dict[str, HistoryChange] = {}
    counts: Counter[str] = Counter()
    for change in history.changes:
        if change.field is not None and change.kind != MOVED:
            last[change.field] = change
            counts[change.field] += 1
    if not last:
        has_layout = history.unchanged_fields is not None
        screen.say(
            "No field ever changed."
            if has_layout
            else "There is no layout, so no fields are shown."
        )
        screen.say()
        return
    order = sorted(last.items(), key=lambda item: (item[1].kind in SETTLED, -item[1].entry))
    values = _values(history, [name for name, _ in order[:LISTED]])
    rows = []
    for name, change in order[:LISTED]:
        unit = f" {change.unit}" if change.unit else ""
        line = small_line(values[name], NARROW, heights)
        kind = f"{change.kind} ({counts[name]})"
        rows.append((change.read_on, name, f"{change.old} to {change.new}{unit}", kind, line))
    screen.table(("last change", "field", "from, to", "kind (times)", "values"), rows)
    kinds_explained(screen, (change.kind for _, change in order[:LISTED]))
    if len(order) > LISTED:
        screen.say(f"and {len(order) - LISTED} more; --json gives them all.")
    screen.say(f"{counted(history.unchanged_fields or 0, 'field')} never changed.")
    screen.say()


def _values(history: HistoryAnswer, names: Collection[str]) -> dict[str, list[str]]:
    """Return the values of fields or checks at each entry, without what was only moved."""
    values: dict[str, list[str]] = {name: [] for name in names}
    now: dict[str, str] = {}
    for change in history.changes:
        name = change.field
        if name not in values:
            continue
        values[name] += [now.setdefault(name, change.old or "")] * (
            change.entry - len(values[name])
        )
        if change.kind != MOVED:
            now[name] = change.new or ""
    total = len(history.copies)
    return {name: some + [now.get(name, "")] * (total - len(some)) for name, some in values.items()}


def _stretches(screen: Screen, history: HistoryAnswer) -> None:
    """Print what was moved, and what changed in no field."""
    stretches = (change for change in history.changes if change.field is None)
    for _, group in groupby(stretches, key=lambda change: change.entry):
        changes = list(group)
        for move in changes:
            if move.kind == MOVED:
                where = Range(move.at, move.length).text
                screen.say(f"MOVED {where}, read on {move.read_on}: {move.how}.", indent=2)
        loose = [change for change in changes if change.kind != MOVED]
        for change in loose[:LISTED]:
            word = change.kind.upper()
            who = f" by {change.read_by}" if change.read_by else ""
            where = Range(change.at, change.length).text
            screen.say(f"{word} at {where}, read on {change.read_on}{who}", indent=2)
        if len(loose) > LISTED:
            more = counted(len(loose) - LISTED, "more stretch", "more stretches")
            on = changes[0].read_on
            screen.say(f"and {more} read on {on}; --json gives them all.", indent=2)


def _verdict(screen: Screen, history: HistoryAnswer) -> None:
    if history.unstable is not None:
        screen.bad(f"UNSTABLE: {history.unstable}.")
    fading, alternating = set(), set()
    for change in history.changes:
        if change.kind == FADING:
            fading.add(change.field or Range(change.at, change.length).text)
        elif change.kind == ALTERNATES and change.field is not None:
            alternating.add(change.field)
    if fading:
        screen.bad(
            f"Cells may be fading: {', '.join(sorted(fading))}. Bits changed in one direction, "
            "and nothing shows a write. Read the chip again, and replace the chip. To load an "
            "older copy into the new one, run `parambak swap select` in the swap."
        )
    if alternating:
        screen.warn(f"Alternates: {', '.join(sorted(alternating))}. Ask who sets it.")
    _not_written_down(screen, history)
    if not fading and not alternating and history.unstable is None:
        screen.good("No value alternates and no cell fades in what was read.")


def _not_written_down(screen: Screen, history: HistoryAnswer) -> None:
    """Print what has no remark, and how to add one."""
    listed: list[str] = []
    more = 0
    day: str | None = None
    for what, group in groupby(history.not_written_down, key=lambda entry: entry.what):
        days = [entry.read_on for entry in group]
        day = min(days) if day is None else min(day, *days)
        if len(listed) < LISTED:
            listed.append(f"{what} ({', '.join(days)})")
        else:
            more += 1
    if day is None:
        return
    rest = f", and {more} more" if more else ""
    screen.warn(f"Without a remark: {'; '.join(listed)}{rest}.")
    copies = history.copies
    at = next(at for at, copy in enumerate(copies) if copy.since == day and at)
    pair = f"{copies[at - 1].copy} {copies[at].copy}"
    screen.say(f"To add a remark: parambak diff {pair} --remark TEXT --by NAME")


def _one_field(screen: Screen, history: HistoryAnswer, name: str, heights: str) -> None:
    """Print every value of one field, who read it and when, and its small line."""
    screen.heading(f"{history.where}: {name}")
    field = history.field
    values = list(field.values) if field is not UNSET else _values(history, (name,))[name]
    unit = f" {field.unit}" if field is not UNSET and field.unit else ""
    changed = {change.entry: change for change in history.changes}
    rows = []
    for at, copy in enumerate(history.copies):
        change = changed.get(at)
        by = copy.reads[0].read_by or ""
        if at == 0:
            rows.append((copy.since, values[0] + unit, "", "", by, ""))
        elif change is not None:
            kind = f"{change.kind}, {change.crossed}" if change.crossed else change.kind
            remarks = "; ".join(change.remarks)
            new = f"{change.new}{unit}"
            rows.append((copy.since, new, change.change or "", kind, by, remarks))
    headings = ("read on", "value", "change", "kind", "read by", "remarks on that read")
    screen.table(headings, rows, (2,))
    screen.say()
    screen.lines([small_line(values, WIDE, heights)])
    screen.say(
        f"{counted(len(history.copies), 'entry', 'entries')} from {history.copies[0].since} to "
        f"{history.copies[-1].since}; the value changed in {len(changed)} of them."
    )
    _other_layout(screen, history)
