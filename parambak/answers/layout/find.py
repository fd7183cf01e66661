"""Where values as shown may be stored, and which bytes may be checks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.copies import given_copies
from parambak.answers.forms import NO, YES, Answer, Part, Question
from parambak.errors import in_file
from parambak.find.draft import draft
from parambak.find.panel_values import MOST_BYTES, parse
from parambak.find.search import search
from parambak.vault.files.given import read_given, write_given

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.find.checks import LikelyCheck
    from parambak.find.search import Candidate, ValueResult


class LayoutFindQuestion(Question["LayoutFindAnswer"], frozen=True):
    """The copies in the order of the file's values; `out` is a layout file to write."""

    copies: tuple[str, ...]
    values: str
    out: str | None = None
    replace: bool = False


class CandidateShown(Part, frozen=True):
    """A place and a form in which a value may be stored; `odds` to one, 0 below that.

    value = stored number * scale / 2^fraction; `length` is in bytes.
    """

    at: int
    length: int
    type: str
    byte_order: str | None
    scale: str | None
    fraction: int | None
    encoding: str | None
    mirror_at: tuple[int, ...]
    odds: int
    evidence: tuple[str, ...]


class ValueShown(Part, frozen=True):
    """A value of the file, as shown at each copy (null where not seen), and its candidates.

    `crowded` says that it stands in too many places to tell.
    """

    name: str
    confident: bool
    crowded: bool
    candidates: tuple[CandidateShown, ...]
    shown: tuple[str | None, ...]
    unit: str | None


class CheckCandidate(Part, frozen=True):
    """A stored value that may be a check over the range, both ends included."""

    method: str
    at: int
    length: int
    byte_order: str
    over: tuple[int, int]
    confident: bool
    odds: int
    evidence: tuple[str, ...]


class LayoutFindAnswer(Answer, frozen=True):
    """Where each value may be stored, the likely checks and the notes; the layout, or null."""

    values: tuple[ValueShown, ...]
    checks: tuple[CheckCandidate, ...]
    notes: tuple[str, ...]
    layout: str | None

    @property
    def exit_code(self) -> int:
        """Return 1 where neither a value nor a check was found with confidence."""
        sure = any(value.confident for value in self.values)
        return YES if sure or any(check.confident for check in self.checks) else NO


def answer(session: Session, question: LayoutFindQuestion) -> LayoutFindAnswer:
    """Search the copies; raise CallRefused for the file of values, and what a COPY raises."""
    data = read_given(question.values, MOST_BYTES).data
    with in_file(question.values):
        values = parse(data, len(question.copies))
    copies = given_copies(session, question.copies)
    result = search(values.panel_values, [copy.image for copy in copies])
    if question.out is not None:
        text = draft(result, [copy.name for copy in copies])
        write_given(question.out, text.encode("utf-8"), replace=question.replace)
    return LayoutFindAnswer(
        values=tuple(_value_shown(value) for value in result.values),
        checks=tuple(_check_shown(check) for check in result.checks),
        notes=(*values.notes, *result.notes),
        layout=question.out,
    )


def _value_shown(value: ValueResult) -> ValueShown:
    return ValueShown(
        name=value.panel_value.name,
        confident=value.confident,
        crowded=value.crowded,
        candidates=tuple(_candidate_shown(candidate) for candidate in value.candidates),
        shown=tuple(None if shown is None else shown.text for shown in value.panel_value.shown),
        unit=value.panel_value.unit,
    )


def _candidate_shown(candidate: Candidate) -> CandidateShown:
    interpretation = candidate.interpretation
    return CandidateShown(
        at=candidate.at,
        length=candidate.length,
        type=interpretation.type.name,
        byte_order=interpretation.order,
        scale=interpretation.scale_text,
        fraction=interpretation.fraction or None,
        encoding=interpretation.encoding,
        mirror_at=candidate.mirror_at,
        odds=candidate.odds,
        evidence=candidate.evidence,
    )


def _check_shown(check: LikelyCheck) -> CheckCandidate:
    return CheckCandidate(
        method=check.method,
        at=check.at,
        length=check.length,
        byte_order=check.byte_order,
        over=check.over,
        confident=check.confident,
        odds=check.odds,
        evidence=check.evidence,
    )
