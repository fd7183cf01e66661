"""`diff`: what changed between two copies, byte by byte and field by field."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from parambak.cli import by_values, faults, files_in, store
from parambak.cli.command import command as parambak_command
from parambak.cli.decode import decoded_by
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.compare import fields as compare_fields
from parambak.compare.bytes import Run, runs
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.cli.screen import Screen
    from parambak.compare.fields import FieldChange
    from parambak.layouts.model import Layout
    from parambak.memory.image import Range

RUNS_SHOWN = 40
BYTES_SHOWN = 12


@dataclass(frozen=True)
class _Found:
    """What differs. `changes` and `loose` are None where there is no layout."""

    old: str
    new: str
    runs: tuple[Run, ...]
    changes: tuple[FieldChange, ...] | None
    loose: tuple[Range, ...]

    @property
    def changed_bytes(self) -> int:
        return sum(run.length for run in self.runs)


@parambak_command("diff", example="parambak diff grebe/port-thruster/U12@previous LATEST.HEX")
@click.argument("old", metavar="OLD")
@click.argument("new", metavar="NEW")
@click.option("--layout", metavar="FILE", help="Tell fields by this layout.")
@click.option(
    "--old-layout",
    metavar="FILE",
    help="OLD's own layout, where other software moved the fields: compares values, not bytes.",
)
@click.option("--renames", metavar="FILE", help="With --old-layout: a table, old name = new name.")
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    old: str,
    new: str,
    layout: str | None,
    old_layout: str | None,
    renames: str | None,
) -> Answer:
    """Show what differs between OLD and NEW: dump files, or WHERE@WHICH."""
    before, after = store.given(settings, old), store.given(settings, new)
    chosen = files_in.layout_file(layout).layout if layout else after.layout
    if old_layout is not None or renames is not None:
        return _by_values(before, after, (old_layout, chosen), renames)
    found = _compare(before, after, chosen or before.layout)
    document = {
        "same": not found.runs,
        "bytes_compared": True,
        "changed_bytes": found.changed_bytes,
        "runs": [run_document(run) for run in found.runs],
        "fields": [_change_document(change) for change in found.changes or ()],
        "unexplained": [{"start": each.start, "length": each.length} for each in found.loose],
    }
    return Answer(document, lambda screen: _page(screen, found), exit_code=1 if found.runs else 0)


def _by_values(
    before: store.Given,
    after: store.Given,
    layouts: tuple[str | None, Layout | None],
    renames: str | None,
) -> Answer:
    """Answer by values: each side by a layout of its own."""
    from parambak.compare.carried import carried  # noqa: PLC0415 - for two layouts only
    from parambak.errors import LayoutRefused  # noqa: PLC0415 - the same

    path, new_layout = layouts
    if path is None or new_layout is None:
        missing = "--old-layout" if path is None else "--layout"
        raise faults.TWO_LAYOUTS.at(expected="two layouts", found=f"no {missing}")
    table = by_values.table_of(by_values.renames_file(renames))
    old = decoded_by(files_in.layout_file(path).layout, before.image)
    new = decoded_by(new_layout, after.image)
    try:
        found = carried(old, new, table)
    except LayoutRefused as error:
        raise error.in_file(renames or path) from error
    same = not found.changed and not found.not_carried
    sides = (("old", old.covered_bytes, old.size), ("new", new.covered_bytes, new.size))

    def page(screen: Screen) -> None:
        screen.facts([("old", before.name), ("new", after.name)], indent=0)
        screen.say()
        by_values.tables(screen, found, sides)
        if same:
            screen.good("Every value is the same.")
        else:
            screen.mind(
                f"{counted(len(found.changed), 'value')} changed, {len(found.not_carried)} not "
                "carried over or without a counterpart."
            )
        screen.say(by_values.WORD_NEEDED)

    document: dict[str, Any] = {"same": same, "changed_bytes": None, "runs": [], "unexplained": []}
    return Answer(document | by_values.document(found), page, exit_code=0 if same else 1)


def _compare(before: store.Given, after: store.Given, layout: Layout | None) -> _Found:
    found = runs(before.image, after.image)
    if layout is None:
        loose = tuple(run.range for run in found)
        return _Found(before.name, after.name, found, None, loose)
    changes = compare_fields.changes(
        decoded_by(layout, before.image), decoded_by(layout, after.image)
    )
    loose = compare_fields.unexplained(layout, found)
    return _Found(before.name, after.name, found, changes, loose)


def run_document(run: Run) -> dict[str, Any]:
    """Return a run under the keys of the contract."""
    return {"start": run.start, "old": run.old.hex().upper(), "new": run.new.hex().upper()}


def _change_document(change: FieldChange) -> dict[str, Any]:
    return {
        "field": change.field,
        "kind": change.kind,
        "old": change.old,
        "new": change.new,
        "unit": change.unit,
        "expected": change.expected,
    }


def run_rows(found: Sequence[Run]) -> list[tuple[str, str, str, str]]:
    """Return runs as rows: address, number of bytes, both sides' bytes."""
    return [
        (f"0x{run.start:04X}", str(run.length), side(run.old), side(run.new))
        for run in found[:RUNS_SHOWN]
    ]


def side(data: bytes) -> str:
    """Return the bytes of one side, shortened where there are many."""
    if not data:
        return "absent"
    shown = data[:BYTES_SHOWN].hex(" ").upper()
    return shown if len(data) <= BYTES_SHOWN else f"{shown} …"


def _page(screen: Screen, found: _Found) -> None:
    screen.facts([("old", found.old), ("new", found.new)], indent=0)
    screen.say()
    if not found.runs:
        screen.good("The same: no byte differs.")
        return
    screen.table(("address", "bytes", "old", "new"), run_rows(found.runs), right=(1,))
    if len(found.runs) > RUNS_SHOWN:
        screen.say(f"and {len(found.runs) - RUNS_SHOWN} more runs; --json gives them all.")
    screen.say()
    if found.changes:
        screen.table(
            ("address", "field", "old", "new", "kind"),
            [_change_row(change) for change in found.changes],
        )
        screen.say()
    for each in found.loose[:RUNS_SHOWN]:
        last = each.start + each.length - 1
        where = f"0x{each.start:04X}" if each.length == 1 else f"0x{each.start:04X}-0x{last:04X}"
        why = "no layout" if found.changes is None else "no field explains it"
        screen.say(f"UNEXPLAINED at {where}: {why}", indent=2)
    _verdict(screen, found)


def _change_row(change: FieldChange) -> tuple[str, ...]:
    unit = f" {change.unit}" if change.unit else ""
    kind = change.kind
    if change.within_limits is False:
        kind += ", FAILS" if change.kind == compare_fields.CHECK else ", OUTSIDE LIMITS"
    if change.belongs_to_card:
        kind += ", of the card"
    return (f"0x{change.at:04X}", change.field, change.old + unit, change.new + unit, kind)


def _verdict(screen: Screen, found: _Found) -> None:
    changes = found.changes or ()
    parameters = [change for change in changes if not change.expected]
    loose = sum(each.length for each in found.loose)
    answer = (
        f"Different in {counted(found.changed_bytes, 'byte')}: "
        f"{counted(len(parameters), 'parameter')} changed, "
        f"{len(changes) - len(parameters)} as expected, {counted(loose, 'byte')} unexplained."
    )
    if not parameters and not found.loose:
        screen.good(answer)
    else:
        screen.mind(answer)
        screen.say("Ask who changed it, and put the answer on record as a remark.")
