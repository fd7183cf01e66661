"""`diff`: what changed between copies, byte by byte and field by field."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.diff import DiffAnswer, DiffQuestion
from parambak.cli.command import asks
from parambak.cli.parts import by_values
from parambak.cli.parts.kinds import kinds_explained
from parambak.cli.parts.layout import layout_line
from parambak.differences.fields import (
    ALTERNATES,
    CHECK,
    FADING,
    MOVED,
    PARAMETER,
    RUNNING,
    SETTLED,
    TOLERANCE,
)
from parambak.differences.rows import ABSENT, ROW_BYTES
from parambak.memory.counted import counted
from parambak.memory.image import Range

if TYPE_CHECKING:
    from parambak.answers.decoded import LayoutUsed
    from parambak.answers.diff import ByteRow, Comparison, FieldChangeShown, ValuesDiffAnswer
    from parambak.cli.screen import Screen

LISTED = 40
ORDER = (PARAMETER, FADING, ALTERNATES, MOVED, CHECK, TOLERANCE, RUNNING)
"""The kinds as the page lists them: what needs an explanation first."""
SAME = ".."
SHORT_ADDRESSES = 0x10000  # memories that end here have addresses of four digits


@asks(
    DiffQuestion,
    example="parambak diff grebe/port-thruster/U12@previous LATEST.HEX",
    more=(
        "parambak diff OLD.HEX NEW.HEX --old-layout v3.toml --layout v4.toml --renames names.toml",
    ),
)
@click.argument("copies", metavar="OLD NEW...", nargs=-1)
@click.option(
    "--since", metavar="DATE", help="With one WHERE: its copy at that date and its latest."
)
@click.option("--layout", metavar="FILE", help="Show the fields by this layout.")
@click.option(
    "--old-layout",
    metavar="FILE",
    help="OLD's own layout, if other software moved the fields: compares values, not bytes.",
)
@click.option(
    "--renames",
    metavar="FILE",
    help='With --old-layout: a file with lines such as: ramp_time = "ramp_up_time" (old, new).',
)
@click.option("--remark", metavar="TEXT", help="Record a remark on the change, with the visit.")
@click.option(
    "--by", metavar="PERSON", help="With --remark: who states it. Default: as in the visit."
)
def command(screen: Screen, diff: DiffAnswer | ValuesDiffAnswer) -> None:
    """Show what differs between OLD and NEW, dump files or copies (WHERE@WHICH).

    With three or more, each is compared with the one before it, and the first with the last.
    Values that alternate and cells that fade are shown only with three or more.
    """
    if not isinstance(diff, DiffAnswer):
        _values_page(screen, diff)
        return
    total = len(diff.comparisons)
    for number, comparison in enumerate(diff.comparisons, start=1):
        if total > 1:
            screen.heading(f"{number} of {total}")
        _comparison(screen, comparison, diff.layout)
        if number < total:
            screen.say()


def _comparison(screen: Screen, comparison: Comparison, layout: LayoutUsed | None) -> None:
    first, second = _sides(comparison)
    screen.facts([(first, comparison.old), (second, comparison.new)], indent=0)
    layout_line(screen, layout)
    screen.say()
    if not comparison.changed_bytes:
        screen.good("The same: no byte differs.")
        return
    for move in comparison.moved:
        rest = sum(stretch.length for stretch in move.left)
        remainder = f", and not {counted(rest, 'more byte')}" if rest else ""
        screen.say(
            f"MOVED {Range(move.start, move.length).text}: {move.how}; that explains "
            f"{counted(move.changed_bytes, 'changed byte')}{remainder}."
        )
    if comparison.rows:
        screen.lines(side_by_side(comparison))
    if comparison.more_rows:
        more = counted(comparison.more_rows, "more changed line")
        screen.say(f"and {more}; --json gives every byte.")
    screen.say()
    _fields(screen, comparison)
    _stretches(screen, comparison)
    for check in comparison.failing_checks:
        screen.say(
            f"STORED CHECK {check} holds in {comparison.old}, and FAILS in {comparison.new}.",
            indent=2,
        )
    for remark in comparison.remarks:
        screen.say(f"Remark by {remark.by} on {remark.on}: {remark.text}", indent=2)
    _verdict(screen, comparison)


def _sides(comparison: Comparison) -> tuple[str, str]:
    """Return the headings of the two sides; two dump files have no order in time."""
    return ("old", "new") if comparison.ordered else ("first", "second")


def side_by_side(comparison: Comparison) -> list[str]:
    """Return both sides' bytes as lines of 80 columns at most; of the second what differs."""
    digits = 4 if comparison.end <= SHORT_ADDRESSES else 8
    width = ROW_BYTES * 3 - 1
    first, second = _sides(comparison)
    head = (
        f"{'address':<{digits + 2}}  {first:<{width + ROW_BYTES + 2}}  {second} ({SAME} the same)"
    )
    lines = [head]
    last = None
    for row in comparison.rows:
        if last is not None and row.at != last + ROW_BYTES:
            lines.append("...")
        lines.append(_line(row, digits))
        last = row.at
    return lines


