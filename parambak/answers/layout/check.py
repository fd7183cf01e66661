"""Every mistake of a layout at once; where there is none, what it covers."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

from parambak.answers.forms import NO, YES, Answer, Part, Question, RangeShown, range_shown
from parambak.answers.given_files import TEXT_BYTES
from parambak.layouts import coverage
from parambak.layouts.load import check, load
from parambak.vault.files.given import read_beside, read_given

if TYPE_CHECKING:
    from parambak.answers.session import Session


class LayoutCheckQuestion(Question["LayoutCheckAnswer"], frozen=True):
    """The layout file; what it includes stands in its folder."""

    file: str


class ProblemShown(Part, frozen=True):
    """One mistake: its line counts from 1; `file` is the one that it stands in."""

    code: str
    text: str
    file: str
    line: int | None
    key: str | None
    expected: str | None
    found: str | None
    next: str


class LayoutCheckAnswer(Answer, frozen=True):
    """The mistakes by line; where there are none, what is covered of `size` bytes, and the gaps."""

    problems: tuple[ProblemShown, ...]
    covered_bytes: int | None = None
    gaps: tuple[RangeShown, ...] = ()
    size: int | None = None

    @property
    def exit_code(self) -> int:
        """Return 1 where there is a mistake."""
        return NO if self.problems else YES


def answer(session: Session, question: LayoutCheckQuestion) -> LayoutCheckAnswer:
    """Check the file and what it includes; raise NotFound or CallRefused where it is no file."""
    del session
    path = question.file
    data = read_given(path, TEXT_BYTES).data
    name = PurePath(path).name

    def include(part: str) -> bytes:
        return read_beside(path, part, TEXT_BYTES)

    mistakes = check(data, name=name, include=include)
    if mistakes:
        return LayoutCheckAnswer(
            problems=tuple(
                ProblemShown(**{**mistake._asdict(), "file": mistake.file or path})
                for mistake in mistakes
            )
        )
    layout = load(data, name=name, include=include)
    return LayoutCheckAnswer(
        problems=(),
        covered_bytes=coverage.covered_bytes(layout),
        gaps=tuple(map(range_shown, coverage.gaps(layout))),
        size=layout.memory,
    )
