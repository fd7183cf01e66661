"""Units of one layout compared with each other: where one differs from the rest."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers import faults
from parambak.answers.forms import Answer, Part, Question
from parambak.errors import CallRefused, Fault, LayoutRefused, NotFound, VaultDamaged
from parambak.keeping.state import select
from parambak.keeping.state.remarks import on_purpose_marks
from parambak.memory.names import nearest_in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.answers.session import Session
    from parambak.differences.units import Gathered, Unlike
    from parambak.keeping.state.model import Position
    from parambak.keeping.state.remarks import OnPurpose

ON_PURPOSE = Fault(
    "compare-units-on-purpose",
    CallRefused,
    "the field that differs on purpose, or the reason, is missing",
    "Give the position, --on-purpose FIELD and --reason TEXT.",
)
NO_FIELD = Fault(
    "compare-units-no-field",
    NotFound,
    "the layout has no field of that name",
    "Write the name as `parambak decode` shows it, such as channel[3].upper_limit.",
)


class CompareUnitsQuestion(Question["CompareUnitsAnswer"], frozen=True):
    """Whose differences: WHERE or a part of it against the whole fleet; None for all.

    With `on_purpose`, it is first put on record that this field of WHERE differs for `reason`,
    by the person `by`; or with `withdraw`, that it is to be looked at again.
    """

    where: str | None = None
    on_purpose: str | None = None
    reason: str | None = None
    by: str | None = None
    withdraw: bool = False


class UnlikeShown(Part, frozen=True):
    """A value that is unlike the rest; `usual` is the median, or what most hold.

    `score` is the modified z-score, null where rarity was measured: `same` of `units` hold it.
    """

    where: str
    field: str
    value: str
    usual: str
    unit: str | None
    score: str | None
    same: int
    units: int


class GroupShown(Part, frozen=True):
    """The units of one layout, and what is unlike among them, the most unlike first."""

    layout: str
    units: tuple[str, ...]
    different: tuple[UnlikeShown, ...]


class OnPurposeShown(Part, frozen=True):
    """A field that differs on purpose and is left out, and why."""

    where: str
    field: str
    reason: str


class MostUnlike(Part, frozen=True):
    """The position that is most unlike the rest, and the fields in which it is."""

    where: str
    fields: tuple[str, ...]


class CompareUnitsAnswer(Answer, frozen=True):
    """The groups of two or more units; what is left out; `without_layout` was not compared."""

    groups: tuple[GroupShown, ...]
    on_purpose: tuple[OnPurposeShown, ...]
    without_layout: tuple[str, ...]
    most_different: MostUnlike | None


def answer(session: Session, question: CompareUnitsQuestion) -> CompareUnitsAnswer:
    """Hold the newest copies against each other; raise NotFound, CallRefused or VaultDamaged."""
    if question.on_purpose is not None:
        _record_on_purpose(session, question, question.on_purpose)
    fleet = session.fleet()
    where = question.where
    asked = None if where is None else {p.where for p in select.find_positions(fleet, where)}
    groups: dict[str, Gathered] = {}
    marks: list[OnPurpose] = []
    without_layout: list[str] = []
    with session.progress("comparing") as progress:
        for count, vessel in enumerate(fleet.vessels, start=1):
            for position in vessel.positions:
                _take(session, position, groups, without_layout)
            marks += on_purpose_marks(session.vault, vessel)
            vessel.forget()
            progress(count, len(fleet.vessels))
    left_out = {(mark.where, mark.field) for mark in marks}
    compared = [
        (units, [one for one in units.unlike(left_out) if asked is None or one.unit in asked])
        for units in groups.values()
        if len(units.names) > 1 and (asked is None or not asked.isdisjoint(units.names))
    ]
    return CompareUnitsAnswer(
        groups=tuple(
            GroupShown(units.layout.title, tuple(units.names), tuple(map(_shown, unlike)))
            for units, unlike in compared
        ),
        on_purpose=tuple(
            OnPurposeShown(*mark) for mark in marks if asked is None or mark.where in asked
        ),
        without_layout=tuple(without_layout),
        most_different=_most_unlike([one for _, unlike in compared for one in unlike]),
    )


def _record_on_purpose(session: Session, question: CompareUnitsQuestion, field: str) -> None:
    """Put on record that a field differs on purpose; raise if a name is missing."""
    from parambak.keeping.recording.remarks import record_on_purpose  # noqa: PLC0415 - rarely
    from parambak.layouts.plan import plan_of  # noqa: PLC0415 - only where a mark is made

    where, reason = question.where, question.reason
    if where is None or not reason:
        missing = "no WHERE" if where is None else "no reason"
        raise ON_PURPOSE.error(expected="WHERE and --reason TEXT", found=missing)
    position = select.find_position(session.fleet(), where)
    layout = session.assessor.layout_of(position)
    if layout is None or position.latest is None:
        raise faults.LAYOUT_NEEDED.error(expected="a layout", found="none")
    names = [plan.name for plan in plan_of(layout).fields]
    if field not in names:
        raise NO_FIELD.error(expected=nearest_in_words(field, names), found=repr(field[:80]))
    record_on_purpose(
        session.vault,
        where,
        field=field,
        reason=reason,
        by=question.by,
        withdrawn=question.withdraw,
    )


def _take(
    session: Session, position: Position, groups: dict[str, Gathered], without_layout: list[str]
) -> None:
    """Put a position's newest copy with those of the same layout."""
    if position.layout is None or position.latest is None:
        if position.latest is not None:
            without_layout.append(position.where)
        return
    try:
        layout = session.assessor.layout(position.layout)
        image = session.assessor.image(position.latest.image)
    except (LayoutRefused, VaultDamaged):
        without_layout.append(position.where)
        return
    parts = ",".join(part.sha256 for part in position.layout.parts)
    key = f"{position.layout.sha256},{parts}"
    if key not in groups:
        from parambak.differences.units import Gathered  # noqa: PLC0415 - slow to import, layouts only

        groups[key] = Gathered(layout)
    groups[key].take(position.where, image)


def _shown(value: Unlike) -> UnlikeShown:
    score = f"{value.score:.1f}" if value.score is not None else None
    return UnlikeShown(*value[:5], score, value.same, value.units)


def _most_unlike(values: Sequence[Unlike]) -> MostUnlike | None:
    """Return the position whose values are the most surprising together; None where none is."""
    bits: dict[str, float] = {}
    for value in values:
        bits[value.unit] = bits.get(value.unit, 0.0) + value.bits
    if not bits:
        return None
    where = max(bits, key=lambda unit: bits[unit])
    return MostUnlike(where, tuple(value.field for value in values if value.unit == where))
