"""`swap read-back`: whether the card is loaded correctly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from parambak.cli import faults, files_in, store
from parambak.cli.command import FORMAT_HELP, FORMATS
from parambak.cli.command import command as parambak_command
from parambak.cli.diff import run_document, run_rows
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.cli.swap_check import cautions
from parambak.keeping import select
from parambak.keeping.assess import Assessor
from parambak.keeping.fold import fleet
from parambak.layouts import coverage
from parambak.swap.on_record import record_read_back
from parambak.swap.read_back import AFTER_POWER, BEFORE_POWER, STAGES, ReadBack, compare

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.known import Copy, Position
    from parambak.keeping.request import Incoming
    from parambak.layouts.model import Layout


@dataclass(frozen=True)
class _Read:
    """One dump read from the card, and how it compares."""

    incoming: Incoming
    found: ReadBack


@parambak_command(
    "read-back", example="parambak swap read-back grebe/port-thruster/U12 NEWCARD.HEX"
)
@click.argument("where", metavar="WHERE")
@click.argument("dumps", metavar="DUMP…", nargs=-1, required=True)
@click.option(
    "--stage",
    type=click.Choice(STAGES),
    default=BEFORE_POWER,
    show_default=True,
    help="Before power-up nothing may differ; after it, counters and clocks may.",
)
@click.option("--format", "format_name", type=click.Choice(FORMATS), help=FORMAT_HELP)
@click.option("--read-by", metavar="PERSON", help="Who read the card.")
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    where: str,
    dumps: tuple[str, ...],
    stage: str,
    format_name: str | None,
    read_by: str | None,
) -> Answer:
    """Compare what was read from the loaded card with the latest verified copy of WHERE."""
    vault = store.open_vault(settings)
    position = select.find_position(fleet(vault), where)
    assessor = Assessor(vault, store.chip_table())
    copy = _meant(assessor, position)
    layout = assessor.layout_of(position)
    terms = files_in.terms_of((), assessor.memory_size(position, layout))
    meant = assessor.image(copy.image)
    moving = _moving(layout)
    reads = []
    for path in dumps:
        incoming = files_in.incoming(path, format_name, terms)
        reads.append(_Read(incoming, compare(meant, incoming.dump.image, stage, moving)))
    loaded = all(read.found.loaded_correctly for read in reads)
    given = [(read.incoming, read.found) for read in reads]
    record_read_back(vault, position, copy, given, by=read_by)
    name = select.copy_name(position, copy)
    return Answer(
        {
            "loaded_correctly": loaded,
            "copy": name,
            "differences": [run_document(r) for read in reads for r in read.found.differences],
            "expected_differences": [
                run_document(r) for read in reads for r in read.found.expected_differences
            ],
        },
        lambda screen: _page(screen, name, stage, reads, layout),
        exit_code=0 if loaded else 1,
        warnings=store.warnings_of(vault),
    )


def _meant(assessor: Assessor, position: Position) -> Copy:
    """Return the latest verified copy; raise NotFound where there is none."""
    for copy in reversed(position.copies):
        if assessor.verdict(position, copy).verified:
            return copy
    raise faults.NOTHING_MEANT.at(
        where=position.where,
        expected="a verified copy to compare with",
        found=f"{len(position.copies)} copies, none verified",
    )


def _moving(layout: Layout | None) -> dict[int, int]:
    """Return for each address the bits that are expected to change once powered."""
    if layout is None:
        return {}
    moving = dict(coverage.masks(layout, "expected-to-change"))
    for address, bits in coverage.masks(layout, "live").items():
        moving[address] = moving.get(address, 0) | bits
    return moving


def _page(screen: Screen, name: str, stage: str, reads: list[_Read], layout: Layout | None) -> None:
    screen.facts([("meant", name), ("stage", stage)], indent=0)
    for read in reads:
        screen.say()
        screen.heading(read.incoming.entry.name)
        _runs(screen, read, layout)
    screen.say()
    cautions(screen)
    if all(read.found.loaded_correctly for read in reads):
        screen.good(f"LOADED CORRECTLY: nothing differs that may not, {stage}.")
        if stage == AFTER_POWER:
            screen.say("Do the function tests before return to service.")
        else:
            screen.say("Power up with outputs inhibited, then read back with --stage after-power.")
        return
    screen.bad("NOT LOADED CORRECTLY. Do not put the unit into service.")
    screen.say("Clean the contacts, load the file again, read back again.")


def _runs(screen: Screen, read: _Read, layout: Layout | None) -> None:
    found = read.found
    if not found.differences and not found.expected_differences:
        screen.say("No byte differs.")
        return
    rows = [
        ("NO", *row, _names(layout, run.start, run.length))
        for run, row in zip(found.differences, run_rows(found.differences), strict=False)
    ]
    rows += [
        ("expected", *row, _names(layout, run.start, run.length))
        for run, row in zip(
            found.expected_differences, run_rows(found.expected_differences), strict=False
        )
    ]
    screen.table(("allowed", "address", "bytes", "meant", "read", "field"), rows, right=(2,))


def _names(layout: Layout | None, start: int, length: int) -> str:
    if layout is None:
        return ""
    return ", ".join(coverage.fields_over(layout, start, length)) or "no field"
