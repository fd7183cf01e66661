"""`swap read-back`: whether the card is loaded correctly."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import click

from parambak.cli import faults, files_in, store
from parambak.cli.command import FORMAT_HELP, FORMATS
from parambak.cli.command import command as parambak_command
from parambak.cli.read_back_bytes import Behind, Meant, read_back
from parambak.cli.read_back_bytes import answer as bytes_answer
from parambak.cli.read_back_values import Layouts, opened, read_values, values_answer
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.cli.swap_check import deviations
from parambak.errors import VaultDamaged, VaultRefused
from parambak.keeping import exchanges, select
from parambak.keeping.assess import Assessor
from parambak.keeping.bodies import ImageEntry
from parambak.keeping.fold import fleet
from parambak.memory.counted import counted
from parambak.memory.digests import sha256
from parambak.reads.ways import WAYS
from parambak.swap.course import courses, open_course
from parambak.swap.on_record import record_read_back, released_files
from parambak.swap.read_back import BEFORE_POWER, STAGES, ReadBack, ValuesReadBack
from parambak.swap.standing import accepted_words, others_words

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.known import Copy, Position, Vessel
    from parambak.keeping.request import Incoming
    from parambak.memory.image import Image
    from parambak.reads.ways import How
    from parambak.swap.course import Course
    from parambak.swap.on_record import ToldBy
    from parambak.vault.vault import Vault


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
    """Compare what was read from the loaded card with the copy of WHERE that is meant.

    That is the copy chosen in the open swap, else the one released last in it, else the
    latest verified one.
    """
    words = _Words(**options)
    files = Layouts(words.layout, words.old_layout, words.renames)
    vault = store.open_vault(settings)
    known = fleet(vault)
    position = select.find_position(known, where)
    vessel = select.find_vessel(known, select.parse_where(where).vessel)
    assessor = Assessor(vault, store.chip_table())
    every = courses(vault, vessel, position)
    course = open_course(every)
    copy = _meant(assessor, position, course)
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
        meant = Meant(name, image, own, moved=course is not None and course.route == "move-chip")
        reads = read_back(incoming, words.stage, meant, _behind(assessor, vessel, course))
        given = [(read.incoming, read.found) for read in reads]
        answer = bytes_answer(meant, words.stage, reads)
    doubts = _released(vault, position, incoming) + _resembles(vessel, copy, incoming)
    doubts += _halves(incoming, image, words.pair)
    if profile is None or profile.file_times:
        doubts += _old_files(position, incoming)
    notes = _older(position, copy, course) + others_words(_others(every, course))
    notes += exchanges.notes(vault, vessel, [u for u in vessel.units if position in u.positions])
    told_by = told.told_by if told else None
    swap = course.id if course else None
    notes += _put_on_record(
        vault, position, copy, given, by=words.read_by, told_by=told_by, swap=swap
    )
    so_far = open_course(courses(vault, vessel, position)) if course is not None else None
    doubts += _so_far(so_far, len(given), loaded=answer.exit_code == 0)
    proven = so_far is not None and so_far.unproven is None
    answer = _doubted(answer, accepted_words(assessor, course), doubts, proven=proven)
    return replace(answer, warnings=(*store.warnings_of(vault), *notes))


def _others(every: tuple[Course, ...], course: Course | None) -> tuple[Course, ...]:
    """Return the open swaps beside the one that is meant."""
    return tuple(each for each in every if each.end is None and each is not course)


def _so_far(course: Course | None, given: int, *, loaded: bool) -> tuple[str, ...]:
    """Say that what was read back so far does not prove the contents yet."""
    if not loaded:
        return ()
    if course is None:
        one = "one read alone may be wrong in the same way twice: read the chip once more, apart"
        return (one,) if given == 1 else ()
    if course.unproven is None:
        return ()
    return (f"that is not yet enough for `swap close` ({course.unproven}): read it again, apart",)


def _doubted(
    answer: Answer, accepted: tuple[str, ...], doubts: tuple[str, ...], *, proven: bool
) -> Answer:
    """Say first what was accepted in the swap, and last what the answer may not prove.

    Scripts find them under `deviations` and `doubts`.
    """

    def page(screen: Screen) -> None:
        deviations(screen, accepted)
        answer.page(screen)
        for doubt in doubts:
            screen.mind(f"BUT {doubt}.")
        if proven:
            screen.say("`parambak swap close` takes these read-backs as proof of the contents.")

    said = {"deviations": list(accepted), "doubts": list(doubts), "proven": proven}
    return replace(answer, document={**answer.document, **said}, page=page)


def _put_on_record(  # noqa: PLR0913 - those of `record_read_back`
    vault: Vault,
    position: Position,
    copy: Copy,
    given: list[tuple[Incoming, ReadBack | ValuesReadBack]],
    *,
    by: str | None,
    told_by: ToldBy | None,
    swap: str | None,
) -> tuple[str, ...]:
    """Keep the read-back; a vault that cannot be written keeps nobody from the answer."""
    try:
        record_read_back(vault, position, copy, given, by=by, told_by=told_by, swap=swap)
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


def _resembles(vessel: Vessel, meant: Copy, incoming: list[Incoming]) -> tuple[str, ...]:
    """Say where what was read is another copy aboard, byte for byte."""
    held = {
        copy.image: select.copy_name(position, copy)
        for unit in vessel.units
        for position in unit.positions
        for copy in position.copies
    }
    said = []
    for each in incoming:
        image = ImageEntry.of(each.image, sha256(each.image.content))
        if image != meant.image and image in held:
            said.append(
                f"{each.entry.name} is byte for byte {held[image]}: that file was loaded, or that "
                "chip was read"
            )
    return tuple(said)


def _halves(incoming: list[Incoming], meant: Image, pair: How | None) -> tuple[str, ...]:
    """Say where two chips are exchanged, or where half of a pair was given alone."""
    if pair is None:
        half = [each for each in incoming if 2 * len(each.image.content) == len(meant.content)]
        return tuple(
            f"{each.entry.name} is half as large as the copy meant: where two chips hold the "
            "memory, give the dumps of both with --pair"
            for each in half
        )
    from parambak.errors import ParambakError  # noqa: PLC0415 - for a pair only
    from parambak.reads.pairs import split  # noqa: PLC0415 - the same

    said = []
    for each in incoming:
        with suppress(ParambakError):
            wanted, there = split(meant, pair), split(each.image, pair)
            contents = [chip.content for chip in there]
            if contents == [chip.content for chip in reversed(wanted)] != contents[::-1]:
                said.append(
                    f"the two chips of {each.entry.name} hold each other's half: each file went "
                    "into the other chip, or the dumps are named in the other order"
                )
    return tuple(said)


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


def _older(position: Position, copy: Copy, course: Course | None) -> tuple[str, ...]:
    """Say that the copy meant is not the newest, and why."""
    if position.latest is None or position.latest.image == copy.image:
        return ()
    newer = select.copy_name(position, position.latest)
    if course is not None and course.meant is not None and course.meant.image == copy.image:
        return (f"an older copy than {newer} is meant in this swap: {course.meant.why}",)
    if course is not None and course.released:
        return (
            (
                f"a newer copy, {newer}, was archived since the file was released: the card is "
                "held against the file that was released. If the newer one is meant, load that"
            ),
        )
    return (f"the newest copy, {newer}, is not verified: the one before it is meant",)


def _meant(assessor: Assessor, position: Position, course: Course | None) -> Copy:
    """Return the copy that the card should hold; raise NotFound where there is none.

    The one that the open swap means or released unverified, else the latest verified.
    """
    if course is not None and course.expected is not None:
        for copy in reversed(position.copies):
            if copy.image == course.expected:
                return copy
        raise faults.COPY_LOST.at(
            where=position.where,
            expected="the copy that was chosen or released in this swap",
            found=f"none with the digest {course.expected.sha256[:8]}",
        )
    for copy in reversed(position.copies):
        if assessor.verdict(position, copy).verified:
            return copy
    raise faults.NOTHING_MEANT.at(
        where=position.where,
        expected="a verified copy to compare with",
        found=f"{counted(len(position.copies), 'copy', 'copies')}, none verified",
    )


def _behind(assessor: Assessor, vessel: Vessel, course: Course | None) -> Behind:
    """Return what is known of the swap so far: an earlier read-back, the new card's own memory."""
    if course is None:
        return Behind(held_before=False, others={})
    before = [each for each in course.read_backs if each.body.stage == BEFORE_POWER]
    others = {}
    for card in vessel.cards:
        if course.body.new_card in card.ids:
            for position in card.positions:
                for copy in position.copies:
                    with suppress(VaultDamaged):
                        name = f"{select.copy_name(position, copy)}, the new card's own"
                        others[name] = assessor.image(copy.image)
    held = bool(before) and before[-1].body.loaded_correctly
    return Behind(held_before=held, others=others)