def _line(row: ByteRow, digits: int) -> str:
    old, new = ([side[at : at + 2] for at in range(0, len(side), 2)] for side in (row.old, row.new))
    pairs = list(zip(old, new, strict=True))
    after = " ".join(now if was != now or now == ABSENT else SAME for was, now in pairs)
    texts = "".join(map(_letter, old))
    changed = "".join(" " if was == now else _letter(now) for was, now in pairs)
    return f"0x{row.at:0{digits}X}  {' '.join(old)}  {texts}  {after}  {changed}".rstrip()


def _letter(byte: str) -> str:
    if byte == ABSENT:
        return " "
    value = int(byte, 16)
    return chr(value) if 0x20 <= value < 0x7F else "."


def _fields(screen: Screen, comparison: Comparison) -> None:
    """Print the changes of fields, what needs an explanation first, without those of a move."""
    changes = sorted(
        (change for change in comparison.fields if change.kind != MOVED),
        key=lambda change: ORDER.index(change.kind),
    )
    if changes:
        rows = [_change_row(change) for change in changes[:LISTED]]
        if comparison.ordered:
            screen.table(("address", "field", "old", "new", "change", "kind"), rows)
        else:
            screen.table(("address", "field", "first", "second", "change", "kind"), rows)
        if len(changes) > LISTED:
            screen.say(f"and {len(changes) - LISTED} more; --json gives them all.")
        kinds_explained(screen, (change.kind for change in changes[:LISTED]))
        screen.say()


def _change_row(change: FieldChangeShown) -> tuple[str, ...]:
    unit = f" {change.unit}" if change.unit else ""
    kind = change.kind
    if change.crossed is not None:
        inside = change.crossed.startswith("back")
        kind += f", {change.crossed if inside else change.crossed.upper()}"
    elif change.within_limits is False:
        kind += ", FAILS"
    if change.belongs_to_card:
        kind += ", of the card"
    by = change.change or ""
    return (f"0x{change.at:04X}", change.field, change.old + unit, change.new + unit, by, kind)


def _stretches(screen: Screen, comparison: Comparison) -> None:
    if comparison.has_layout:
        listed = comparison.unmapped
    else:  # one line: without a layout every changed byte is unmapped
        listed = comparison.fading
        size = counted(sum(stretch.length for stretch in comparison.unmapped), "byte")
        screen.say(f"UNMAPPED: {size}. There is no layout, so no field explains them.", indent=2)
    for stretch in listed[:LISTED]:
        text = Range(stretch.start, stretch.length).text
        if stretch in comparison.fading:
            screen.say(f"FADING at {text}: in no field", indent=2)
        else:
            screen.say(f"UNMAPPED at {text}: no field explains it", indent=2)
    more = len(listed) - LISTED
    if more > 0:
        screen.say(f"and {more} more stretches; --json gives them all.")


def _verdict(screen: Screen, comparison: Comparison) -> None:
    kinds = [change.kind for change in comparison.fields]
    parameters = sum(kind in {PARAMETER, FADING, ALTERNATES} for kind in kinds)
    settled = sum(kind in SETTLED for kind in kinds)
    loose = sum(stretch.length for stretch in comparison.unmapped)
    text = (
        f"Different in {counted(comparison.changed_bytes, 'byte')}: "
        f"{counted(parameters, 'parameter')} changed, "
        f"{settled} as expected, {counted(loose, 'byte')} unmapped (in no field)."
    )
    if FADING in kinds or comparison.fading:
        text += (
            " CELLS MAY BE FADING: bits changed in one direction, and nothing shows a write. "
            "Read again."
        )
    if not comparison.asks:
        screen.good(text)
        return
    screen.warn(text)
    if comparison.reordered:
        screen.say(
            "The order of the bytes explains every change: no value was changed. Check the word "
            "order and the device selected on the reader, and read again."
        )
        return
    if comparison.remark_wanted:
        screen.say(
            "Ask who changed it. To record the answer, repeat the command with "
            '--remark "TEXT" --by NAME.'
        )
    elif not comparison.remarks:
        screen.say("Ask who changed it, and record the answer as a remark.")


def _values_page(screen: Screen, diff: ValuesDiffAnswer) -> None:
    screen.facts([("old", diff.old), ("new", diff.new)], indent=0)
    layout_line(screen, diff.old_layout, "old layout")
    layout_line(screen, diff.layout, "new layout")
    screen.say()
    by_values.tables(screen, diff)
    if diff.same:
        screen.good("Every value is the same.")
    else:
        screen.warn(
            f"{counted(len(diff.fields), 'value')} changed; {len(diff.not_carried)} were not "
            "carried over, or are in one layout only."
        )
    screen.say(by_values.WORD_NEEDED)
