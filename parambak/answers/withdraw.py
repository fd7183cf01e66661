"""Records that a person takes back: they stay on record, and count nowhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers import faults
from parambak.answers.forms import Answer, Question
from parambak.answers.withdrawn_shown import LeftShown, WithdrawnShown, left_at, withdrawn_shown
from parambak.keeping.recording.withdrawing import withdraw
from parambak.keeping.state import select
from parambak.swap.swaps import at_work, swaps_at

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.keeping.state.model import Position


class WithdrawQuestion(Question["WithdrawAnswer"], frozen=True):
    """What is withdrawn, the reason, and the person; without one, that of the open visit.

    `where` is a COPY: all reads that one `archive` kept with its newest read, or those of them in
    `read`. Or it is a position, a unit or a card; with `remark` or `measured` one record there.
    Reads are named by their dump files, a remark by its first words, a measurement by its day.
    Each can be named by the first eight digits of its record.
    """

    where: str
    reason: str
    by: str | None = None
    read: tuple[str, ...] = ()
    remark: str | None = None
    measured: str | None = None


class WithdrawAnswer(Answer, frozen=True):
    """The records that no longer count, and what is left at their positions."""

    withdrawn: tuple[WithdrawnShown, ...]
    left: tuple[LeftShown, ...]


def answer(session: Session, question: WithdrawQuestion) -> WithdrawAnswer:
    """Withdraw; raise NotFound, CallRefused, VaultRefused, or VaultDamaged for unsound records."""
    if not (question.read or question.remark or question.measured):
        _refuse_open_swap(session, question.where)
    taken_back = withdraw(
        session.vault,
        question.where,
        reads=question.read,
        remark=question.remark,
        measured=question.measured,
        by=question.by,
        why=question.reason,
    )
    shown = withdrawn_shown(session, taken_back.records, taken_back.before)
    return WithdrawAnswer(withdrawn=shown, left=left_at(session, (s.where for s in shown)))


def _refuse_open_swap(session: Session, where: str) -> None:
    """Raise if a swap is open at a position that would be withdrawn with all on record there."""
    parts = select.parse_where(where)
    if "@" in where or parts.holder is None:
        return
    vessel = select.vessel_at(session.fleet(), where)
    if parts.position is not None:
        positions: tuple[Position, ...] = (select.find_position(session.fleet(), where),)
    else:
        positions = select.find_holder(vessel, parts.holder).positions
    for position in positions:
        if at_work(swaps_at(session.vault, vessel, position)) is not None:
            raise faults.WITHDRAW_OPEN_SWAP.error(
                where=position.where, expected="no open swap", found=position.where
            )
