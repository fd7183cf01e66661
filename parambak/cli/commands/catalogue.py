"""`catalogue`: what the vault holds, and which of it is verified."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.progress import Progress
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.assess import Assessor
from parambak.keeping.state import select
from parambak.keeping.state.backups import Holdings
from parambak.keeping.state.cards import exchange_notes
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.model import Unit
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from parambak.cli.screen import Screen
    from parambak.keeping.state.model import Conflict, Fleet, Position, Vessel


@parambak_command("catalogue", example="parambak catalogue grebe/port-thruster")
@click.argument("where", metavar="[WHERE]", required=False)
@pass_settings
def command(settings: Settings, where: str | None) -> Answer:
    """List every position at WHERE or a part of it, with its copies.

    WHERE is VESSEL/UNIT/POSITION; VESSEL or VESSEL/UNIT lists all below.
    """
    vault = store.open_vault(settings)
    listing = _Listing(fleet(vault), Assessor(vault, store.chip_table()))
    if where is None:
        with Progress(quiet=settings.json, doing="judging") as progress:
            listing.take_all(progress)
    else:
        listing.take(where)
    return Answer(
        {
            "positions": listing.documents,
            "conflicts": listing.conflicts,
            "summary": _summary(listing.documents),
        },
        lambda screen: _page(screen, listing),
        warnings=(*store.warnings_of(vault), *listing.warnings),
    )


class _Listing:
    """What is listed, gathered vessel by vessel: of a large fleet only one is held at a time."""

    def __init__(self, known: Fleet, assessor: Assessor) -> None:
        self._known = known
        self._assessor = assessor
        self._holdings = Holdings(assessor.vault)
        self._rechecked = known.rechecked
        self.documents: list[dict[str, Any]] = []
        self.conflicts: list[dict[str, Any]] = []
        self.warnings: list[str] = []

    def take_all(self, progress: Callable[[int, int], None]) -> None:
        """List every vessel."""
        vessels = self._known.vessels
        for count, vessel in enumerate(vessels, start=1):
            self._take(vessel, vessel.positions)
            vessel.forget()
            progress(count, len(vessels))

    def take(self, where: str) -> None:
        """List what is at a WHERE or a part of it."""
        vessel = select.vessel_at(self._known, where)
        self._take(vessel, select.find_positions(self._known, where))

    def _take(self, vessel: Vessel, positions: Sequence[Position]) -> None:
        for position in positions:
            document = _document(self._assessor, self._rechecked, position)
            self.documents.append({**document, "places": _places(self._holdings, position)})
        holders = [h for h in vessel.holders if any(p in positions for p in h.positions)]
        self._dispute(vessel.handle, vessel.conflicts)
        for each in (*holders, *positions):
            self._dispute(each.where, each.conflicts)
        units = [holder for holder in holders if isinstance(holder, Unit)]
        self.warnings += exchange_notes(self._assessor.vault, vessel, units)
        if not vessel.named:
            lost = ", ".join((*vessel.aboard.missing, *(f for f, _ in vessel.aboard.damaged)))
            self.warnings.append(f"vessel {vessel.handle} has lost its name, with {lost or 'it'}")
        self.warnings += [f"left out, {file}: {text}" for file, text in vessel.aboard.damaged]

    def _dispute(self, where: str, conflicts: Sequence[Conflict]) -> None:
        self.conflicts += [
            {"where": where, "fact": each.fact, "values": list(each.values)} for each in conflicts
        ]


def _document(assessor: Assessor, rechecked: datetime | None, position: Position) -> dict[str, Any]:
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
        "hashed_on": _hashed_on(rechecked, position),
        "unmet": [{"condition": each.condition, "text": each.text} for each in unmet],
        "notes": _notes(position),
    }


def _summary(documents: list[dict[str, Any]]) -> dict[str, Any]:
    """Return the listing at a glance: counts, the oldest copy, what wants seeing to."""
    read = [each for each in documents if each["read_on"]]
    oldest = min(read, key=lambda each: (each["read_on"], each["where"]), default=None)
    return {
        "vessels": len({each["where"].split("/")[0] for each in documents}),
        "positions": len(documents),
        "copies": sum(each["copies"] for each in documents),
        "verified": sum(each["verified"] for each in documents),
        "not_verified": [each["where"] for each in documents if not each["verified"]],
        "in_no_other_place": [each["where"] for each in documents if not each["places"]],
        "oldest": {"where": oldest["where"], "read_on": oldest["read_on"]} if oldest else None,
    }


def _places(holdings: Holdings, position: Position) -> list[dict[str, Any]]:
    """Return which places hold the latest copy, since when, and when it was hashed there."""
    held = holdings.of(position.latest) if position.latest else ()
    return [
        {
            "place": each.name,
            "on": each.on.isoformat(),
            "hashed_on": each.hashed_on.isoformat() if each.hashed_on else None,
        }
        for each in held
    ]


def _hashed_on(rechecked: datetime | None, position: Position) -> str | None:
    """Return the day on which the latest copy's bytes were last hashed on record."""
    moments: list[datetime] = [rechecked] if rechecked else []
    if position.latest:
        moments += [read.taken_in for read in position.latest.reads]
    return max(moments).date().isoformat() if moments else None


