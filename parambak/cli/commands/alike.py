"""`alike`: units of one layout held against each other, the most unlike first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from parambak.answers.faults import LAYOUT_NEEDED
from parambak.cli import faults, store
from parambak.cli.command import command as parambak_command
from parambak.cli.progress import Progress
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.errors import LayoutRefused, VaultDamaged
from parambak.keeping.assess import Assessor
from parambak.keeping.recording.remarks import record_on_purpose
from parambak.keeping.state import select
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.remarks import on_purpose_marks
from parambak.memory.counted import counted
from parambak.memory.names import nearest_in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.cli.screen import Screen
    from parambak.compare.alike import Gathered, Unlike
    from parambak.keeping.state.model import Position
    from parambak.keeping.state.remarks import OnPurpose

MOST_ROWS = 40  # on the page; --json has them all
MOST_NAMED = 4  # fields of the odd one, in the answer


@dataclass
class _Group:
    """The units of one layout, and what is unlike among them."""

    units: Gathered
    unlike: tuple[Unlike, ...] = ()


@parambak_command("alike", example="parambak alike grebe")
@click.argument("where", metavar="[WHERE]", required=False)
@click.option(
    "--on-purpose",
    "field_name",
    metavar="FIELD",
    help="This field of WHERE differs on purpose: leave it out from here on; with --reason.",
)
@click.option("--reason", metavar="TEXT", help="With --on-purpose: why it differs.")
@click.option("--by", metavar="PERSON", help="With --on-purpose: who says so.")
@click.option("--withdraw", is_flag=True, help="With --on-purpose: look at it again.")
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    where: str | None,
    field_name: str | None,
    reason: str | None,
    by: str | None,
    withdraw: bool,
) -> Answer:
    """Say where units of one layout differ from each other, the most unlike first.

    WHERE is a vessel, a unit or a position: then what is unlike there is shown, held
    against the whole fleet. Without it, all are shown. Counters, clocks and what is the
    unit's or the card's own are not compared.
    """
    vault = store.open_vault(settings)
    assessor = Assessor(vault, store.chip_table())
    if field_name is not None:
        _mark(assessor, where, field_name, reason, by, withdraw=withdraw)
    known = fleet(vault)
    shown = select.find_positions(known, where) if where is not None else None
    groups: dict[str, _Group] = {}
    marked: list[OnPurpose] = []
    lacking: list[str] = []
    with Progress(quiet=settings.json, doing="comparing") as progress:
        for count, vessel in enumerate(known.vessels, start=1):
            for position in vessel.positions:
                _take(assessor, position, groups, lacking)
            marked += on_purpose_marks(vault, vessel)
            vessel.forget()
            progress(count, len(known.vessels))
    _compare(groups, marked)
    names = {each.where for each in shown} if shown is not None else None
    told = [(each, _of(each, names)) for each in groups.values() if len(each.units.names) > 1]
    told = [(group, unlike) for group, unlike in told if names is None or _has(group, names)]
    asked = [each for each in marked if names is None or each.where in names]
    return Answer(
        _document(told, asked, lacking),
        lambda screen: _page(screen, told, asked, lacking),
        warnings=store.warnings_of(vault),
    )


def _mark(  # noqa: PLR0913 - what is told
    assessor: Assessor,
    where: str | None,
    field_name: str,
    reason: str | None,
    by: str | None,
    *,
    withdraw: bool,
) -> None:
    """Put on record that a field differs on purpose; raise where it is not said of what."""
    if where is None or not reason:
        found = "no WHERE" if where is None else "no reason"
        raise faults.ON_PURPOSE.error(expected="WHERE and --reason TEXT", found=found)
    position = select.find_position(fleet(assessor.vault), where)
    layout = assessor.layout_of(position)
    if layout is None or position.latest is None:
        raise LAYOUT_NEEDED.error(expected="a layout", found="none")
    from parambak.layouts.plan import plan_of  # noqa: PLC0415 - only where a mark is made

    names = [plan.name for plan in plan_of(layout).fields]
    if field_name not in names:
        raise faults.NO_FIELD.error(
            expected=nearest_in_words(field_name, names), found=repr(field_name[:80])
        )
    record_on_purpose(
        assessor.vault, where, field=field_name, reason=reason, by=by, withdrawn=withdraw
    )


def _take(
    assessor: Assessor, position: Position, groups: dict[str, _Group], lacking: list[str]
) -> None:
    """Put a position's newest copy with those of the same layout."""
    if position.layout is None or position.latest is None:
        if position.latest is not None:
            lacking.append(position.where)
        return
    try:
        layout = assessor.layout(position.layout)
        image = assessor.image(position.latest.image)
    except (LayoutRefused, VaultDamaged):
        lacking.append(position.where)
        return
    parts = ",".join(part.sha256 for part in position.layout.parts)
    key = f"{position.layout.sha256},{parts}"
    if key not in groups:
        from parambak.compare.alike import Gathered  # noqa: PLC0415 - slow to import, layouts only

        groups[key] = _Group(Gathered(layout))
    groups[key].units.take(position.where, image)


