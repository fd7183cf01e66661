from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from parambak.keeping.state.fold import last_full_recheck
from parambak.vault.records import Clock, Record, Stored, encode, file_of

HERE, THERE = "a" * 64, "b" * 64


def stored(day: str, kind: str = "recheck", **body: Any) -> Stored:
    """Return a record of a recheck, written on a day."""
    record = Record(
        format=1,
        kind=kind,
        after=(),
        clock=Clock(utc=f"{day}T09:00:00Z", offset=60),
        writer="0b" * 16,
        objects=(),
        body={"objects": 1, "records": 1, "damaged": 0, **body},
    )
    digest, _ = encode(record)
    return Stored(digest, record, file_of(digest))


def day(text: str, hour: int = 9) -> datetime:
    """Return a moment of a day, UTC."""
    return datetime.fromisoformat(text).replace(hour=hour, tzinfo=UTC)


SOUND = stored("2026-03-01", folder=HERE)
DAMAGED = stored("2026-04-01", folder=HERE, damaged=1)
CYCLE = stored("2026-05-09", folder=HERE, since="2026-05-01T09:00:00Z")


@pytest.mark.parametrize(
    ("records", "folder", "sound", "expected"),
    [
        ([SOUND], HERE, True, day("2026-03-01")),
        ([SOUND, DAMAGED], HERE, True, day("2026-03-01")),
        ([SOUND, DAMAGED], HERE, False, day("2026-04-01")),
        ([CYCLE, SOUND], HERE, True, day("2026-05-01")),
        ([SOUND], THERE, True, None),
        ([SOUND], None, True, None),
        ([stored("2026-03-01")], HERE, True, None),
        ([stored("2026-03-01", kind="note", folder=HERE)], HERE, True, None),
        ([stored("2026-03-01", folder=HERE, since="2026-03-01")], HERE, True, None),
        ([stored("2026-03-01", folder=HERE, damaged="none")], HERE, False, None),
        ([stored("2026-03-01", folder=HERE, since="0001-01-01T00:00:00+23:59")], HERE, True, None),
    ],
)
def test_the_date_since_which_all_had_been_read(
    records: list[Stored], folder: str | None, sound: bool, expected: datetime | None
) -> None:
    """The newest of this very folder; of a cycle its beginning; hostile members tell nothing."""
    assert last_full_recheck(records, folder, sound=sound) == expected
