"""`swap load-file`: the file that goes into the new card."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from parambak.answers import given_files
from parambak.answers.written_files import moved, write_dump_file
from parambak.cli import faults, store
from parambak.cli.command import FormatName
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import cautions, deviations
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.assess import Assessor
from parambak.keeping.recording.texts import NAME, REMARK, check_texts
from parambak.keeping.state import select
from parambak.keeping.state.fold import fleet
from parambak.keeping.verified import AFTER_UNVERIFIED
from parambak.memory import digests
from parambak.memory.counted import counted
from parambak.reads.pairs import PAIR_SCHEMES
from parambak.swap.lost_records import refuse_unsure
from parambak.swap.recording import Release, record_load_file
from parambak.swap.state import SwapState, accepted_words, notes_on, swap_state

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.dumps.profile import Profile
    from parambak.keeping.state.model import Copy
    from parambak.layouts.decode import Decoded
    from parambak.memory.image import Image
    from parambak.reads.pairs import PairScheme

UNVERIFIED = "UNVERIFIED"
SHORT_UNVERIFIED = "UNVERIFD"
_SHORT = re.compile(r"[A-Za-z0-9_-]{1,8}(\.[A-Za-z0-9]{1,3})?")


@dataclass(frozen=True)
class _Words:
    """The command's options, as typed."""

    format_name: str | None
    out: str
    profile: str | None
    pair: PairScheme | None
    unverified: bool
    confirm: str | None
    by: str | None
    reason: str | None
    replace: bool


@dataclass(frozen=True)
class _Written:
    """One file written: its name, length, digest, and the bytes of the image in it."""

    name: str
    length: int
    sha256: str
    content: bytes


@parambak_command(
    "load-file",
    example="parambak swap load-file grebe/port-thruster/U12 --as intel-hex --out LOAD.HEX",
)
@click.argument("where", metavar="WHERE")
@click.option("--as", "format_name", type=FormatName(), help="The format; else the profile's.")
@click.option("--out", metavar="FILE", required=True, help="The file to write.")
@click.option(
    "--profile",
    metavar="FILE",
    help="What the reader takes: format, base address, record length, short names.",
)
@click.option("--pair", type=click.Choice(PAIR_SCHEMES), help="Split over two chips: two files.")
@click.option(
    "--unverified",
    is_flag=True,
    help="In an emergency: release a copy that is not verified; with --confirm UNVERIFIED, "
    "--by and --reason.",
)
@click.option("--confirm", metavar="WORD", help="With --unverified: the word UNVERIFIED.")
@click.option("--by", metavar="PERSON", help="Who releases the file.")
@click.option("--reason", metavar="TEXT", help="With --unverified: why.")
@click.option("--replace", is_flag=True, help="Write over a file that stands there.")
@pass_settings
def command(settings: Settings, /, *, where: str, **options: Any) -> Answer:
    """Write the copy of WHERE that is meant, for loading; refuse one that is not verified.

    That is the copy chosen in the open swap, else the newest. Its bytes are never altered.
    With --pair, FILE holds the first chip and FILE.2 the second, or for a reader that takes
    short names alone a name with a 2 at its end.
    """
    words = _Words(**options)
    check_texts([("name of the person", words.by, NAME), ("reason", words.reason, REMARK)])
    if not words.unverified and (words.confirm or words.reason):
        raise faults.UNVERIFIED_ALONE.error(expected="--unverified", found="not given")
    profile = given_files.profile_file(words.profile).profile if words.profile else None
    format_name = words.format_name or (profile.format if profile else None)
    if format_name is None:
        raise faults.FORMAT_NEEDED.error(expected="--as FORMAT", found="neither --as nor a profile")
    vault = store.open_vault(settings)
    assessor = Assessor(vault, store.chip_table())
    found = swap_state(fleet(vault), assessor, where)
    refuse_unsure(vault, found.vessel, found.position.where, found.swap)
    copy = _copy(found)
    released = _released(found, words)
    image = assessor.image(copy.image)
    out = _marked(words.out, profile) if released else words.out
    with vault.writing():
        pass  # a vault that cannot be written is refused before a file of that name is touched
    written: list[_Written] = []
    try:
        for name, part in _parts(image, _names(out, profile, words.pair), words.pair):
            written.append(_write(part, name, format_name, profile, assessor, words))
        release = Release(
            format_name,
            tuple(each.sha256 for each in written),
            found.swap.id if found.swap is not None else None,
            words.reason if released else None,
            words.by,
        )
        record_load_file(vault, found.position, copy, image, release)
    except BaseException:  # an interruption too
        for each in written:
            Path(each.name).unlink(missing_ok=True)  # what was refused must not lie ready
        raise
    return Answer(
        _document(found, written, image, format_name, released=released),
        lambda screen: _page(screen, found, written, assessor, released=released),
        warnings=(*store.warnings_of(vault), *notes_on(vault, found), *_doubts(found)),
    )


