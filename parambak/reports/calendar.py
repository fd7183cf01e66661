"""What is due, as a calendar: iCalendar, RFC 5545."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from icalendar import Calendar, Event

from parambak.memory.printable import printable
from parambak.version import __version__

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.keeping.due import Due


def calendar(positions: Iterable[Due], made: datetime) -> bytes:
    """Return one event of a whole day for each reason of each position.

    An event keeps its identity from one calendar to the next: a calendar program replaces the
    earlier event.
    """
    book = Calendar()
    book.add("prodid", f"-//parambak//parambak {__version__}//EN")
    book.add("version", "2.0")
    for due in positions:
        for reason in due.reasons:
            event = Event()
            event.add("uid", f"{due.id}-{reason.code}@parambak")
            event.add("dtstamp", made.astimezone(UTC))
            event.add("dtstart", reason.on)
            event.add("dtend", reason.on + timedelta(days=1))
            event.add("summary", printable(f"{due.where}: {reason.code.replace('-', ' ')}"))
            event.add("description", printable(reason.text))
            book.add_component(event)
    data: bytes = book.to_ical()
    return data
