"""What is due: positions to read again, or to send to a second location, the most urgent first."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.verified import READ_TWICE, STABLE
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.model import Condition
    from parambak.keeping.state.rules import Rules

UNFINISHED_SWAP = "unfinished-swap"
UNSTABLE = "unstable"
FADING = "fading"
NOT_VERIFIED = "not-verified"
ONE_READ = "one-read"
TOO_OLD = "too-old"
ONE_LOCATION = "one-location"
# The most urgent first.
URGENCY = (
    UNFINISHED_SWAP,
    UNSTABLE,
    NOT_VERIFIED,
    ONE_READ,
    TOO_OLD,
    ONE_LOCATION,
    FADING,
)


class Reason(NamedTuple):
    """One reason why a position is due: from which day on, and in words."""

    code: str
    on: date
    text: str


class Due(NamedTuple):
    """A position with all its reasons, the most urgent first."""

    where: str
    id: str
    reasons: tuple[Reason, ...]

    @property
    def on(self) -> date:
        """Return the day from which the position is due."""
        return min(reason.on for reason in self.reasons)


class Unfinished(NamedTuple):
    """A swap that ended unfinished: the day, what is missing now, by name, and how it ended."""

    on: date
    missing: Sequence[str]
    how: str


class PositionStatus(NamedTuple):
    """What is recorded of a position's copies.

    `unmet` are the conditions that the newest copy does not meet; `reads` is how many reads the
    position ever had; `verified_on` the day of the newest read of a verified copy, None without
    one; `locations` are the backup locations that are recorded as holding the newest copy; `fading`
    are the fields and addresses that may be fading. `unfinished` is the swap here that ended
    unfinished, if there is one.
    """

    where: str
    id: str
    newest_on: date
    unmet: Sequence[Condition]
    reads: int
    verified_on: date | None
    locations: Sequence[str]
    fading: Sequence[str] = ()
    unfinished: Unfinished | None = None


def due_of(status: PositionStatus, rules: Rules) -> Due | None:
    """Return why and from when a position is due; None if nothing ever makes it so."""
    reasons = [
        *_unfinished(status),
        *_failing_chip(status),
        *_read_again(status),
        *_by_age(status, rules),
        *_by_locations(status, rules),
    ]
    if not reasons:
        return None
    ordered = sorted(reasons, key=lambda reason: URGENCY.index(reason.code))
    return Due(status.where, status.id, tuple(ordered))


def _unfinished(status: PositionStatus) -> list[Reason]:
    if status.unfinished is None:
        return []
    swap = status.unfinished
    listed = ", ".join(swap.missing) or "its closing"
    text = f"the swap was {swap.how} on {swap.on}; still missing: {listed}"
    return [Reason(UNFINISHED_SWAP, swap.on, text)]


def _failing_chip(status: PositionStatus) -> list[Reason]:
    """Return that the chip reads differently, or that its cells may be fading."""
    reasons = [
        Reason(UNSTABLE, status.newest_on, f"unstable: {condition.text}")
        for condition in status.unmet
        if condition.condition == STABLE
    ]
    if status.fading:
        text = f"{', '.join(status.fading)} may be fading: replace the chip"
        reasons.append(Reason(FADING, status.newest_on, text))
    return reasons


def _read_again(status: PositionStatus) -> list[Reason]:
    unmet = [condition for condition in status.unmet if condition.condition != STABLE]
    if status.reads < 2:
        text = "the chip was read only once: read it a second time"
        unmet = [condition for condition in unmet if condition.condition != READ_TWICE]
        return [*_not_verified(status, unmet), Reason(ONE_READ, status.newest_on, text)]
    return _not_verified(status, unmet)


def _not_verified(status: PositionStatus, unmet: Sequence[Condition]) -> list[Reason]:
    if not unmet:
        return []
    words = "; ".join(f"{condition.condition}: {condition.text}" for condition in unmet)
    return [Reason(NOT_VERIFIED, status.newest_on, f"the newest copy is not verified: {words}")]


def _by_age(status: PositionStatus, rules: Rules) -> list[Reason]:
    if rules.verified_months is None or status.verified_on is None:
        return []
    on = months_later(status.verified_on, rules.verified_months)
    allowed = counted(rules.verified_months, "month")
    text = f"the verified copy is of {status.verified_on}; the ship's rules allow {allowed}"
    return [Reason(TOO_OLD, on, text)]


def _by_locations(status: PositionStatus, rules: Rules) -> list[Reason]:
    required = rules.backup_locations if rules.backup_locations is not None else 1
    if len(status.locations) >= required:
        return []
    held = ", ".join(status.locations) or "no backup location"
    text = f"held in {held}; required in {counted(required, 'backup location')}"
    return [Reason(ONE_LOCATION, status.newest_on, text)]


def months_later(day: date, months: int) -> date:
    """Return the day so many months later; the last of a month that has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    for last in (day.day, 30, 29, 28):
        try:
            return date(year, month + 1, min(last, day.day))
        except ValueError:
            continue
    raise ValueError(f"no such day {months} months after {day}")


def most_urgent_first(positions: Sequence[Due], today: date) -> tuple[Due, ...]:
    """Return what is due by today, and then what comes later, by day.

    Of what is due, the kind of reason goes first, then how long it has been due.
    """

    def key(due: Due) -> tuple[int, int, date, str]:
        passed = [reason for reason in due.reasons if reason.on <= today]
        if not passed:
            return (1, 0, due.on, due.where)
        worst = min(passed, key=lambda reason: (URGENCY.index(reason.code), reason.on))
        return (0, URGENCY.index(worst.code), worst.on, due.where)

    return tuple(sorted(positions, key=key))
