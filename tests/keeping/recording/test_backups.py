"""Backup locations put on record: added, named, removed, and what a sending proved there."""

from __future__ import annotations

import errno
from datetime import date
from typing import TYPE_CHECKING, Any, NoReturn

import pytest
from msgspec.structs import replace

from parambak.errors import CallRefused, NotFound, ParambakError, VaultRefused
from parambak.keeping.recording.backups import add_backup, put_on_record, remove_backup, send_to
from parambak.keeping.state.backups import (
    Holdings,
    backup_locations,
    find_backup,
    latest_locations,
)
from parambak.keeping.state.losses import RepairSource, losses, repair_sources
from parambak.vault import objects
from parambak.vault.locations.send import Proven
from parambak.vault.locations.stores import FolderStore
from parambak.vault.packs.reading import opened
from tests.keeping.conftest import Laptop, image

if TYPE_CHECKING:
    from pathlib import Path

    from parambak.keeping.state.backups import BackupLocation
    from parambak.vault.locations.send import Sent

STINT = "stint/port-thruster/U12"


def store_at(folder: Path) -> FolderStore:
    """Return a stick that is plugged in."""
    folder.mkdir(exist_ok=True)
    return FolderStore(folder)


def add(laptop: Laptop, folder: Path, name: str, **words: Any) -> BackupLocation:
    """Add a stick as a backup location."""
    told = {"vessels": (), "packed": False, "merge": False, "address": str(folder), **words}
    return add_backup(laptop.vault, store_at(folder), name=name, **told)


def send(
    laptop: Laptop, location: BackupLocation, **words: Any
) -> tuple[Sent, tuple[str, ...], list[tuple[int, int]]]:
    """Send to a backup location; return what was sent, the notes, and the progress shown."""
    shown: list[tuple[int, int]] = []
    store = store_at(laptop.root.parents[1] / location.name)
    sent, notes = send_to(
        laptop.vault,
        store,
        location,
        now=laptop.clock,
        since="2026-03-01T08:00:00Z",
        progress=lambda done, total: shown.append((done, total)),
        **words,
    )
    return sent, notes, shown


def held(laptop: Laptop) -> list[Any]:
    """Return the bodies of the `held` records of the first vessel."""
    (vessel, *_) = laptop.fleet.vessels
    stored = laptop.vault.records(vessel.id)
    return [each.record.body for each in stored if each.record.kind == "held"]


def test_a_location_is_on_record_as_given(laptop: Laptop, tmp_path: Path) -> None:
    """Name, address, the vessels that it is limited to, and whether it holds packs."""
    laptop.take(image())
    laptop.take(image(2), where=STINT)
    grebe = next(vessel for vessel in laptop.fleet.vessels if vessel.short == "grebe")
    red = add(laptop, tmp_path / "red", "red")
    assert (red.name, red.handle, red.vessels, red.packed) == ("red", "red", None, False)
    assert red.address == str(tmp_path / "red")
    blue = add(laptop, tmp_path / "blue", "blue", vessels=("grebe",), packed=True)
    assert (blue.vessels, blue.packed) == (grebe.ids, True)
    assert backup_locations(laptop.vault) == (blue, red)
    body = latest_locations(laptop.vault.records(None))[blue.id]
    assert (body.name, body.address, body.packed) == ("blue", str(tmp_path / "blue"), True)


def test_the_same_location_again_is_no_second_record(laptop: Laptop, tmp_path: Path) -> None:
    """Nothing is new, nothing is written; a new address of the same stick is."""
    laptop.take(image())
    first = add(laptop, tmp_path / "red", "red")
    count = len(laptop.vault.records(None))
    assert add(laptop, tmp_path / "red", "red") == first
    assert len(laptop.vault.records(None)) == count
    moved = add(laptop, tmp_path / "red", "RED", address="elsewhere")
    assert (moved.id, moved.address, moved.name) == (first.id, "elsewhere", "RED")
    assert len(laptop.vault.records(None)) == count + 1


