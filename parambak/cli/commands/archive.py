"""`archive`: put reads of one chip on record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar, cast, get_args, get_type_hints

import click
from msgspec import to_builtins
from msgspec.structs import replace

from parambak.answers import given_files
from parambak.answers.disagreement import explanation_of, vote_shown
from parambak.cli import faults, store
from parambak.cli.command import FORMAT_HELP, FormatName
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.disagreement import explanation_page, vote_page
from parambak.cli.screen import MARKS
from parambak.cli.settings import Answer, Settings, pass_settings, past_day
from parambak.keeping.recording.filing import TypedPosition
from parambak.keeping.recording.received import Request
from parambak.keeping.recording.take_in import TakenIn, take_in
from parambak.keeping.recording.visits import VISIT_NONE
from parambak.keeping.state import read_facts, select
from parambak.keeping.state.bodies import Normal
from parambak.keeping.state.fold import Folding
from parambak.keeping.state.visits import the_open_visit
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from parambak.answers.disagreement import ExplanationShown
    from parambak.cli.screen import Screen
    from parambak.keeping.chips import Chip
    from parambak.keeping.recording.received import ProfileFile
    from parambak.keeping.state.model import Visit
    from parambak.reads.pairs import PairScheme
    from parambak.vault.vault import Vault


FC = TypeVar("FC", bound="Callable[..., Any]")
LIFTABLE = (
    "read-address-line",
    "read-data-line",
    "read-data-short",
    "read-size",
    "read-blank-fields",
)


def read_fact_options(function: FC) -> FC:
    """Give a command an option for each fact of a read."""
    hints = get_type_hints(read_facts.ReadFacts)
    for name, fact in reversed(read_facts.by_member().items()):
        flag = bool in (hints[name], *get_args(hints[name]))
        option = click.option(
            fact.option,
            name,
            is_flag=flag,
            default=None if not flag or "/" in fact.option else False,
            type=click.Choice(fact.choices) if fact.choices else None,
            metavar=None if flag or fact.choices else "TEXT",
            help=fact.help,
        )
        function = option(function)
    return function


@dataclass(frozen=True)
class _Words:
    """The command's options, as typed."""

    vessel: str | None
    unit: str | None
    card: str | None
    position: str
    layout: str | None
    chip: str | None
    reader_sum: str | None
    read_by: str | None
    read_on: str | None
    remark: str | None
    normal: tuple[str, ...]
    format_name: str | None
    accept: tuple[str, ...]
    profile: str | None
    vote: bool
    facts: read_facts.ReadFacts
    new_vessel: bool
    position_confirmed: bool


@parambak_command(
    "archive",
    example="parambak archive R1.HEX R2.HEX --vessel grebe --unit port-thruster "
    "--position U12 --layout thruster.toml --read-by 'J. Doe'",
)
@click.argument("dumps", metavar="DUMP…", nargs=-1, required=True)
@click.option("--vessel", metavar="NAME", help="Short name; an open visit remembers it.")
@click.option("--unit", metavar="NAME", help="The unit that the chip belongs to.")
@click.option("--card", metavar="SERIAL", help="Instead of --unit: a card that is in no unit.")
@click.option("--position", metavar="NAME", required=True, help="The chip's reference designator.")
@click.option("--layout", metavar="FILE", help="What the bytes mean; kept with the position.")
@click.option("--chip", metavar="PART", help="The memory's part number, such as 28C16.")
@click.option("--reader-sum", metavar="HEX", help="The sum that the reader's screen shows.")
@click.option("--read-by", metavar="PERSON", help="Who read the chip.")
@click.option("--read-on", metavar="DATE", help="When, such as 2026-03-01; else today.")
@read_fact_options
@click.option("--remark", metavar="TEXT", help="Anything worth knowing in twenty years.")
@click.option(
    "--normal",
    multiple=True,
    metavar="CODE=REASON",
    help="Declare a finding normal for this memory; needs --read-by.",
)
@click.option("--format", "format_name", type=FormatName(), help=FORMAT_HELP)
@click.option("--accept", multiple=True, metavar="NAME", help="Let one irregularity pass.")
@click.option("--profile", metavar="FILE", help="How this reader's files are to be taken.")
@click.option("--vote", is_flag=True, help="Keep what most of three reads or more say, too.")
@click.option("--new-vessel", is_flag=True, help="It is another ship, though the name is near.")
@click.option("--position-confirmed", is_flag=True, help="It is the right chip; go on.")
@pass_settings
def command(settings: Settings, /, dumps: tuple[str, ...], **options: Any) -> Answer:
    """Keep each DUMP as one read of a chip, and say whether the copy is verified.

    A second DUMP is your word that the chip was read again.
    """
    facts = read_facts.ReadFacts(**{name: options.pop(name) for name in read_facts.by_member()})
    words = _Words(facts=facts, **options)
    request, chips = _request(settings, dumps, words)
    vault = store.open_vault(settings, create=True)
    folding = Folding(vault)
    request = _with_visit(folding, request, words)
    taken = take_in(vault, request, chips, folding)
    names = [incoming.entry.name for incoming in request.dumps]
    found = explanation_of([incoming.image for incoming in request.dumps], names)
    return Answer(
        {
            "where": taken.position.where,
            "copy": select.copy_name(taken.position, taken.copy),
            "sha256": taken.copy.sha256,
            "verified": taken.verdict.verified,
            "unmet": [
                {"condition": each.condition, "text": each.text} for each in taken.verdict.unmet
            ],
            "made": list(taken.made),
            "reader_sum": taken.reader_sum,
            "explanation": to_builtins(found),
            "vote": to_builtins(vote_shown(taken.vote)),
        },
        lambda screen: _page(screen, taken, len(request.dumps), found),
        warnings=(*store.warnings_of(vault), *taken.warnings),
    )


