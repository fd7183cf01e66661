"""What is due: each reason alone, when, and the most urgent first."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.keeping.due import (
    Due,
    PositionStatus,
    Reason,
    due_of,
    months_later,
    most_urgent_first,
)
from parambak.keeping.state.model import Condition
from parambak.keeping.state.rules import CAREFUL, Rules

OWNER = Rules(title="owner", verified_months=12, backup_locations=1)
DAY = date(2026, 3, 1)


def known(**changed: Any) -> PositionStatus:
    """Return a position of which nothing is due, except what is changed."""
    sound: dict[str, Any] = {
        "where": "grebe/port/U12",
        "id": "ab" * 16,
        "newest_on": DAY,
        "unmet": (),
        "reads": 2,
        "verified_on": DAY,
        "locations": ("office",),
    }
    return PositionStatus(**(sound | changed))


def told(found: Due | None) -> list[tuple[str, date]]:
    """Return the reasons' codes and days."""
    return [(each.code, each.on) for each in found.reasons] if found else []


FAILED = (Condition.no("plausible", "all FF"), Condition.no("read-twice", "1 read only"))


@pytest.mark.parametrize(
    ("changed", "rules", "reasons"),
    [
        ({}, CAREFUL, []),
        ({}, OWNER, [("too-old", date(2027, 3, 1))]),
        ({"verified_on": None}, OWNER, []),
        ({"locations": ()}, CAREFUL, [("one-location", DAY)]),
        ({"locations": ()}, Rules(title="owner", backup_locations=0), []),
        (
            {"locations": ("a", "b")},
            Rules(title="owner", backup_locations=3),
            [("one-location", DAY)],
        ),
        ({"reads": 1, "unmet": FAILED[1:]}, CAREFUL, [("one-read", DAY)]),
        ({"reads": 1, "unmet": FAILED}, CAREFUL, [("not-verified", DAY), ("one-read", DAY)]),
        ({"unmet": FAILED}, CAREFUL, [("not-verified", DAY)]),
    ],
)
def test_each_reason_is_told_for_itself(
    changed: dict[str, Any], rules: Rules, reasons: list[tuple[str, date]]
) -> None:
    """By the rules where they say, by the default rules where they do not."""
    assert told(due_of(known(**changed), rules)) == reasons


def test_the_words_name_what_is_wrong() -> None:
    """Each failed condition, the day of the copy, and the backup locations."""
    found = due_of(known(reads=1, unmet=FAILED, locations=()), OWNER)
    assert found is not None
    words = " ".join(each.text for each in found.reasons)
    for part in ("all FF", "second time", "2026-03-01", "12 months", "no backup location"):
        assert part in words


def due(where: str, *reasons: tuple[str, str]) -> Due:
    """Return a position due for these reasons."""
    found = tuple(Reason(code, date.fromisoformat(on), "") for code, on in reasons)
    return Due(where, "ab" * 16, found)


def test_the_most_urgent_goes_first() -> None:
    """By the sort of reason, then by how long; what is not yet due comes last, by day."""
    given_ = [
        due("later", ("too-old", "2027-06-01")),
        due("sooner", ("too-old", "2027-05-01")),
        due("location", ("one-location", "2020-01-01")),
        due("old", ("too-old", "2026-10-01"), ("one-location", "2019-01-01")),
        due("older", ("too-old", "2025-10-01")),
        due("once", ("one-read", "2026-11-01")),
        due("bad", ("not-verified", "2026-11-20")),
    ]
    found = most_urgent_first(given_, date(2026, 11, 25))
    assert [each.where for each in found] == [
        "bad",
        "once",
        "older",
        "old",
        "location",
        "sooner",
        "later",
    ]


@pytest.mark.parametrize(
    ("day", "months", "later"),
    [
        ("2026-01-31", 1, "2026-02-28"),
        ("2024-01-31", 1, "2024-02-29"),
        ("2026-11-30", 3, "2027-02-28"),
        ("2026-12-15", 12, "2027-12-15"),
        ("2024-02-29", 12, "2025-02-28"),
        ("2026-08-31", 1, "2026-09-30"),
    ],
)
def test_months_later_is_the_same_day_or_the_last_of_the_month(
    day: str, months: int, later: str
) -> None:
    """As people count months."""
    assert months_later(date.fromisoformat(day), months) == date.fromisoformat(later)


@given(st.dates(max_value=date(2800, 1, 1)), st.integers(0, 1200))
def test_months_later_is_always_a_day_of_that_month(day: date, months: int) -> None:
    """Never beyond it, never a later day of the month."""
    later = months_later(day, months)
    assert (later.year * 12 + later.month) - (day.year * 12 + day.month) == months
    assert later.day <= day.day
    assert later.day == day.day or later.day >= 28
