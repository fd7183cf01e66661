"""Dumps put on record as reads of one chip, and whether its copy is now verified."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple, cast, get_args, get_type_hints

from msgspec.structs import replace

from parambak.answers import faults, given_files
from parambak.answers.disagreement import (
    ExplanationShown,
    VoteShown,
    explanation_of,
    vote_shown,
)
from parambak.answers.forms import Answer, Part, Question
from parambak.answers.persons import person_of
from parambak.keeping.recording.filing import TypedPosition
from parambak.keeping.recording.received import Request
from parambak.keeping.recording.take_in import take_in
from parambak.keeping.recording.visits import VISIT_NONE
from parambak.keeping.state import read_facts, select
from parambak.keeping.state.bodies import Normal
from parambak.keeping.state.fold import Folding
from parambak.keeping.state.read_facts import ReadFacts
from parambak.keeping.state.visits import also_open, the_open_visit
from parambak.memory.counted import counted
from parambak.reads.pairs import chips_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from parambak.answers.session import Session
    from parambak.keeping.recording.received import Incoming, LayoutFile, ProfileFile
    from parambak.keeping.recording.take_in import TakenIn
    from parambak.reads.pairs import PairScheme

LAST_TIME = 4_000_000_000_000_000_000  # nanoseconds since 1970: a time after 2096 is no time
LIFTABLE = (
    "read-address-line",
    "read-data-line",
    "read-data-short",
    "read-size",
    "read-blank-fields",
)
"""Findings that a person may declare normal for a memory."""


class ArchiveQuestion(Question["ArchiveAnswer"], frozen=True):
    """The dump files, where the chip is, and what is stated of the reads.

    `dumps`, `layout` and `profile` are names of files. `unit` or `card` holds the position;
    `vessel` may be None where a visit is open. `chip` is the number printed on the chip, on each
    of a pair; `size` is the chip's size in bytes, if the table of chips does not have it.
    `normal` declares findings normal, each as CODE=REASON. `facts` are what is stated of how the
    reads were made. `new_vessel`, `new_unit`, `new_position` and `position_confirmed` answer the
    doubts that a near name, or bytes that fit another position better, raise. With `vote`, what
    most of three reads or more hold is kept too.
    """

    dumps: tuple[str, ...]
    position: str
    vessel: str | None = None
    unit: str | None = None
    card: str | None = None
    layout: str | None = None
    chip: str | None = None
    size: int | None = None
    reader_sum: str | None = None
    by: str | None = None
    read_on: str | None = None
    facts: ReadFacts = ReadFacts()
    remark: str | None = None
    normal: tuple[str, ...] = ()
    format: str | None = None
    accept: tuple[str, ...] = ()
    profile: str | None = None
    vote: bool = False
    new_vessel: bool = False
    new_unit: bool = False
    new_position: bool = False
    position_confirmed: bool = False
    blank_confirmed: bool = False


class ConditionShown(Part, frozen=True):
    """A condition of a verified copy: met, not met, or null where that is not known; and why."""

    condition: str
    met: bool | None
    text: str


class UnmetShown(Part, frozen=True):
    """A condition that is not met or not known, and why."""

    condition: str
    text: str


class ArchiveAnswer(Answer, frozen=True):
    """The position and its copy, and whether it is verified now.

    `unmet` are those of the `conditions` that are not met or not known. `made` says what came
    on record with the reads; `reader_sum` what the sum on the reader's screen is a sum of.
    `explanation` is why the reads differ, null where they do not; `layout` whether the position
    has one; `reads` how many were put on record; `read_on` the day of the newest. `state` is that
    of the copy in one word; `fading` are the fields and addresses that may be fading; `already` the
    dumps that were on record already.
    """

    where: str
    copy: str
    sha256: str
    verified: bool
    unmet: tuple[UnmetShown, ...]
    made: tuple[str, ...]
    reader_sum: str | None
    explanation: ExplanationShown | None
    vote: VoteShown | None
    conditions: tuple[ConditionShown, ...]
    layout: bool
    reads: int
    read_on: str
    state: str
    fading: tuple[str, ...]
    already: tuple[str, ...]


class FactAsked(NamedTuple):
    """A fact of a read as it is asked for: its member of `facts`, and its option of `archive`.

    It is one of `choices`, else any text; a `flag` is true or false.
    """

    member: str
    option: str
    help: str
    choices: tuple[str, ...]
    flag: bool


def facts_asked() -> tuple[FactAsked, ...]:
    """Return the facts of a read, in the order of the members."""
    hints = get_type_hints(read_facts.ReadFacts)
    return tuple(
        FactAsked(
            name,
            fact.option,
            fact.help,
            fact.choices,
            flag=bool in (hints[name], *get_args(hints[name])),
        )
        for name, fact in read_facts.by_member().items()
    )


def facts_stated(values: Mapping[str, Any]) -> ReadFacts:
    """Return the facts of a read, whose members have these values."""
    return read_facts.ReadFacts(**values)


def answer(session: Session, question: ArchiveQuestion) -> ArchiveAnswer:
    """Put the reads on record; raise any refusal of a file, a name or the vault.

    Every file is read and checked before a vault is touched.
    """
    request = _request(session, question)
    folding = Folding(session.open(create=True))
    request = _with_visit(session, folding, request, question)
    taken = take_in(folding.vault, request, session.chips, folding)
    session.note(*_gaps(request), *taken.warnings, *_file_times(taken, question))
    names = [read.entry.name for read in request.dumps]
    conditions = taken.verdict.conditions
    return ArchiveAnswer(
        where=taken.position.where,
        copy=select.copy_name(taken.position, taken.copy),
        sha256=taken.copy.sha256,
        verified=taken.verdict.verified,
        unmet=tuple(UnmetShown(state.condition, state.text) for state in taken.verdict.unmet),
        made=taken.made,
        reader_sum=taken.reader_sum,
        explanation=explanation_of([read.image for read in request.dumps], names),
        vote=vote_shown(taken.vote),
        conditions=tuple(ConditionShown(s.condition, s.met, s.text) for s in conditions),
        layout=taken.position.layout is not None,
        reads=taken.reads,
        read_on=taken.copy.newest.read_on.isoformat(),
        state=taken.verdict.state,
        fading=taken.verdict.fading,
        already=taken.already,
    )


def _gaps(request: Request) -> Iterator[str]:
    """Yield a note for each file that may have lost a line."""
    for read in request.dumps:
        for file in read.files:
            yield from (f"{file.entry.name}: {doubt.text}" for doubt in file.dump.doubts)


def _request(session: Session, question: ArchiveQuestion) -> Request:
    day, hour = (
        session.past_moment(question.read_on) if question.read_on is not None else (None, None)
    )
    chip = session.stated_chip(question.chip, question.size)
    size = chip.bytes * chips_of(question.facts.pair) if chip.bytes else None
    layout = given_files.layout_file(question.layout) if question.layout is not None else None
    profile = given_files.profile_file(question.profile) if question.profile is not None else None
    return Request(
        target=TypedPosition(
            vessel=question.vessel or "",
            position=question.position,
            unit=question.unit,
            card=question.card,
            chip=chip.name,
            size=chip.size,
            new_vessel=question.new_vessel,
            new_unit=question.new_unit,
            new_position=question.new_position,
        ),
        dumps=_reads(question, size, layout, profile),
        layout=layout,
        by=question.by,
        read_on=day,
        read_at=hour,
        facts=_facts(question.facts, profile),
        reader_sum=question.reader_sum,
        normal=_normal(question),
        position_confirmed=question.position_confirmed,
        blank_confirmed=question.blank_confirmed,
        today=session.clock().date(),
        remark=question.remark,
        profile=profile,
        vote=question.vote,
        printed=chip.printed,
    )


def _reads(
    question: ArchiveQuestion,
    size: int | None,
    layout: LayoutFile | None,
    profile: ProfileFile | None,
) -> list[Incoming]:
    """Return the reads, of a memory whose size the chip gives, else the layout."""
    taking = given_files.Taking(
        question.format,
        question.accept,
        layout.layout.memory if size is None and layout is not None else size,
        profile.profile if profile else None,
        cast("PairScheme | None", question.facts.pair),
    )
    return given_files.reads_of(question.dumps, taking)


def _facts(stated: ReadFacts, profile: ProfileFile | None) -> ReadFacts:
    """Return what was stated of how the reads were made, and what the reader's profile says."""
    if profile is None:
        return stated
    return replace(
        stated,
        reader=stated.reader or profile.profile.name,
        untimed=stated.untimed or not profile.profile.file_times,
    )


