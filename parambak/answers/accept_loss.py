"""A person goes on without what is lost, by name and reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.errors import ParambakError
from parambak.keeping.recording.losses import accept_loss
from parambak.keeping.state import select
from parambak.keeping.state.losses import losses, repair_sources
from parambak.vault.objects import file_of

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.keeping.state.losses import Loss


class AcceptLossQuestion(Question["AcceptLossAnswer"], frozen=True):
    """The vessel, unit or position, the person who accepts the loss, and why."""

    where: str
    by: str
    reason: str


class AcceptLossAnswer(Answer, frozen=True):
    """The files that were accepted as lost, each in words, and for which positions."""

    where: str
    lost: tuple[str, ...]
    positions: tuple[str, ...]


def answer(session: Session, question: AcceptLossQuestion) -> AcceptLossAnswer:
    """Put the acceptance on record; raise CallRefused where nothing is lost, NotFound.

    A backup location that is recorded as holding some of it is noted.
    """
    vault = session.vault
    lost = _lost_objects(session, question.where)
    accepted = accept_loss(
        vault,
        question.where,
        reason=question.reason,
        by=question.by,
        objects={digest: loss.where or "" for digest, loss in lost.items()},
    )
    sources = repair_sources(vault, {file_of(d): (loss,) for d, loss in lost.items()})
    session.note(
        *(
            f"backup location {source.location} held some of it on {source.on}: `parambak backup "
            f"send {source.location}` fetches it back"
            for source in sources[:1]
        )
    )
    return AcceptLossAnswer(
        where=question.where,
        lost=(
            *(record.text for record in accepted.records),
            *(f"{file_of(digest)}: {lost[digest].text}" for digest in accepted.objects),
        ),
        positions=tuple(position.where for position in accepted.positions),
    )


def _lost_objects(session: Session, where: str) -> dict[str, Loss]:
    """Return the objects that the vessel's records name and that are lost, each with its loss."""
    vault, fleet = session.vault, session.fleet()
    vessel = select.vessel_at(fleet, where)
    histories = [vault.records(identity) for identity in sorted(vessel.ids)]
    named = sorted({d for history in histories for s in history for d in s.record.objects})
    damaged = {}
    with session.progress("checking") as progress:
        for count, digest in enumerate(named, start=1):
            try:
                vault.read_object(digest)
            except ParambakError:
                damaged[file_of(digest)] = digest
            progress(count, len(named))
    by_file = losses(fleet, histories, damaged)
    return {damaged[file]: of_file[0] for file, of_file in by_file.items() if of_file}
