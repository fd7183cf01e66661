"""What the bytes of a copy mean, by its layout, and whether its checks hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.copies import given_copy
from parambak.answers.decoded import LayoutUsed, decoded_by, layout_for
from parambak.answers.forms import NO, YES, Answer, Part, Question
from parambak.layouts.verdicts import CheckResult

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.layouts.decode import FieldValue


class DecodeQuestion(Question["DecodeAnswer"], frozen=True):
    """The copy, a dump file or WHERE@WHICH; the layout file, if not that of the copy.

    An older copy has the layout that was attached when it was read.
    """

    copy: str
    layout: str | None = None


class DecodedField(Part, frozen=True):
    """One field: `raw` in hexadecimal as stored, null where absent.

    `value` is an exact decimal or text; `mark` says why there is none, or what is odd.
    `within_limits` is null where there is no limit, or no number to judge.
    """

    field: str
    at: int
    raw: str | None
    value: str | None
    unit: str | None
    within_limits: bool | None
    low: str | None
    high: str | None
    mark: str | None
    running: bool
    volatile: bool
    belongs_to_card: bool


DecodedCheck = CheckResult
"""A check of the answer is the layout's own result."""


class DecodeAnswer(Answer, frozen=True):
    """Every field in address order and every check; of `size` bytes, how many are covered."""

    fields: tuple[DecodedField, ...]
    checks: tuple[DecodedCheck, ...]
    covered_bytes: int
    size: int
    copy: str
    layout: LayoutUsed

    @property
    def exit_code(self) -> int:
        """Return 1 where a check does not hold, or cannot be known to."""
        return YES if all(check.holds is True for check in self.checks) else NO


def answer(session: Session, question: DecodeQuestion) -> DecodeAnswer:
    """Decode the copy; raise CallRefused without a layout, LayoutRefused where it does not fit."""
    copy = given_copy(session, question.copy)
    layout, used = layout_for(copy, question.layout)
    decoded = decoded_by(layout, copy.image)
    return DecodeAnswer(
        fields=tuple(_field_shown(field) for field in decoded.fields),
        checks=decoded.checks,
        covered_bytes=decoded.covered_bytes,
        size=decoded.size,
        copy=copy.name,
        layout=used,
    )


def _field_shown(field: FieldValue) -> DecodedField:
    return DecodedField(
        field=field.field,
        at=field.at,
        raw=field.raw.hex().upper() if field.raw is not None else None,
        value=field.value,
        unit=field.unit,
        within_limits=field.within_limits,
        low=field.low,
        high=field.high,
        mark=field.mark,
        running=field.running,
        volatile=field.volatile,
        belongs_to_card=field.belongs_to_card,
    )
