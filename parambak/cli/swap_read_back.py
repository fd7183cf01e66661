"""`swap read-back`: whether the card is loaded correctly."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import click

from parambak.cli import faults, files_in, store
from parambak.cli.command import FORMAT_HELP, FORMATS
from parambak.cli.command import command as parambak_command
from parambak.cli.decode import decoded_by
from parambak.cli.diff import run_document, run_rows
from parambak.cli.read_back_values import Layouts, opened, read_values, values_answer
from parambak.cli.screen import MARKS
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.cli.swap_check import cautions
from parambak.errors import VaultDamaged, VaultRefused
from parambak.keeping import select
from parambak.keeping.assess import Assessor
from parambak.keeping.fold import fleet
from parambak.layouts import coverage
from parambak.memory.counted import counted
from parambak.reads.ways import WAYS
from parambak.swap.on_record import record_read_back, released_files
from parambak.swap.read_back import (
    AFTER_POWER,
    BEFORE_POWER,
    STAGES,
    ReadBack,
    ValuesReadBack,
    compare,
)

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.known import Copy, Position
    from parambak.keeping.request import Incoming
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image
    from parambak.reads.ways import How
    from parambak.swap.on_record import ToldBy
    from parambak.vault.vault import Vault


@dataclass(frozen=True)
class _Read:
    """One dump read from the card, and how it compares."""

    incoming: Incoming
    found: ReadBack


@dataclass(frozen=True)
class _Words:
    """The command's options, as typed."""

    stage: str
    format_name: str | None
    profile: str | None
    pair: How | None
    read_by: str | None
    layout: str | None
    old_layout: str | None
    renames: str | None


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
def command(settings: Settings, /, where: str, dumps: tuple[str, ...], **options: Any) -> Answer:
    """Compare what was read from the loaded card with the latest verified copy of WHERE."""
    words = _Words(**options)
    files = Layouts(words.layout, words.old_layout, words.renames)
    vault = store.open_vault(settings)
    position = select.find_position(fleet(vault), where)
    assessor = Assessor(vault, store.chip_table())
    copy = _meant(assessor, position)
    own = assessor.layout_of(position)
    image = assessor.image(copy.image)
    told = opened(files, own, position.layout) if files.named else None
    size = told.told_by.new.layout.memory if told else assessor.memory_size(position, own)
    profile = files_in.profile_file(words.profile).profile if words.profile else None
    taking = files_in.Taking(words.format_name, (), size, profile, words.pair)
    incoming = files_in.reads_of(dumps, taking)
    name = select.copy_name(position, copy)
    given: list[tuple[Incoming, ReadBack | ValuesReadBack]]
    if told is not None:
        values = read_values(incoming, words.stage, told, image)
        given = [(read.incoming, read.found) for read in values]
        answer = values_answer(name, words.stage, values)
    else:
        reads = [_Read(each, _compared(image, each.image, words.stage, own)) for each in incoming]
        given = [(read.incoming, read.found) for read in reads]
        answer = _answer(name, words.stage, reads, own)
    doubts = _released(vault, position, incoming)
    if profile is None or profile.file_times:
        doubts += _old_files(position, incoming)
    answer = _doubted(answer, doubts)
    notes = _older(position, copy)
    told_by = told.told_by if told else None
    notes += _put_on_record(vault, position, copy, given, by=words.read_by, told_by=told_by)
    return replace(answer, warnings=(*store.warnings_of(vault), *notes))


def _doubted(answer: Answer, doubts: tuple[str, ...]) -> Answer:
    """Say after the answer what it may not prove; scripts find it under `doubts`."""

    def page(screen: Screen) -> None:
        answer.page(screen)
        for doubt in doubts:
            screen.mind(f"BUT {doubt}.")

    return replace(answer, document={**answer.document, "doubts": list(doubts)}, page=page)


def _put_on_record(  # noqa: PLR0913 - those of `record_read_back`
    vault: Vault,
    position: Position,
    copy: Copy,
    given: list[tuple[Incoming, ReadBack | ValuesReadBack]],
    *,
    by: str | None,
    told_by: ToldBy | None,
) -> tuple[str, ...]:
    """Keep the read-back; a vault that cannot be written keeps nobody from the answer."""
    try:
        record_read_back(vault, position, copy, given, by=by, told_by=told_by)
    except (VaultRefused, VaultDamaged) as error:
        return (f"this read-back is NOT ON RECORD: {error.text}",)
    return ()


def _old_files(position: Position, incoming: list[Incoming]) -> tuple[str, ...]:
    """Say where a file is one that was archived from this position before."""
    known = {(d.sha256, d.modified) for read in position.reads for d in read.dumps}
    return tuple(
        f"{file.entry.name} is the very file, of the same time, that was archived before: it "
        "proves nothing of the new card. Read the new card's chip, and give that dump"
        for each in incoming
        for file in each.files
        if (file.entry.sha256, file.entry.modified) in known
    )


def _released(vault: Vault, position: Position, incoming: list[Incoming]) -> tuple[str, ...]:
    """Say where a file is byte for byte one that was released for loading."""
    released = released_files(vault, position)
    return tuple(
        f"{file.entry.name} is byte for byte the file that was released for loading: make sure "
        "that the chip itself was read"
        for each in incoming
        for file in each.files
        if file.entry.sha256 in released
    )


def _compared(meant: Image, read: Image, stage: str, layout: Layout | None) -> ReadBack:
    """Return how the bytes compare, and after power whether the layout's checks hold too."""
    if layout is None or stage != AFTER_POWER:
        return compare(meant, read, stage)
    return compare(meant, read, stage, _moving(layout), decoded_by(layout, read).checks)


def _older(position: Position, copy: Copy) -> tuple[str, ...]:
    """Say that the copy meant is not the newest, where that one is not verified."""
    if position.latest is None or position.latest.image == copy.image:
        return ()
    newer = select.copy_name(position, position.latest)
    return (f"the newest copy, {newer}, is not verified: the one before it is meant",)


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
            "failing_checks": [check.check for read in reads for check in read.found.failing],
        },
        lambda screen: _page(screen, name, stage, reads, layout),
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
        found=f"{counted(len(position.copies), 'copy', 'copies')}, none verified",
    )


def _moving(layout: Layout) -> dict[int, int]:
    """Return for each address the bits that are expected to change once powered."""
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
        for check in read.found.failing:
            screen.say(f"CHECK {MARKS[check.holds]}: {check.check} in what was read", indent=2)
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
    if stage == BEFORE_POWER:
        screen.say("Clean the contacts, load the file again, read back again.")
        return
    screen.say(
        "Take the power off again. A field or check that the unit itself writes stands in the "
        "layout as expected-to-change; for anything else load the file again, and read back "
        "before power and after it."
    )


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
