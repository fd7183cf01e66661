"""`swap read-back`: whether the card is loaded correctly."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import click

from parambak.cli import by_values, faults, files_in, store
from parambak.cli.command import FORMAT_HELP, FORMATS
from parambak.cli.command import command as parambak_command
from parambak.cli.decode import decoded_by
from parambak.cli.diff import run_document, run_rows
from parambak.cli.screen import MARKS
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.cli.swap_check import cautions
from parambak.errors import LayoutRefused
from parambak.keeping import select
from parambak.keeping.assess import Assessor
from parambak.keeping.fold import fleet
from parambak.layouts import coverage
from parambak.reads.ways import WAYS
from parambak.swap.on_record import record_read_back
from parambak.swap.read_back import (
    AFTER_POWER,
    BEFORE_POWER,
    STAGES,
    ReadBack,
    ValuesReadBack,
    compare,
    compare_values,
)

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.known import Copy, Position
    from parambak.keeping.request import Incoming
    from parambak.layouts.decode import Decoded
    from parambak.layouts.model import Layout
    from parambak.reads.profile import Profile
    from parambak.reads.ways import How


@dataclass(frozen=True)
class _Read:
    """One dump read from the card, and how it compares."""

    incoming: Incoming
    found: ReadBack


@dataclass(frozen=True)
class _ValuesRead:
    """One dump read from a card of other software, and what became of the values."""

    incoming: Incoming
    found: ValuesReadBack
    sides: tuple[tuple[str, int, int], ...]


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
@click.option("--profile", metavar="FILE", help="How this reader's files are to be taken.")
@click.option("--pair", type=click.Choice(WAYS), help="Two chips hold the memory: dumps in twos.")
@click.option("--read-by", metavar="PERSON", help="Who read the card.")
@click.option(
    "--layout",
    metavar="FILE",
    help="The card's own layout, where its software moved the fields: compares values, not bytes.",
)
@click.option(
    "--old-layout",
    metavar="FILE",
    help="With --layout: that of the copy meant, if not the position's own.",
)
@click.option("--renames", metavar="FILE", help="With --layout: a table, old name = new name.")
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    where: str,
    dumps: tuple[str, ...],
    stage: str,
    format_name: str | None,
    profile: str | None,
    pair: How | None,
    read_by: str | None,
    layout: str | None,
    old_layout: str | None,
    renames: str | None,
) -> Answer:
    """Compare what was read from the loaded card with the latest verified copy of WHERE."""
    vault = store.open_vault(settings)
    position = select.find_position(fleet(vault), where)
    assessor = Assessor(vault, store.chip_table())
    copy = _meant(assessor, position)
    own = assessor.layout_of(position)
    name = select.copy_name(position, copy)
    answer: Answer
    given: list[tuple[Incoming, ReadBack | ValuesReadBack]]
    if layout is not None or old_layout is not None or renames is not None:
        if layout is None:
            raise faults.TWO_LAYOUTS.at(expected="two layouts", found="no --layout")
        meant = decoded_by(_old_layout(old_layout, own), assessor.image(copy.image))
        values = _values_reads(dumps, format_name, stage, meant, (layout, renames))
        given = [(read.incoming, read.found) for read in values]
        answer = _values_answer(name, stage, values)
    else:
        size = assessor.memory_size(position, own)
        taking = files_in.Taking(format_name, (), size, _profile(profile), pair)
        image = assessor.image(copy.image)
        moving = _moving(own)
        reads = [
            _Read(incoming, compare(image, incoming.image, stage, moving))
            for incoming in files_in.reads_of(dumps, taking)
        ]
        given = [(read.incoming, read.found) for read in reads]
        answer = _answer(name, stage, reads, own)
    record_read_back(vault, position, copy, given, by=read_by)
    return replace(answer, warnings=store.warnings_of(vault))


def _answer(name: str, stage: str, reads: list[_Read], layout: Layout | None) -> Answer:
    loaded = all(read.found.loaded_correctly for read in reads)
    return Answer(
        {
            "loaded_correctly": loaded,
            "bytes_compared": True,
            "copy": name,
            "differences": [run_document(r) for read in reads for r in read.found.differences],
            "expected_differences": [
                run_document(r) for read in reads for r in read.found.expected_differences
            ],
        },
        lambda screen: _page(screen, name, stage, reads, layout),
        exit_code=0 if loaded else 1,
    )


def _profile(path: str | None) -> Profile | None:
    return files_in.profile_file(path).profile if path else None


def _old_layout(path: str | None, own: Layout | None) -> Layout:
    """Return the layout of the copy meant: the one named, else the position's own."""
    if path is not None:
        return files_in.layout_file(path).layout
    if own is None:
        raise faults.TWO_LAYOUTS.at(expected="two layouts", found="no --old-layout")
    return own


def _values_reads(
    dumps: tuple[str, ...],
    format_name: str | None,
    stage: str,
    meant: Decoded,
    files: tuple[str, str | None],
) -> list[_ValuesRead]:
    layout = files_in.layout_file(files[0]).layout
    table = by_values.renames_file(files[1])
    terms = files_in.terms_of((), layout.memory)
    reads = []
    for path in dumps:
        incoming = files_in.incoming(path, format_name, terms)
        read = decoded_by(layout, incoming.image)
        sides = (
            ("old", meant.covered_bytes, meant.size),
            ("new", read.covered_bytes, read.size),
        )
        try:
            found = compare_values(meant, read, table, stage)
        except LayoutRefused as error:
            raise error.in_file(files[1] or files[0]) from error
        reads.append(_ValuesRead(incoming, found, sides))
    return reads


def _values_answer(name: str, stage: str, reads: list[_ValuesRead]) -> Answer:
    loaded = all(read.found.loaded_correctly for read in reads)

    def page(screen: Screen) -> None:
        screen.facts([("meant", name), ("stage", stage)], indent=0)
        for read in reads:
            screen.say()
            screen.heading(read.incoming.entry.name)
            by_values.tables(screen, read.found.found, read.sides)
            for check in read.found.failing:
                screen.say(f"CHECK {MARKS[check.holds]}: {check.check}", indent=2)
        cautions(screen)
        if loaded:
            screen.good(f"LOADED CORRECTLY, BY VALUES: every value was carried over, {stage}.")
        else:
            screen.bad("NOT LOADED CORRECTLY. Do not put the unit into service.")
            screen.say(
                "Settle each value above with the maker. One that is meant to be left out stands "
                "in the table of renames as `name = false`."
            )
        screen.say(by_values.WORD_NEEDED)

    changes = [each for read in reads for each in read.found.differences]
    expected = [each for read in reads for each in read.found.expected_differences]
    return Answer(
        {
            "loaded_correctly": loaded,
            "bytes_compared": False,
            "copy": name,
            "differences": [by_values.change_document(each) for each in changes],
            "expected_differences": [by_values.change_document(each) for each in expected],
            "not_carried": [
                each
                for read in reads
                for each in by_values.document(read.found.found)["not_carried"]
            ],
            "failing_checks": [check.check for read in reads for check in read.found.failing],
        },
        page,
        exit_code=0 if loaded else 1,
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