def _doubts(found: SwapState) -> tuple[str, ...]:
    """Say where the file is written before the swap may begin, or outside any swap."""
    where, answer = found.position.where, found.readiness()
    said = []
    if found.swap is None:
        said.append(
            f"no swap is open at {where}: who loads this and why is not on record (`swap open`)"
        )
    elif found.swap.route == "move-chip":
        said.append("in this swap the old chip is moved: this file is for a duplicate of it")
    if answer.missing:
        said.append(
            f"`swap check {where}` says NOT READY: {', '.join(answer.missing)}. The file is right "
            "for the copy meant; that the swap may begin is another thing"
        )
    twice = found.verdict.conditions[0].text if found.verdict else ""
    if AFTER_UNVERIFIED in twice:
        said.append(twice)
    return tuple(said)


def _copy(found: SwapState) -> Copy:
    """Return the copy meant; raise NotFound where there is none."""
    if found.evidence.chosen_lost:
        where = found.position.where
        raise faults.COPY_LOST.error(where=where, expected="the copy chosen", found="none of it")
    if found.copy is None:
        return select.choose(found.position, "latest")
    return found.copy


def _released(found: SwapState, words: _Words) -> bool:
    """Return whether the copy is released without verification; raise where it cannot be."""
    verdict = found.verdict
    if verdict is not None and verdict.verified:
        if words.unverified:
            raise faults.UNVERIFIED_NOT.error(expected="no --unverified", found="a verified copy")
        return False
    unmet = verdict.unmet if verdict is not None else ()
    if not words.unverified:
        raise faults.NOT_VERIFIED.error(
            where=found.position.where,
            unmet=", ".join(each.condition for each in unmet),
            expected="all four conditions met",
            found="; ".join(each.text for each in unmet),
        )
    hopeless = [each for each in unmet if each.condition == "intact"]
    if hopeless:
        raise faults.NOT_VERIFIED.error(
            where=found.position.where,
            unmet="intact",
            expected="bytes that are what they were when archived",
            found=hopeless[0].text,
        )
    if words.confirm != UNVERIFIED or not words.by or not words.reason:
        raise faults.UNVERIFIED_WORDS.error(
            expected="--confirm UNVERIFIED --by NAME --reason TEXT", found="not all of them"
        )
    return True


def _marked(out: str, profile: Profile | None) -> str:
    """Return the file's name with the mark that its copy is not verified."""
    path = Path(out)
    if not path.name:
        return out  # no file's name: refused where it is written
    if profile is not None and profile.short_names:
        return str(path.with_name(SHORT_UNVERIFIED + path.suffix))
    return str(path.with_name(f"{path.stem}-{UNVERIFIED}{path.suffix}"))