def _notes(position: Position) -> list[str]:
    notes = []
    if position.out_of_order:
        notes.append("the newest read by date is not the one put on record last")
    notes += [f"normal here: {n.code}, {n.reason}" for n, _ in position.normal]
    return notes


def _page(screen: Screen, listing: _Listing) -> None:
    documents = listing.documents
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
    summary = _summary(documents)
    if len(documents) > 1:
        ships, copies = summary["vessels"], summary["copies"]
        screen.say(
            f"{counted(ships, 'vessel')}, {counted(len(documents), 'position')}, "
            f"{counted(copies, 'copy', 'copies')}; the oldest of the newest copies was read on "
            f"{summary['oldest']['read_on']}: {summary['oldest']['where']}."
            if summary["oldest"]
            else f"{counted(ships, 'vessel')}, {counted(len(documents), 'position')}, no copy."
        )
    _held(screen, documents)
    _conflicts(screen, listing)
    wanting = sum(1 for document in documents if not document["verified"])
    if wanting:
        screen.bad(f"{wanting} of {counted(len(documents), 'position')} without a verified copy.")
    else:
        screen.good(f"Verified: the latest copy of {counted(len(documents), 'position')}.")
    if len(documents) == 1 and documents[0]["copies"] > 1:
        screen.say(f"What changed there: `parambak history {documents[0]['where']}`.")
    elif any(document["copies"] > 1 for document in documents):
        screen.say("What changed at one: `parambak history WHERE`; what is to be done: `due`.")


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


def _held(screen: Screen, documents: list[dict[str, Any]]) -> None:
    """Say how many positions' latest copies each place held, and when that was proven."""
    proven: dict[str, list[dict[str, Any]]] = {}
    for document in documents:
        for each in document["places"]:
            proven.setdefault(each["place"], []).append(each)
    for place, held in sorted(proven.items()):
        dates = sorted({each["hashed_on"] or f"{each['on']} (NOT HASHED)" for each in held})
        since = dates[0] if len(dates) == 1 else f"{dates[0]} to {dates[-1]}"
        of = counted(len(documents), "position")
        screen.say(f"{place} held the latest copy of {len(held)} of {of}, hashed there {since}.")
    alone = [document["where"] for document in documents if not document["places"]]
    if proven and alone:
        screen.say(f"In no other place: {', '.join(alone)}.")


def _conflicts(screen: Screen, listing: _Listing) -> None:
    """Say which facts two records tell differently, neither knowing of the other."""
    for each in listing.conflicts:
        values = " and ".join(each["values"])
        text = f"{each['where']}: {each['fact']} is told as {values}; settle it with `amend`"
        screen.say(text)
