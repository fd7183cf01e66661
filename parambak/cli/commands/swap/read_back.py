"""`swap read-back`: whether the card is loaded correctly."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import click

from parambak.answers import given_files
from parambak.answers.swap.load_file import COPY_LOST
from parambak.cli import faults, store
from parambak.cli.command import FORMAT_HELP, FormatName
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import deviations
from parambak.cli.parts.read_back_bytes import Behind, Meant, read_back
from parambak.cli.parts.read_back_bytes import answer as bytes_answer
from parambak.cli.parts.read_back_doubts import Compared, doubts_of, not_enough, older, others
from parambak.cli.parts.read_back_values import Layouts, opened, read_values, values_answer
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.errors import VaultDamaged, VaultRefused
from parambak.keeping.assess import Assessor
from parambak.keeping.state import select
from parambak.keeping.state.cards import exchange_notes
from parambak.keeping.state.fold import fleet
from parambak.memory.counted import counted
from parambak.reads.pairs import PAIR_SCHEMES
from parambak.swap.read_back import BEFORE_POWER, STAGES, ReadBack, ValuesReadBack
from parambak.swap.recording import record_read_back
from parambak.swap.state import accepted_words, others_words
from parambak.swap.swaps import newest_open, swaps_at

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.recording.received import Incoming
    from parambak.keeping.state.model import Copy, Position, Vessel
    from parambak.reads.pairs import PairScheme
    from parambak.swap.recording import ValueLayouts
    from parambak.swap.swaps import Swap
    from parambak.vault.vault import Vault

    _Given = list[tuple[Incoming, ReadBack | ValuesReadBack]]


@dataclass(frozen=True)
class _Words:
    """The command's options, as typed."""

    stage: str
    format_name: str | None
    profile: str | None
    pair: PairScheme | None
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
@click.option("--format", "format_name", type=FormatName(), help=FORMAT_HELP)
@click.option("--profile", metavar="FILE", help="How this reader's files are to be taken.")
@click.option(
    "--pair", type=click.Choice(PAIR_SCHEMES), help="Two chips hold the memory: dumps in twos."
)
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
    position = select.find_position(fleet(vault), where)
    vessel = select.vessel_at(fleet(vault), where)
    assessor = Assessor(vault, store.chip_table())
    every = swaps_at(vault, vessel, position)
    swap = newest_open(every)
    copy = _meant(assessor, position, swap)
    own = assessor.layout_of(position)
    image, name = assessor.image(copy.image), select.copy_name(position, copy)
    told = opened(files, own, position.layout) if files.named else None
    size = told.layouts.new.layout.memory if told else assessor.memory_size(position, own)
    profile = given_files.profile_file(words.profile).profile if words.profile else None
    taking = given_files.Taking(words.format_name, (), size, profile, words.pair)
    incoming = given_files.reads_of(dumps, taking)
    if told is not None:
        values = read_values(incoming, words.stage, told, image)
        given: _Given = [(read.incoming, read.found) for read in values]
        answer = values_answer(name, words.stage, values)
    else:
        meant = Meant(name, image, own, moved=swap is not None and swap.route == "move-chip")
        reads = read_back(incoming, words.stage, meant, _behind(assessor, vessel, swap))
        given = [(read.incoming, read.found) for read in reads]
        answer = bytes_answer(meant, words.stage, reads)
    times = profile is None or profile.file_times
    doubts = doubts_of(vault, Compared(vessel, position, copy, image, incoming, words.pair, times))
    notes = older(position, copy, swap) + others_words(others(every, swap))
    notes += _exchanged(vault, vessel, position)
    layouts = told.layouts if told else None
    notes += _put_on_record(vault, position, copy, given, (words.read_by, layouts, swap))
    so_far = newest_open(swaps_at(vault, vessel, position)) if swap is not None else None
    doubts += not_enough(so_far, len(given), loaded=answer.exit_code == 0)
    accepted = accepted_words(assessor, swap)
    proven = so_far is not None and so_far.unproven is None
    answer = _doubted(answer, accepted, doubts, proven=proven)
    return replace(answer, warnings=(*store.warnings_of(vault), *notes))


def _exchanged(vault: Vault, vessel: Vessel, position: Position) -> tuple[str, ...]:
    units = [unit for unit in vessel.units if position in unit.positions]
    return exchange_notes(vault, vessel, units)


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


def _put_on_record(
    vault: Vault,
    position: Position,
    copy: Copy,
    given: _Given,
    said: tuple[str | None, ValueLayouts | None, Swap | None],
) -> tuple[str, ...]:
    """Keep the read-back; a vault that cannot be written keeps nobody from the answer."""
    by, layouts, swap = said
    swap_id = swap.id if swap is not None else None
    try:
        record_read_back(vault, position, copy, given, by=by, layouts=layouts, swap=swap_id)
    except (VaultRefused, VaultDamaged) as error:
        return (f"this read-back is NOT ON RECORD: {error.text}",)
    return ()


def _meant(assessor: Assessor, position: Position, swap: Swap | None) -> Copy:
    """Return the copy that the card should hold; raise NotFound where there is none.

    The one that the open swap means or released unverified, else the latest verified.
    """
    if swap is not None and swap.expected is not None:
        for copy in reversed(position.copies):
            if copy.image == swap.expected:
                return copy
        raise COPY_LOST.error(
            where=position.where,
            expected="the copy that was chosen or released in this swap",
            found=f"none with the digest {swap.expected.sha256[:8]}",
        )
    for copy in reversed(position.copies):
        if assessor.verdict(position, copy).verified:
            return copy
    raise faults.NOTHING_MEANT.error(
        where=position.where,
        expected="a verified copy to compare with",
        found=f"{counted(len(position.copies), 'copy', 'copies')}, none verified",
    )


def _behind(assessor: Assessor, vessel: Vessel, swap: Swap | None) -> Behind:
    """Return what is known of the swap so far: an earlier read-back, the new card's own memory."""
    if swap is None:
        return Behind(held_before=False, others={})
    before = [each for each in swap.read_backs if each.body.stage == BEFORE_POWER]
    others = {}
    for card in vessel.cards:
        if swap.body.new_card in card.ids:
            for position in card.positions:
                for copy in position.copies:
                    with suppress(VaultDamaged):
                        name = f"{select.copy_name(position, copy)}, the new card's own"
                        others[name] = assessor.image(copy.image)
    held = bool(before) and before[-1].body.loaded_correctly
    return Behind(held_before=held, others=others)