def _request(
    settings: Settings, dumps: tuple[str, ...], words: _Words
) -> tuple[Request, Mapping[str, Chip]]:
    """Return what is asked, every file read and checked before a vault is touched."""
    chips = store.chip_table()
    size = store.chip_named(chips, words.chip).size if words.chip is not None else None
    layout = given_files.layout_file(words.layout) if words.layout is not None else None
    if size is None and layout is not None:
        size = layout.layout.memory
    profile = given_files.profile_file(words.profile) if words.profile is not None else None
    taking = given_files.Taking(
        words.format_name,
        words.accept,
        size,
        profile.profile if profile else None,
        cast("PairScheme | None", words.facts.pair),
    )
    reads = given_files.reads_of(dumps, taking)
    request = Request(
        target=_target(words),
        dumps=reads,
        layout=layout,
        read_by=words.read_by,
        read_on=past_day(settings, words.read_on) if words.read_on is not None else None,
        facts=_facts(words.facts, profile),
        reader_sum=words.reader_sum,
        normal=_normal(words),
        position_confirmed=words.position_confirmed,
        remark=words.remark,
        profile=profile,
        vote=words.vote,
    )
    return request, chips


def _facts(stated: read_facts.ReadFacts, profile: ProfileFile | None) -> read_facts.ReadFacts:
    """Return what was stated of how the reads were made, and what the reader's profile says."""
    if profile is None:
        return stated
    return replace(
        stated,
        reader=stated.reader or profile.profile.name,
        untimed=stated.untimed or not profile.profile.file_times,
    )


def _target(words: _Words) -> TypedPosition:
    return TypedPosition(
        vessel=words.vessel or "",
        position=words.position,
        unit=words.unit,
        card=words.card,
        chip=words.chip,
        new_vessel=words.new_vessel,
    )


def _normal(words: _Words) -> list[Normal]:
    declared = []
    for text in words.normal:
        code, _, reason = text.partition("=")
        if not code.strip() or not reason.strip() or not words.read_by:
            raise faults.NORMAL_SHAPE.error(expected="CODE=REASON and --read-by", found=repr(text))
        if code.strip() not in LIFTABLE:
            raise faults.NORMAL_SHAPE.error(expected=" or ".join(LIFTABLE), found=repr(code))
        declared.append(Normal(code=code.strip(), reason=reason.strip()))
    return declared


def _with_visit(folding: Folding, request: Request, words: _Words) -> Request:
    """Fill in what the open visit remembers."""
    vault = folding.vault
    found = the_open_visit(folding.fleet(), vault.writer, words.vessel)
    if found is None:
        if words.vessel is None:
            raise VISIT_NONE.error(expected="--vessel NAME, or an open visit", found="neither")
        return request
    handle, visit = found
    return replace(
        request,
        target=replace(request.target, vessel=words.vessel or handle),
        read_by=request.read_by or _name(vault, visit),
        facts=replace(request.facts, reader=request.facts.reader or visit.reader),
        visit=visit.id,
    )


def _name(vault: Vault, visit: Visit) -> str | None:
    return vault.person(visit.by) if visit.by else None


def _page(screen: Screen, taken: TakenIn, given: int, found: ExplanationShown | None) -> None:
    reads = counted(given, "read")
    screen.heading(f"{reads} put on record for {taken.position.where}")
    facts = [
        ("copy", select.copy_name(taken.position, taken.copy)),
        ("SHA-256", taken.copy.sha256),
        *(("new", made.removeprefix("new ")) for made in taken.made),
    ]
    if taken.reader_sum:
        facts.append(("reader's sum", f"matches: {taken.reader_sum}"))
    screen.facts(facts)
    screen.say()
    screen.facts(
        (f"{each.condition:<13}{MARKS[each.met]}", each.text) for each in taken.verdict.conditions
    )
    screen.say()
    if found is not None:
        explanation_page(screen, found)
    vote = vote_shown(taken.vote)
    if vote is not None:
        vote_page(screen, vote)
    if taken.verdict.verified:
        without = "" if taken.position.layout else ", without a layout: no check inside is known"
        screen.good(f"VERIFIED{without}. Keep a copy of the vault in a second place.")
    else:
        screen.bad("NOT VERIFIED yet. See each NO above, and what to do.")
