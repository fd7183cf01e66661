"""The file that goes into the new card: released if each condition is met or accepted."""

from __future__ import annotations

import re
from pathlib import PurePath
from typing import TYPE_CHECKING, NamedTuple

from parambak.answers import given_files
from parambak.answers.forms import Answer, Part, Question
from parambak.answers.written_files import moved, write_dump_file
from parambak.errors import CallRefused, Fault, NotFound
from parambak.keeping.recording.texts import NAME, REMARK, check_texts
from parambak.keeping.state import select
from parambak.memory import digests
from parambak.reads.pairs import PairScheme
from parambak.swap.guard import ACCEPT_ALONE, Acceptance, cleared, require
from parambak.swap.recording import Release, record_load_file
from parambak.swap.state import accepted_words, notes_on, swap_state
from parambak.swap.unsettled import refuse_unsettled
from parambak.vault.files.given import remove_given

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.dumps.profile import Profile
    from parambak.keeping.state.model import Copy
    from parambak.layouts.decode import Decoded
    from parambak.memory.image import Image
    from parambak.swap.guard import Cleared
    from parambak.swap.state import SwapState

UNVERIFIED = "UNVERIFIED"
SHORT_UNVERIFIED = "UNVERIFD"
_SHORT = re.compile(r"[A-Za-z0-9_-]{1,8}(\.[A-Za-z0-9]{1,3})?")

SHORT_NAME = Fault(
    "load-file-short-name",
    CallRefused,
    "this reader takes only short names, by its profile",
    "Name the file with eight letters or digits at most, a point and three, such as LOAD.HEX.",
)
FORMAT_NEEDED = Fault(
    "load-file-format",
    CallRefused,
    "the format of the file is not stated",
    "Give --as FORMAT, or a --profile that states it.",
)
COPY_LOST = Fault(
    "swap-copy-lost",
    NotFound,
    "the copy that is selected in this swap is no longer on record at {where}",
    "Run `parambak catalogue {where}` to see the copies. Select one with `parambak swap select`.",
)


class SwapLoadFileQuestion(Question["SwapLoadFileAnswer"], frozen=True):
    """The position, and the file `out` that is written, in a format or as a profile has it.

    `pair` splits it over two chips. `accept` are conditions that are accepted unmet, with the
    person `by` and a `reason`.
    """

    where: str
    out: str
    format_name: str | None = None
    profile: str | None = None
    pair: PairScheme | None = None
    accept: tuple[str, ...] = ()
    by: str | None = None
    reason: str | None = None
    replace: bool = False


class FileShown(Part, frozen=True):
    """One file that was written: its SHA-256, its size in bytes, and sums of the bytes in it."""

    file: str
    sha256: str
    size: int
    sum8: str
    sum16: str
    crc32: str


class ValueToCheck(Part, frozen=True):
    """A field and its value, which a person checks at the panel."""

    field: str
    value: str


class SwapLoadFileAnswer(Answer, frozen=True):
    """The first file that was written, and all of them; of which copy, and whether verified.

    `sum16` is of the whole image. Of a copy that is not verified, `check_by_hand` are its values,
    null where there is no layout. `accepted` says in words what was accepted in this swap.
    """

    where: str
    file: str
    sha256: str
    sum16: str
    copy: str | None
    format: str
    verified: bool
    files: tuple[FileShown, ...]
    check_by_hand: tuple[ValueToCheck, ...] | None
    accepted: tuple[str, ...]


class _Target(NamedTuple):
    """How the file is written: its format, the reader's profile, and who asked for what."""

    format_name: str
    profile: Profile | None
    question: SwapLoadFileQuestion


def answer(session: Session, question: SwapLoadFileQuestion) -> SwapLoadFileAnswer:
    """Write the selected copy, and put its release on record; nothing of it if either fails.

    Raise NotProven if a required condition is neither met nor accepted, VaultDamaged if a record
    about the vessel is lost, CallRefused for words that do not go together, and what a file is
    refused for.
    """
    target = _target(question)
    state = swap_state(session.fleet(), session.assessor, question.where)
    refuse_unsettled(state.vessel, state.position, state.swap)
    copy = _copy(state)
    for damage in session.assessor.damaged_files(state.position, copy).values():
        raise damage
    step = cleared(state, Acceptance(question.accept, question.reason, question.by))
    require(step)
    image = session.assessor.image(copy.image)
    with session.vault.writing():
        pass  # a vault that cannot be written is refused before a file of that name is touched
    files, state = _released_files(session, step, copy, image, target)
    session.note(*state.rules.notes, *notes_on(session.vault, state), *_doubts(state))
    return SwapLoadFileAnswer(
        where=state.position.where,
        file=files[0].file,
        sha256=files[0].sha256,
        sum16=digests.sum16(image.content),
        copy=state.evidence.copy,
        format=target.format_name,
        verified=_verified(state),
        files=tuple(files),
        check_by_hand=() if _verified(state) else _by_hand(state.evidence.decoded),
        accepted=accepted_words(session.assessor, state.swap),
    )