def test_two_locations_do_not_share_a_name_nor_one_two_names(
    laptop: Laptop, tmp_path: Path
) -> None:
    """Whatever the case; the refusal names the other."""
    laptop.take(image())
    add(laptop, tmp_path / "red", "red")
    with pytest.raises(CallRefused) as taken:
        add(laptop, tmp_path / "other", "Red")
    assert taken.value.code == "backup-name-taken"
    assert "red" in str(taken.value.found)
    with pytest.raises(CallRefused) as known:
        add(laptop, tmp_path / "red", "green")
    assert known.value.code == "backup-known-already"
    assert known.value.expected == "red"
    with pytest.raises(CallRefused) as shape:
        add(laptop, tmp_path / "third", "no name")
    assert shape.value.code == "name-shape"
    with pytest.raises(NotFound):
        add(laptop, tmp_path / "third", "third", vessels=("curlew",))
    assert [each.name for each in backup_locations(laptop.vault)] == ["red"]


def test_a_removed_location_is_not_listed_and_frees_its_name(
    laptop: Laptop, tmp_path: Path
) -> None:
    """What it held does not count any more; its files stay."""
    laptop.take(image())
    location = add(laptop, tmp_path / "red", "red")
    send(laptop, location)
    copy = laptop.latest()
    assert [each.name for each in Holdings(laptop.vault).of(copy)] == ["red"]
    assert remove_backup(laptop.vault, "RED") == location
    assert backup_locations(laptop.vault) == ()
    assert Holdings(laptop.vault).of(copy) == ()
    with pytest.raises(NotFound) as gone:
        find_backup(laptop.vault, "red")
    assert gone.value.expected == "none is on record yet"
    assert any((tmp_path / "red").rglob("*.json"))
    add(laptop, tmp_path / "new", "red")
    assert len(backup_locations(laptop.vault)) == 1


def test_two_of_one_name_are_told_apart_by_their_digits(laptop: Laptop, tmp_path: Path) -> None:
    """Laptops that were merged may both have a stick of that name."""
    laptop.take(image())
    first = add(laptop, tmp_path / "red", "red")
    other = "e" * 32
    body = replace(latest_locations(laptop.vault.records(None))[first.id], location=other)
    with laptop.vault.writing() as writing:
        writing.add(body.kind, None, body.members())
    with pytest.raises(CallRefused) as two:
        find_backup(laptop.vault, "red")
    assert two.value.code == "backup-two"
    assert find_backup(laptop.vault, f"RED~{other[:8]}").id == other
    assert find_backup(laptop.vault, f"red~{first.id[:8]}") == replace(
        first, handle=f"red~{first.id[:8]}"
    )


def test_a_sending_puts_on_record_what_was_proven(laptop: Laptop, tmp_path: Path) -> None:
    """Once a day where nothing changed; again on another day, and where there is more."""
    laptop.take(image())
    location = add(laptop, tmp_path / "red", "red")
    sent, notes, shown = send(laptop, location)
    assert notes == ()
    assert shown
    (body,) = held(laptop)
    assert (body["location"], body["name"], body["hashed"]) == (location.id, "red", True)
    assert (body["records"], body["objects"]) == (sent.proven[0].records, sent.proven[0].objects)
    assert body["heads"] == list(sent.proven[0].heads)
    send(laptop, location)
    assert len(held(laptop)) == 1
    laptop.on("2026-03-02")
    send(laptop, location)
    assert len(held(laptop)) == 2
    laptop.take(image(3), position_confirmed=True)
    send(laptop, location)
    assert len(held(laptop)) == 3


def test_a_quick_sending_hashes_nothing(laptop: Laptop, tmp_path: Path) -> None:
    """Sizes alone were looked at: the record says so, and the copy is not hashed there."""
    laptop.take(image())
    location = add(laptop, tmp_path / "red", "red")
    send(laptop, location, quick=True)
    send(laptop, location, quick=True)
    assert held(laptop)[-1]["hashed"] is False
    (holding,) = Holdings(laptop.vault).of(laptop.latest())
    assert (holding.name, holding.on) == ("red", date(2026, 3, 1))


def test_a_location_with_packs_is_sent_packs(laptop: Laptop, tmp_path: Path) -> None:
    """One a vessel, by its name; a location without packs is never sent one."""
    laptop.take(image())
    location = add(laptop, tmp_path / "red", "red", packed=True)
    sent, _, shown = send(laptop, location, quick=False)
    (packed,) = (tmp_path / "red" / "packs").glob("*.zip")
    with opened(packed) as pack:
        assert list(pack.vessels.values()) == ["grebe"]
    assert shown
    assert [each.hashed for each in sent.proven] == [True]
    assert held(laptop)[0]["location"] == location.id
    plain = add(laptop, tmp_path / "blue", "blue")
    send(laptop, plain)
    assert not list((tmp_path / "blue").rglob("*.zip"))