def _normal(question: ArchiveQuestion) -> list[Normal]:
    declared = []
    for text in question.normal:
        code, _, reason = text.partition("=")
        if not code.strip() or not reason.strip() or not question.by:
            raise faults.NORMAL_SHAPE.error(expected="CODE=REASON and --by", found=repr(text))
        if code.strip() not in LIFTABLE:
            raise faults.NORMAL_SHAPE.error(expected=" or ".join(LIFTABLE), found=repr(code))
        declared.append(Normal(code=code.strip(), reason=reason.strip()))
    return declared


def _file_times(taken: TakenIn, question: ArchiveQuestion) -> tuple[str, ...]:
    """Return a note if files were written on other days than the read is dated, by no one's word.

    A day more or less is nothing: the reader's clock may be in another zone.
    """
    read = taken.copy.newest
    if question.read_on is not None or read.untimed:
        return ()
    zone = read.taken_in.tzinfo
    of_call = [r for r in taken.position.reads if r.call == read.call]
    written = {
        dump.name: datetime.fromtimestamp(dump.modified / 1e9, zone).date()
        for one in of_call
        for dump in one.dumps
        if dump.modified is not None and 0 <= dump.modified < LAST_TIME
    }
    others = {n: day for n, day in written.items() if abs(day - read.read_on) > timedelta(days=1)}
    if not others:
        return ()
    name, day = next(iter(others.items()))
    more = (
        f", and {counted(len(others) - 1, 'further file')} on another day"
        if len(others) > 1
        else ""
    )
    where = select.copy_name(taken.position, taken.copy)
    text = (
        f"{name} was written on {day}{more}, and the read is dated {read.read_on}. If the chip was "
        f"read on another day, correct it: `parambak correct {where} --read-on {day}`"
    )
    return (text,)


def _with_visit(
    session: Session, folding: Folding, request: Request, question: ArchiveQuestion
) -> Request:
    """Fill in what the open visit remembers."""
    vault = folding.vault
    visited = the_open_visit(folding.fleet(), vault.writer, question.vessel)
    if visited is None:
        if question.vessel is None:
            raise VISIT_NONE.error(expected="--vessel NAME, or an open visit", found="neither")
        return replace(request, by=person_of(session, request.by))
    handle, visit = visited
    session.note(*also_open(folding.fleet(), vault.writer, handle, visit))
    read_on = request.read_on
    if read_on is None and visit.afterwards:
        read_on = visit.on
        session.note(f"the read is dated {read_on}, the day of the open visit to {handle}")
    by = request.by or (vault.person(visit.by) if visit.by else person_of(session, None))
    return replace(
        request,
        target=replace(request.target, vessel=question.vessel or handle),
        by=by,
        facts=replace(request.facts, reader=request.facts.reader or visit.reader),
        read_on=read_on,
        visit=visit.id,
    )
