"""What is due: positions to read again, or to send to a second location, the most urgent first."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.model import Condition
    from parambak.keeping.state.rules import Rules

NOT_VERIFIED = "not-verified"
ONE_READ = "one-read"
TOO_OLD = "too-old"
ONE_LOCATION = "one-location"
URGENCY = (NOT_VERIFIED, ONE_READ, TOO_OLD, ONE_LOCATION)  # the most urgent first


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


class PositionStatus(NamedTuple):
    """What is known of a position's copies.

    `unmet` are the conditions that the newest copy does not meet; `reads` is how many
    reads it ever had; `verified_on` the day of the newest read of a verified copy, None
    where there is none; `locations` are those beside the vault that were shown to hold the
    newest copy.
    """

    where: str
    id: str
    newest_on: date
    unmet: Sequence[Condition]
    reads: int
    verified_on: date | None
    locations: Sequence[str]


def due_of(known: PositionStatus, rules: Rules) -> Due | None:
    """Return why and from when a position is due; None where nothing ever makes it so."""
    reasons = [*_read_again(known), *_by_age(known, rules), *_by_places(known, rules)]
    if not reasons:
        return None
    ordered = sorted(reasons, key=lambda reason: URGENCY.index(reason.code))
    return Due(known.where, known.id, tuple(ordered))


def _read_again(known: PositionStatus) -> list[Reason]:
    if known.reads < 2:
        text = "it was read only once: read the chip a second time"
        others = [each for each in known.unmet if each.condition != "read-twice"]
        found = [Reason(ONE_READ, known.newest_on, text)]
        return [*_failed(known, others), *found]
    return _failed(known, known.unmet)


def _failed(known: PositionStatus, unmet: Sequence[Condition]) -> list[Reason]:
    if not unmet:
        return []
    words = "; ".join(f"{each.condition}: {each.text}" for each in unmet)
    return [Reason(NOT_VERIFIED, known.newest_on, f"the newest copy is not verified: {words}")]


def _by_age(known: PositionStatus, rules: Rules) -> list[Reason]:
    if rules.verified_months is None or known.verified_on is None:
        return []
    on = months_later(known.verified_on, rules.verified_months)
    allowed = counted(rules.verified_months, "month")
    text = f"the verified copy is of {known.verified_on}, and the ship's rules allow {allowed}"
    return [Reason(TOO_OLD, on, text)]


def _by_places(known: PositionStatus, rules: Rules) -> list[Reason]:
    wanted = rules.backup_locations if rules.backup_locations is not None else 1
    if len(known.locations) >= wanted:
        return []
    held = ", ".join(known.locations) or "no other backup location"
    text = f"held in {held}; wanted in {counted(wanted, 'location')} beside this vault"
    return [Reason(ONE_LOCATION, known.newest_on, text)]


def months_later(day: date, months: int) -> date:
    """Return the day so many months later; the last of the month where it has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    for last in (day.day, 30, 29, 28):
        try:
            return date(year, month + 1, min(last, day.day))
        except ValueError:
            continue
    raise ValueError(f"no such day {months} months after {day}")


def most_urgent_first(found: Sequence[Due], today: date) -> tuple[Due, ...]:
    """Return what is due by today, and then what comes later, by day.

    Of what is due the sort of reason goes first, then how long it has been due.
    """

    def key(each: Due) -> tuple[int, int, date, str]:
        passed = [reason for reason in each.reasons if reason.on <= today]
        if not passed:
            return (1, 0, each.on, each.where)
        worst = min(passed, key=lambda reason: (URGENCY.index(reason.code), reason.on))
        return (0, URGENCY.index(worst.code), worst.on, each.where)

    return tuple(sorted(found, key=key))
