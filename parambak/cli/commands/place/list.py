"""`place list`: the places, and what each was last found to hold."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.parts import place as common
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.state.backups import backup_locations, newest_held
from parambak.keeping.state.record_sets import local_time
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.state.backups import BackupLocation
    from parambak.keeping.state.bodies import HeldBody
    from parambak.vault.records import Stored


@parambak_command("list", example="parambak place list")
@pass_settings
def command(settings: Settings, /) -> Answer:
    """List the places, and for how many vessels each was last proven to hold what."""
    vault = store.open_vault(settings)
    known = backup_locations(vault)
    held = {v: newest_held(vault.records(v)) for v in vault.vessels()} if known else {}
    handles = common.handles(vault)
    documents = [{**common.document(vault, p), **_held(p, held, handles)} for p in known]
    return Answer(
        {"places": documents},
        lambda screen: _page(screen, documents),
        warnings=store.warnings_of(vault),
    )


def _held(
    place: BackupLocation,
    held: dict[str, dict[str, tuple[Stored, HeldBody]]],
    handles: dict[str, str],
) -> dict[str, Any]:
    """Return when the place was last proven, and how much it held then of how many vessels.

    `held` are by vessel and place the newest records that tell it.
    """
    chosen = [each for each in held if place.vessels is None or each in place.vessels]
    here = {vessel: by_place[place.id] for vessel, by_place in held.items() if place.id in by_place}
    found = [*here.values()]
    ships = {handles.get(vessel, vessel) for vessel in here}
    dates = [local_time(stored.record).date().isoformat() for stored, _ in found]
    return {
        "proven_on": max(dates, default=None),
        "oldest_proof": min(dates, default=None),
        "hashed": bool(found) and all(body.hashed for _, body in found),
        "vessels_here": len({handles.get(each, each) for each in chosen}),
        "vessels_held": len(ships),
        "records": sum(body.records for _, body in found),
        "lacking": sum(len(body.lacking) for _, body in found),
    }


def _page(screen: Screen, documents: list[dict[str, Any]]) -> None:
    if not documents:
        screen.say("No place is known yet. Add one with `parambak place add NAME ADDRESS`.")
        return
    for each in documents:
        screen.heading(each["place"])
        vessels = "all" if each["vessels"] is None else ", ".join(each["vessels"])
        facts = [("address", each["address"]), ("vessels", vessels)]
        if each["packed"]:
            facts.append(("packed", "one pack for each vessel"))
        screen.facts([*facts, ("identity", each["id"]), ("holds", _holds(each))])


def _holds(each: dict[str, Any]) -> str:
    if each["proven_on"] is None and not each["vessels_here"]:
        return "nothing that is known: no vessel that belongs there is in this vault"
    if each["proven_on"] is None:
        return f"nothing yet: `parambak place send {each['place']}`"
    dates = each["proven_on"]
    if each["oldest_proof"] != dates:
        dates = f"{each['oldest_proof']} to {dates}"
    records, vessels = counted(each["records"], "record"), counted(each["vessels_held"], "vessel")
    text = f"{records} of {vessels}, {'hashed' if each['hashed'] else 'NOT HASHED'} there {dates}"
    lacking = each["lacking"]
    return f"{text}; {counted(lacking, 'record')} NOT WHOLE there" if lacking else text
