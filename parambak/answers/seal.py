"""The seal of each vessel's history as it is now, to be written down elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Part, Question
from parambak.keeping.state import seal, select

if TYPE_CHECKING:
    from parambak.answers.session import Session


class SealQuestion(Question["SealAnswer"], frozen=True):
    """The names of the vessels; none for all."""

    vessels: tuple[str, ...] = ()


class SealShown(Part, frozen=True):
    """One vessel's seal: as it is written down, its records, the first digits of the newest."""

    vessel: str
    seal: str
    records: int
    ends: tuple[str, ...]


class SealAnswer(Answer, frozen=True):
    """A seal for each vessel."""

    seals: tuple[SealShown, ...]


def answer(session: Session, question: SealQuestion) -> SealAnswer:
    """Return the seals; raise NotFound or CallRefused for a name."""
    fleet = session.fleet()
    vessels = [select.find_vessel(fleet, name) for name in question.vessels] or fleet.vessels
    seals = []
    for vessel in vessels:
        histories = (session.vault.records(identity) for identity in sorted(vessel.ids))
        sealed = seal.seal_of(vessel.handle, histories)
        shown = SealShown(sealed.name, seal.write(sealed), sealed.records, sealed.ends)
        seals.append(shown)
    return SealAnswer(seals=tuple(seals))