def _names(out: str, profile: Profile | None, pair: PairScheme | None) -> tuple[str, ...]:
    """Return the names of the files, two for a pair; raise where the reader takes no such name."""
    short = profile is not None and profile.short_names
    path = Path(out)
    names: tuple[str, ...] = (out,)
    if pair is not None:
        # A reader of short names takes no third part: LOAD.HEX is followed by LOAD2.HEX.
        two = f"{path.stem[:7]}2{path.suffix}"
        second = path.with_name(two) if short and path.name else f"{out}.2"
        names = (out, str(second))
    if short and not _SHORT.fullmatch(path.name):
        raise faults.SHORT_NAME.error(expected="a name such as LOAD.HEX", found=path.name)
    if len(set(names)) < len(names):
        raise faults.SHORT_NAME.error(
            expected="a name for the first chip that the second's is not", found=path.name
        )
    return names


def _parts(
    image: Image, names: tuple[str, ...], pair: PairScheme | None
) -> list[tuple[str, Image]]:
    """Return the files to write, two for a pair."""
    if pair is None:
        return [(names[0], image)]
    from parambak.reads.pairs import split  # noqa: PLC0415 - for a pair only

    first, second = split(image, pair)
    return [(names[0], first), (names[1], second)]


def _write(  # noqa: PLR0913, PLR0917 - the parts of one file
    image: Image,
    name: str,
    format_name: str,
    profile: Profile | None,
    assessor: Assessor,
    words: _Words,
) -> _Written:
    from parambak.dumps.dump import Style  # noqa: PLC0415 - only for writing
    from parambak.dumps.registry import format_named  # noqa: PLC0415 - the same

    base = profile.base if profile is not None else 0
    style = Style(
        record_length=profile.record_length if profile is not None else None,
        base=0 if format_named(format_name).has_addresses else base,
    )
    data, digest = write_dump_file(
        moved(image, base) if base else image,
        name,
        format_name,
        style,
        vault=assessor.vault.root,
        replace=words.replace,
    )
    return _Written(name, len(data), digest, image.content)


def _document(
    found: SwapState, written: list[_Written], image: Image, format_name: str, *, released: bool
) -> dict[str, Any]:
    return {
        "file": written[0].name,
        "sha256": written[0].sha256,
        "sum16": digests.sum16(image.content),
        "copy": found.evidence.copy,
        "format": format_name,
        "verified": not released,
        "wanting": list(found.readiness().missing),
        "files": [
            {
                "file": each.name,
                "sha256": each.sha256,
                "sum8": digests.sum8(each.content),
                "sum16": digests.sum16(each.content),
                "crc32": digests.crc32(each.content),
            }
            for each in written
        ],
    }


def _page(
    screen: Screen,
    found: SwapState,
    written: list[_Written],
    assessor: Assessor,
    *,
    released: bool,
) -> None:
    deviations(screen, accepted_words(assessor, found.swap))
    screen.facts([("copy", found.evidence.copy or "")], indent=0)
    for each in written:
        sums = f"{digests.sum8(each.content)} (8 bits), {digests.sum16(each.content)} (16 bits)"
        screen.facts(
            [
                ("file", f"{each.name}, {counted(each.length, 'byte')}"),
                ("SHA-256 of the file", each.sha256),
                ("sums of the bytes", sums),
                ("CRC-32 of the bytes", digests.crc32(each.content)),
            ],
            indent=0,
        )
    screen.say()
    cautions(screen)
    if released:
        _by_hand(screen, found.evidence.decoded)
        screen.bad("UNVERIFIED: written, but nothing proves that this copy is right.")
    else:
        screen.good("Written, and read back as the same image.")
    files = "both files, each into its own chip" if len(written) > 1 else "it"
    screen.say(
        f"Load {files}, compare the sum on the reader's screen with those above, read the new chip "
        f"back twice, and give both dumps to `parambak swap read-back {found.position.where}` "
        "before any power goes on."
    )


def _by_hand(screen: Screen, decoded: Decoded | None) -> None:
    """List the values that a person has to check at the panel."""
    if decoded is None:
        screen.mind("There is no layout: check every value at the panel that it shows.")
        return
    screen.mind("Check each of these at the panel before the unit is relied on:")
    rows = [
        (each.field, f"{each.value} {each.unit or ''}".strip())
        for each in decoded.fields
        if not each.expected_to_change
    ]
    screen.table(("field", "value"), rows)
