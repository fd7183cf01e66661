"""The line that closes each vessel's history as of now, to be written down elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Part, Question
from parambak.keeping.state import seal, select

if TYPE_CHECKING:
    from parambak.answers.session import Session


class SealQuestion(Question["SealAnswer"], frozen=True):
    """The names of the vessels; none for all."""

    vessels: tuple[str, ...] = ()


class LineShown(Part, frozen=True):
    """One vessel's line: as it is written down, its records, the first digits of the newest."""

    vessel: str
    line: str
    records: int
    ends: tuple[str, ...]


class SealAnswer(Answer, frozen=True):
    """A line for each vessel."""

    lines: tuple[LineShown, ...]


def answer(session: Session, question: SealQuestion) -> SealAnswer:
    """Return the lines; raise NotFound or CallRefused for a name."""
    fleet = session.fleet()
    vessels = [select.find_vessel(fleet, name) for name in question.vessels] or fleet.vessels
    lines = []
    for vessel in vessels:
        histories = (session.vault.records(identity) for identity in sorted(vessel.ids))
        line = seal.line_of(vessel.handle, histories)
        shown = LineShown(line.name, seal.write(line), line.records, line.ends)
        lines.append(shown)
    return SealAnswer(lines=tuple(lines))
