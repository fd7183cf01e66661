"""The person who does it: named in the call, else as remembered on this laptop."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.errors import ParambakError
from parambak.keeping.recording.texts import NAME, check_texts
from parambak.keeping.state.visits import open_visits
from parambak.vault.own import Own

if TYPE_CHECKING:
    from parambak.answers.session import Session


def person_of(session: Session, by: str | None) -> str | None:
    """Return the person named, else the one remembered, with a note; None without either."""
    if by:
        return by
    name = Own(session.folders.own_folder).person()
    if name is not None:
        session.note(f"by {name}, as remembered on this laptop; --by names another person")
    return name


def person_missing(session: Session, vessel: str | None) -> bool:
    """Return whether no person is known for what is put on record: remembered or of the visit.

    `vessel` is the vessel named, None for that of the open visit.
    """
    if Own(session.folders.own_folder).person() is not None:
        return False
    try:
        visits = open_visits(session.fleet(), session.vault.writer)
    except ParambakError:
        return True  # the command itself names what is wrong
    of_vessel = [visit for handle, visit in visits if vessel in (None, handle)]
    return not any(visit.by for visit in of_vessel)


def remember_person(session: Session, name: str) -> str:
    """Remember a person's name on this laptop; return the file that has it."""
    check_texts([("name of the person", name, NAME)])
    return Own(session.folders.own_folder).remember_person(name)
