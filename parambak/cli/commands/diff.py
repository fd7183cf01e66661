"""`diff`: what changed between copies, byte by byte and field by field."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers import given_files
from parambak.answers.decoded import decoded_by
from parambak.cli import faults, store
from parambak.cli.command import command as parambak_command
from parambak.cli.parts import by_values, compare_faults
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.compare.fields import FADING
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.cli.parts.diff_page import Pair
    from parambak.cli.screen import Screen
    from parambak.compare.bytes import Run
    from parambak.compare.fields import FieldChange
    from parambak.layouts.model import Layout
    from parambak.memory.image import Range

RUNS_SHOWN = 40
BYTES_SHOWN = 12


@parambak_command("diff", example="parambak diff grebe/port-thruster/U12@previous LATEST.HEX")
@click.argument("copies", metavar="OLD NEW...", nargs=-1)
@click.option("--since", metavar="DATE", help="One WHERE: its copy at that date and its latest.")
@click.option("--layout", metavar="FILE", help="Tell fields by this layout.")
@click.option(
    "--old-layout",
    metavar="FILE",
    help="OLD's own layout, where other software moved the fields: compares values, not bytes.",
)
@click.option("--renames", metavar="FILE", help="With --old-layout: a table, old name = new name.")
@click.option("--remark", metavar="TEXT", help="Keep what is known of the change, with the visit.")
@click.option("--by", metavar="PERSON", help="With --remark: who says so; a visit remembers it.")
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    copies: tuple[str, ...],
    since: str | None,
    layout: str | None,
    old_layout: str | None,
    renames: str | None,
    remark: str | None,
    by: str | None,
) -> Answer:
    """Show what differs between OLD and NEW: dump files, or WHERE@WHICH.

    Of three or more, each is compared with the one before it, and the first with the last.
    Values that go back and forth, and cells that fade, show from three on.
    """
    given = store.every_given(settings, _named(copies, since))
    chosen = given_files.layout_file(layout).layout if layout else _layout_of(given)
    if old_layout is not None or renames is not None:
        if len(given) > 2 or remark is not None:
            raise compare_faults.DIFF_WHAT.error(
                expected="OLD and NEW alone", found=f"{len(given)} things"
            )
        own = given_files.layout_file(layout).layout if layout else given[-1].layout
        return _by_values(given[0], given[1], (old_layout, own), renames)
    return _by_bytes(given, chosen, remark, by)


def _named(copies: Sequence[str], since: str | None) -> Sequence[str]:
    """Return what is to be compared, oldest first; raise CallRefused where it is not two."""
    if since is None:
        if len(copies) < 2:
            raise compare_faults.DIFF_WHAT.error(expected="two or more", found=f"{len(copies)}")
        return copies
    if len(copies) != 1 or "@" in copies[0]:
        raise compare_faults.DIFF_WHAT.error(
            expected="one WHERE with --since", found=" ".join(copies)[:80]
        )
    return (f"{copies[0]}@{since}", f"{copies[0]}@latest")


def _layout_of(given: Sequence[store.Given]) -> Layout | None:
    """Return the layout that the newest of them has."""
    return next((each.layout for each in reversed(given) if each.layout is not None), None)


def _by_bytes(
    given: Sequence[store.Given], layout: Layout | None, remark: str | None, by: str | None
) -> Answer:
    from parambak.cli.parts import diff_page  # noqa: PLC0415 - not with two layouts

    pairs = diff_page.pairs_of(given, layout)
    whole = pairs[0] if len(pairs) == 1 else diff_page.pairs_of([given[0], given[-1]], layout)[0]
    if remark is not None:
        diff_page.put_remark(whole, remark, by)
    *told, whole = diff_page.with_remarks([*pairs, whole])
    same = not any(pair.runs for pair in told)
    document = {"same": same, "bytes_compared": True, **_pair_document(whole)}
    if len(told) > 1:
        document["pairs"] = [{"same": not p.runs, **_pair_document(p)} for p in told]
    return Answer(document, lambda screen: diff_page.page(screen, told), exit_code=0 if same else 1)


def _pair_document(pair: Pair) -> dict[str, Any]:
    return {
        "old": pair.old.name,
        "new": pair.new.name,
        "changed_bytes": sum(run.length for run in pair.runs),
        "runs": [run_document(run) for run in pair.runs],
        "fields": [_field_document(pair, change) for change in pair.fields],
        "unexplained": [_span(each.range) for each in pair.loose],
        "fading": [_span(each.range) for each in pair.loose if each.kind == FADING],
        "moved": [
            {
                "kind": each.kind,
                "start": each.start,
                "length": each.length,
                "by": each.by,
                "changed_bytes": each.changed,
                "left": [_span(rest) for rest in each.left],
            }
            for each in pair.moved
        ],
        "failing_checks": list(pair.broken),
        "remarks": [
            {"text": each.text, "by": pair.person(each.by), "on": each.on.isoformat()}
            for each in pair.remarks
        ],
        "remark_wanted": pair.remark_wanted,
    }


def _field_document(pair: Pair, change: FieldChange) -> dict[str, Any]:
    return {
        "field": change.field,
        "kind": change.kind,
        "at": change.at,
        "old": change.old,
        "new": change.new,
        "unit": change.unit,
        "by": change.by,
        "crossed": change.crossed,
        "within_limits": change.within_limits,
        "expected": change.expected,
        "checks_renewed": list(pair.renewed(change.field)),
    }


def _span(each: Range) -> dict[str, int]:
    return {"start": each.start, "length": each.length}


def _by_values(
    before: store.Given,
    after: store.Given,
    layouts: tuple[str | None, Layout | None],
    renames: str | None,
) -> Answer:
    """Answer by values: each side by a layout of its own."""
    from parambak.compare.two_layouts import carry_over  # noqa: PLC0415 - for two layouts only
    from parambak.errors import LayoutRefused  # noqa: PLC0415 - the same

    path, new_layout = layouts
    if path is None or new_layout is None:
        missing = "--old-layout" if path is None else "--layout"
        raise faults.TWO_LAYOUTS.error(expected="two layouts", found=f"no {missing}")
    table = by_values.table_of(by_values.renames_file(renames))
    old = decoded_by(given_files.layout_file(path).layout, before.image)
    new = decoded_by(new_layout, after.image)
    try:
        found = carry_over(old, new, table)
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


def run_document(run: Run) -> dict[str, Any]:
    """Return a run under the keys of the contract."""
    return {"start": run.start, "old": run.old.hex().upper(), "new": run.new.hex().upper()}


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
