"""What dump files hold, without a vault; with two or more, how they relate."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, NamedTuple

from msgspec import Meta

from parambak.answers import given_files
from parambak.answers.disagreement import ExplanationShown, explanation_of
from parambak.answers.forms import (
    NO_ANSWER,
    YES,
    Answer,
    Note,
    Part,
    Question,
    RangeShown,
    range_shown,
)
from parambak.errors import ParambakError, in_file
from parambak.memory import digests
from parambak.vault.files.given import read_given

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parambak.answers.session import Session
    from parambak.dumps.dump import Dump, Terms
    from parambak.dumps.profile import Profile
    from parambak.memory.findings import Finding
    from parambak.memory.image import Image


class InspectQuestion(Question["InspectAnswer"], frozen=True):
    """The dump files, and on which terms they are read.

    `memory` is the size in bytes; `chip` a part number that gives it; `profile` the file of a
    reader's profile; `accept` names irregularities that may pass.
    """

    dumps: tuple[str, ...]
    format: str | None = None
    accept: tuple[str, ...] = ()
    memory: Annotated[int, Meta(ge=1)] | None = None
    chip: str | None = None
    profile: str | None = None
    second_opinion: bool = False


class FindingShown(Part, frozen=True):
    """A finding; `against` is true if it is a doubt about the image, not only about the file."""

    code: str
    text: str
    against: bool


class DumpShown(Part, frozen=True):
    """One dump: digest and sums are over the bytes present, in upper-case hexadecimal.

    `complete` is false if a line may be missing.
    """

    file: str
    format: str
    size: int
    ranges: tuple[RangeShown, ...]
    sha256: str
    crc32: str
    sum8: str
    sum16: str
    findings: tuple[FindingShown, ...]
    second_opinion: str | None
    complete: bool


class RefusedShown(Part, frozen=True):
    """A file that is no dump that can be read: its error, as `error` has it elsewhere."""

    file: str
    code: str
    text: str
    line: int | None
    offset: int | None
    expected: str | None
    found: str | None
    next: str | None


class RelationShown(Part, frozen=True):
    """How a further dump differs from the first; `first_at` is null where nothing differs."""

    file: str
    changed_bytes: int
    first_at: int | None


class InspectAnswer(Answer, frozen=True):
    """Each dump; why they differ, null if they do not; whether two look like a pair.

    Of two files or more, `refused` are those that could not be read. One alone is an error.
    """

    dumps: tuple[DumpShown, ...]
    refused: tuple[RefusedShown, ...]
    relations: tuple[RelationShown, ...]
    explanation: ExplanationShown | None
    pair: tuple[Note, ...]

    @property
    def exit_code(self) -> int:
        """Return 2 if a file was refused: there is no answer about it."""
        return NO_ANSWER if self.refused else YES


class _Read(NamedTuple):
    """A dump that was read: its image as on the chip, and what was noted on the way."""

    path: str
    data: bytes
    dump: Dump
    image: Image
    notes: tuple[Finding, ...]


def answer(session: Session, question: InspectQuestion) -> InspectAnswer:
    """Read each dump strictly; raise DumpRefused, CallRefused or NotFound."""
    size = question.memory if question.chip is None else session.chip(question.chip).size
    profile = given_files.profile_file(question.profile).profile if question.profile else None
    terms = given_files.terms_of(question.accept, size, profile)
    reads, refused = [], []
    for path in question.dumps:
        try:
            reads.append(_read(path, question, terms, profile))
        except ParambakError as error:
            if len(question.dumps) == 1:
                raise
            refused.append(_refused_shown(path, error))
    if not refused:
        given_files.refuse_unused(terms.accepted, [read.dump for read in reads])
    images = [read.image for read in reads]
    pair = _paired(images)
    return InspectAnswer(
        dumps=tuple(_dump_shown(read, question, size) for read in reads),
        refused=tuple(refused),
        relations=tuple(_relations(reads)),
        explanation=None if pair else explanation_of(images, [read.path for read in reads]),
        pair=pair,
    )


def _refused_shown(path: str, error: ParambakError) -> RefusedShown:
    return RefusedShown(
        file=path,
        code=error.code,
        text=error.text,
        line=error.line,
        offset=error.offset,
        expected=error.expected,
        found=error.found,
        next=error.next,
    )


def _read(path: str, question: InspectQuestion, terms: Terms, profile: Profile | None) -> _Read:
    """Return a dump as its reader's profile describes it."""
    data = read_given(path, given_files.DUMP_BYTES).data
    dump = given_files.dump_of(path, data, question.format, terms, profile)
    image, notes = dump.image, dump.findings
    if profile is not None:
        from parambak.dumps.profile import as_on_chip  # noqa: PLC0415 - with a profile only

        image, more = as_on_chip(image, profile, terms.memory_size)
        notes += more
    return _Read(path, data, dump, image, notes)


def _paired(images: list[Image]) -> tuple[Note, ...]:
    """Return whether two dumps look like the two chips of one memory."""
    if len(images) != 2:
        return ()
    from parambak.reads.half_dumps import looks_paired  # noqa: PLC0415 - for two dumps only

    paired = looks_paired(images[0], images[1])
    return tuple(Note(finding.code, finding.text) for finding in paired)


def _dump_shown(read: _Read, question: InspectQuestion, size: int | None) -> DumpShown:
    content = read.image.content
    return DumpShown(
        file=read.path,
        format=read.dump.format,
        size=len(content),
        ranges=tuple(map(range_shown, read.image.ranges)),
        sha256=digests.sha256(content),
        crc32=digests.crc32(content),
        sum8=digests.sum8(content),
        sum16=digests.sum16(content),
        findings=tuple(
            FindingShown(finding.code, finding.text, against)
            for finding, against in _findings(read, size)
        ),
        second_opinion=_opinion(read) if question.second_opinion else None,
        complete=not read.dump.doubts,
    )


def _opinion(read: _Read) -> str:
    from parambak.dumps.second_opinion import second_opinion  # noqa: PLC0415 - where asked

    with in_file(read.path):
        opinion = second_opinion(read.data, read.dump)
    return f"{opinion.judge} agrees" if opinion.agrees else f"not asked: {opinion.why_not}"


def _findings(read: _Read, size: int | None) -> Iterator[tuple[Finding, bool]]:
    """Yield each finding on the file, and each finding against the image."""
    from parambak.reads.half_dumps import looks_like  # noqa: PLC0415 - once it is accepted
    from parambak.reads.plausibility import judge  # noqa: PLC0415 - the same

    yield from ((finding, finding in read.dump.doubts) for finding in read.notes)
    yield from ((suspicion.finding, True) for suspicion in judge(read.image, memory_size=size))
    yield from ((finding, True) for finding in looks_like(read.image))


def _relations(reads: Sequence[_Read]) -> Iterator[RelationShown]:
    """Yield how each further dump differs from the first."""
    if len(reads) < 2:
        return
    from parambak.differences.bytes import runs  # noqa: PLC0415 - only for two dumps or more

    for read in reads[1:]:
        changed = runs(reads[0].image, read.image)
        first_at = changed[0].start if changed else None
        yield RelationShown(read.path, sum(run.length for run in changed), first_at)