def _compare(groups: dict[str, _Group], marked: Sequence[OnPurpose]) -> None:
    left_out = {(each.where, each.field) for each in marked}
    for group in groups.values():
        group.unlike = group.units.unlike(left_out)


def _of(group: _Group, names: set[str] | None) -> tuple[Unlike, ...]:
    return tuple(each for each in group.unlike if names is None or each.unit in names)


def _has(group: _Group, names: set[str]) -> bool:
    return not names.isdisjoint(group.units.names)


def _document(
    told: list[tuple[_Group, tuple[Unlike, ...]]], asked: list[OnPurpose], lacking: list[str]
) -> dict[str, Any]:
    return {
        "groups": [
            {
                "layout": group.units.layout.title,
                "units": group.units.names,
                "unlike": [
                    {
                        "where": each.unit,
                        "field": each.field,
                        "value": each.value,
                        "usual": each.usual,
                        "unit": each.measure,
                        "score": f"{each.score:.1f}" if each.score is not None else None,
                        "same": each.same,
                        "units": each.units,
                    }
                    for each in unlike
                ],
            }
            for group, unlike in told
        ],
        "on_purpose": [each._asdict() for each in asked],
        "without_layout": lacking,
    }


def _page(
    screen: Screen,
    told: list[tuple[_Group, tuple[Unlike, ...]]],
    asked: list[OnPurpose],
    lacking: list[str],
) -> None:
    for group, unlike in told:
        units = counted(len(group.units.names), "unit")
        screen.heading(f"{group.units.layout.title}: {units} of this layout")
        if unlike:
            rows = [_row(each) for each in unlike[:MOST_ROWS]]
            screen.table(("where", "field", "value", "the others", "measure"), rows)
            if len(unlike) > MOST_ROWS:
                screen.say(f"and {len(unlike) - MOST_ROWS} more; --json lists them all.")
        else:
            screen.say("Nothing is unlike the rest.")
        screen.say()
    if asked:
        screen.say("Left out, since it is so on purpose:")
        screen.points(f"{each.where} {each.field}: {each.reason}" for each in asked)
    if lacking:
        screen.say(f"Not compared, for want of a layout or its bytes: {', '.join(lacking)}.")
    _verdict(screen, told)


def _row(each: Unlike) -> tuple[str, ...]:
    measure = (
        f"{each.score:+.1f} spreads" if each.score is not None else f"{each.same} of {each.units}"
    )
    unit = f" {each.measure}" if each.measure else ""
    return (each.unit, each.field, f"{each.value}{unit}", each.usual, measure)


def _verdict(screen: Screen, told: list[tuple[_Group, tuple[Unlike, ...]]]) -> None:
    if not told:
        screen.mind("There are no two units of one layout to hold against each other.")
        return
    weight: dict[str, float] = {}
    for _, unlike in told:
        for each in unlike:
            weight[each.unit] = weight.get(each.unit, 0.0) + each.bits
    if not weight:
        screen.good("No unit differs from those like it.")
        return
    odd = max(weight, key=lambda where: weight[where])
    fields = [each.field for _, unlike in told for each in unlike if each.unit == odd]
    more = len(fields) - MOST_NAMED
    names = ", ".join(fields[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
    screen.mind(f"Most unlike the rest: {odd}, in {counted(len(fields), 'value')}: {names}.")
    screen.say(f"When did it become so: `parambak history {odd} --field {fields[0]}`.")
    screen.say(
        f"Meant to differ, and left out from here on: `parambak alike {odd} --on-purpose FIELD "
        "--reason TEXT`."
    )
