"""`catalogue`: what the vault holds, and which of it is verified."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping import select
from parambak.keeping.assess import Assessor
from parambak.keeping.fold import fleet
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from datetime import datetime

    from parambak.cli.screen import Screen
    from parambak.keeping.known import Fleet, Position


@parambak_command("catalogue", example="parambak catalogue grebe/port-thruster")
@click.argument("where", metavar="[WHERE]", required=False)
@pass_settings
def command(settings: Settings, where: str | None) -> Answer:
    """List every position at WHERE or a part of it, with its copies.

    WHERE is VESSEL/UNIT/POSITION; VESSEL or VESSEL/UNIT lists all below.
    """
    vault = store.open_vault(settings)
    known = fleet(vault)
    assessor = Assessor(vault, store.chip_table())
    positions = select.find_positions(known, where)
    documents = [_document(assessor, known, position) for position in positions]
    return Answer(
        {"positions": documents},
        lambda screen: _page(screen, known, documents, whole=where is None),
        warnings=(
            *store.warnings_of(vault),
            *(f"left out, {file}: {text}" for file, text in known.damaged),
        ),
    )


def _document(assessor: Assessor, known: Fleet, position: Position) -> dict[str, Any]:
    latest = position.latest
    verdict = assessor.verdict(position, latest) if latest else None
    unmet = verdict.unmet if verdict else ()
    return {
        "where": position.where,
        "copies": len(position.copies),
        "latest": select.copy_name(position, latest) if latest else None,
        "sha256": latest.sha256 if latest else None,
        "verified": bool(verdict and verdict.verified),
        "reconstructed": bool(latest and latest.reconstructed),
        "read_on": latest.newest.read_on.isoformat() if latest else None,
        "hashed_on": _hashed_on(known, position),
        "unmet": [{"condition": each.condition, "text": each.text} for each in unmet],
        "notes": _notes(position),
    }


def _hashed_on(known: Fleet, position: Position) -> str | None:
    """Return the day on which the latest copy's bytes were last hashed on record."""
    moments: list[datetime] = [known.rechecked] if known.rechecked else []
    if position.latest:
        moments += [read.taken_in for read in position.latest.reads]
    return max(moments).date().isoformat() if moments else None


def _notes(position: Position) -> list[str]:
    notes = []
    if position.out_of_order:
        notes.append("the newest read by date is not the one put on record last")
    notes += [f"normal here: {n.code}, {n.reason}" for n, _ in position.normal]
    return notes


def _page(screen: Screen, known: Fleet, documents: list[dict[str, Any]], *, whole: bool) -> None:
    if not documents:
        screen.say("Nothing is on record here yet. Begin with `parambak archive`.")
        return
    screen.table(
        ("where", "copies", "read", "digest", "hashed", "state"),
        [_row(document) for document in documents],
        right=(1,),
    )
    screen.say()
    for document in documents:
        _wanting(screen, document)
    _conflicts(screen, known, whole=whole)
    wanting = sum(1 for document in documents if not document["verified"])
    if wanting:
        screen.bad(f"{wanting} of {counted(len(documents), 'position')} without a verified copy.")
    else:
        screen.good(f"Verified: the latest copy of {counted(len(documents), 'position')}.")


def _row(document: dict[str, Any]) -> tuple[str, ...]:
    return (
        document["where"],
        str(document["copies"]),
        document["read_on"] or "never",
        (document["sha256"] or "")[:8],
        document["hashed_on"] or "never",
        _state(document),
    )


def _state(document: dict[str, Any]) -> str:
    if document["reconstructed"]:
        return "RECONSTRUCTED"
    return "verified" if document["verified"] else "NOT VERIFIED"


def _wanting(screen: Screen, document: dict[str, Any]) -> None:
    for each in document["unmet"]:
        screen.say(f"{document['where']}: {each['condition']}: {each['text']}", indent=2)
    for note in document["notes"]:
        screen.say(f"{document['where']}: note: {note}", indent=2)


def _conflicts(screen: Screen, known: Fleet, *, whole: bool) -> None:
    """Say which facts two records tell differently, neither knowing of the other."""
    if not whole:
        return
    for vessel in known.vessels:
        told = [(vessel.handle, vessel.conflicts)]
        told += [(holder.where, holder.conflicts) for holder in vessel.holders]
        told += [(position.where, position.conflicts) for position in vessel.positions]
        for name, conflicts in told:
            for conflict in conflicts:
                values = " and ".join(conflict.values)
                screen.say(f"{name}: {conflict.fact} is told as {values}; settle it with `amend`")