def _target(question: SwapLoadFileQuestion) -> _Target:
    """Return how the file is written; raise where the words do not go together."""
    texts = [("name of the person", question.by, NAME), ("reason", question.reason, REMARK)]
    check_texts(texts)
    if question.reason and not question.accept:
        raise ACCEPT_ALONE.error(expected="--accept CONDITION", found="no --accept")
    profile = given_files.profile_file(question.profile).profile if question.profile else None
    format_name = question.format_name or (profile.format if profile else None)
    if format_name is None:
        raise FORMAT_NEEDED.error(expected="--as FORMAT", found="neither --as nor a profile")
    return _Target(format_name, profile, question)


def _verified(state: SwapState) -> bool:
    return state.verdict is not None and state.verdict.verified


def _released_files(
    session: Session, step: Cleared, copy: Copy, image: Image, target: _Target
) -> tuple[list[FileShown], SwapState]:
    """Write the files, put their release on record, read it again; leave none if any fails."""
    question, profile, state = target.question, target.profile, step.state
    unverified = not _verified(state)
    out = _marked(question.out, profile) if unverified else question.out
    files: list[FileShown] = []
    try:
        names = _names(out, profile, question.pair)
        for name, part in _parts(image, names, question.pair):
            files.append(_write(session, part, name, target))
        release = Release(
            target.format_name,
            tuple(file.sha256 for file in files),
            state.swap.id if state.swap is not None else None,
            question.by,
            unverified=unverified,
            conditions=step.readiness.entries,
        )
        accepting = (step, Acceptance(question.accept, question.reason, question.by))
        record_load_file(session.vault, state.position, copy, image, release, accepting=accepting)
        after = swap_state(session.fleet(), session.assessor, question.where)
    except BaseException:  # an interruption too
        for file in files:
            remove_given(file.file)  # what was refused must not lie ready
        raise
    return files, after


def _doubts(state: SwapState) -> tuple[str, ...]:
    """State that the file is written outside any swap, or for a duplicate of the old chip."""
    where = state.position.where
    doubts = []
    if state.swap is None:
        doubts.append(
            f"no swap is open at {where}: who loads this and why is not on record (`swap open`)"
        )
    elif state.swap.route == "move-chip":
        doubts.append("in this swap the old chip is moved: this file is for a duplicate of it")
    return tuple(doubts)


def _copy(state: SwapState) -> Copy:
    """Return the selected copy; raise NotFound where there is none."""
    if state.evidence.selected_lost:
        where = state.position.where
        raise COPY_LOST.error(where=where, expected="the copy chosen", found="none of it")
    if state.copy is None:
        return select.copy_named(state.position, "latest")
    return state.copy


def _marked(out: str, profile: Profile | None) -> str:
    """Return the file's name with the mark that its copy is not verified."""
    path = PurePath(out)
    if not path.name:
        return out  # no file's name: refused where it is written
    if profile is not None and profile.short_names:
        return str(path.with_name(SHORT_UNVERIFIED + path.suffix))
    return str(path.with_name(f"{path.stem}-{UNVERIFIED}{path.suffix}"))


def _names(out: str, profile: Profile | None, pair: PairScheme | None) -> tuple[str, ...]:
    """Return the names of the files, two for a pair; raise where the reader takes no such name."""
    short = profile is not None and profile.short_names
    path = PurePath(out)
    names: tuple[str, ...] = (out,)
    if pair is not None:
        # A reader of short names takes no third part: LOAD.HEX is followed by LOAD2.HEX.
        two = f"{path.stem[:7]}2{path.suffix}"
        second = path.with_name(two) if short and path.name else f"{out}.2"
        names = (out, str(second))
    if short and not _SHORT.fullmatch(path.name):
        raise SHORT_NAME.error(expected="a name such as LOAD.HEX", found=path.name)
    if len(set(names)) < len(names):
        raise SHORT_NAME.error(
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


def _write(session: Session, image: Image, name: str, target: _Target) -> FileShown:
    """Write one file, which reads back as the image; return its digest and sums."""
    from parambak.dumps.dump import Style  # noqa: PLC0415 - only for writing

    profile = target.profile
    base = profile.base if profile is not None else 0
    style = Style(
        record_length=profile.record_length if profile is not None else None,
        base=base if target.format_name == "raw" else 0,
    )
    data, digest = write_dump_file(
        moved(image, base) if base else image,
        name,
        target.format_name,
        style,
        vault=session.vault.root,
        replace=target.question.replace,
    )
    content = image.content
    return FileShown(
        name,
        digest,
        len(data),
        digests.sum8(content),
        digests.sum16(content),
        digests.crc32(content),
    )


def _by_hand(decoded: Decoded | None) -> tuple[ValueToCheck, ...] | None:
    """Return the values that a person checks at the panel; None where there is no layout."""
    if decoded is None:
        return None
    return tuple(
        ValueToCheck(field.field, f"{field.value} {field.unit or ''}".strip())
        for field in decoded.fields
        if not field.running
    )