def test_both_ways_brings_what_the_vault_has_not(laptop: Laptop, tmp_path: Path) -> None:
    """From another laptop by the stick; without it the vault stays as it is."""
    laptop.take(image())
    other = laptop.copy_to(tmp_path / "two")
    other.on("2026-03-04")
    location = add(laptop, tmp_path / "red", "red")
    other.take(image(5), position_confirmed=True)
    store = store_at(tmp_path / "red")
    send_to(
        other.vault,
        store,
        location,
        now=other.clock,
        since="2026-03-04T08:00:00Z",
        progress=lambda *_: None,
    )
    other.close()
    send(laptop, location)
    assert len(laptop.position().copies) == 1
    send(laptop, location, both_ways=True)
    assert len(laptop.position().copies) == 2


def test_a_stick_that_is_another_is_not_sent_to(laptop: Laptop, tmp_path: Path) -> None:
    """The wrong stick in the port is refused before a byte is written."""
    laptop.take(image())
    red = add(laptop, tmp_path / "red", "red")
    add(laptop, tmp_path / "blue", "blue")
    before = sorted((tmp_path / "blue").rglob("*"))
    with pytest.raises(ParambakError):
        send(laptop, replace(red, name="blue"))
    assert sorted((tmp_path / "blue").rglob("*")) == before
    assert held(laptop) == []


def test_a_stick_that_fails_at_once_is_named(
    laptop: Laptop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not even its lock can be made: the refusal says at which address; nothing is on record."""
    laptop.take(image())
    red = add(laptop, tmp_path / "red", "red")

    def pulled_out(*_: object) -> NoReturn:
        raise OSError(errno.EIO, "input/output error")

    monkeypatch.setattr(FolderStore, "holding", pulled_out)
    with pytest.raises(ParambakError) as refusal:
        send(laptop, red)
    assert refusal.value.file == str(tmp_path / "red")
    assert held(laptop) == []


def test_what_is_lost_can_be_had_from_where_it_was_proven(laptop: Laptop, tmp_path: Path) -> None:
    """The one with most of it first; the day is that of the last hashing, where there was one."""
    laptop.take(image())
    red, blue = (add(laptop, tmp_path / name, name) for name in ("red", "blue"))
    send(laptop, red)
    laptop.on("2026-03-02")
    laptop.take(image(2), position_confirmed=True)
    send(laptop, blue, quick=True)
    send(laptop, red, quick=True)
    vault = laptop.vault
    files = [objects.file_of(copy.sha256) for copy in laptop.position().copies]
    histories = [vault.records(vessel) for vessel in (None, *vault.vessels())]
    found = repair_sources(vault, losses(laptop.fleet, histories, files))
    assert found == (
        RepairSource("blue", 2, date(2026, 3, 2)),
        RepairSource("red", 2, date(2026, 3, 1)),
    )
    remove_backup(vault, "blue")
    first = losses(laptop.fleet, histories, files[:1])
    assert repair_sources(vault, first) == (RepairSource("red", 1, date(2026, 3, 1)),)


def test_what_cannot_be_put_on_record_is_a_note(
    laptop: Laptop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was sent is there all the same; with nothing proven nothing is written."""
    laptop.take(image())
    (vessel,) = laptop.fleet.vessels
    location = add(laptop, tmp_path / "red", "red")
    vault = laptop.vault

    def refuse() -> None:
        raise VaultRefused("vault-locked", "the vault is locked")

    assert put_on_record(vault, location, (), date(2026, 3, 1)) == ()
    monkeypatch.setattr(vault, "writing", refuse)
    proven = Proven(vessel.id, ("ab" * 32,), (), 1, 1, hashed=True)
    (note,) = put_on_record(vault, location, (proven,), date(2026, 3, 1))
    assert note.startswith("what red holds is not on record: ")
    assert put_on_record(vault, location, (), date(2026, 3, 1)) == ()
