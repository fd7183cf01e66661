"""Backup locations from the command line: added, filled, listed, repaired from, and removed."""

from __future__ import annotations

import hashlib
import json
import shutil
from typing import TYPE_CHECKING

import pytest

from tests.cli.conftest import Ship
from tests.cli.invented import MEMORY, WHERE, archive_two, changed, dump

if TYPE_CHECKING:
    from pathlib import Path

COPY = "grebe/port-thruster/U12"
OTHER = ("--vessel", "avocet", "--unit", "port-thruster", "--position", "U12")


@pytest.fixture(scope="module")
def archived(tmp_path_factory: pytest.TempPathFactory) -> Ship:
    """Return a laptop with a verified copy of one vessel and a read of another."""
    ship = Ship(tmp_path_factory.mktemp("archived"))
    archive_two(ship)
    ship.write("s.hex", dump(changed(5, MEMORY[::-1])), second=9)
    assert ship.run("archive", "s.hex", *OTHER, "--by", "Bo Made-Up").code == 0
    return ship


@pytest.fixture
def full(ship: Ship, archived: Ship) -> Ship:
    """Return such a laptop of a test's own."""
    shutil.copytree(archived.folder, ship.folder, dirs_exist_ok=True)
    return ship


def added(ship: Ship, name: str, *words: str) -> Path:
    """Add a backup location in a folder of that name."""
    result = ship.answer("backup", "add", name, name, *words)
    assert result.code == 0, result.out
    return ship.folder / name


def hold(ship: Ship, where: str = COPY) -> list[str]:
    """Return the names of the backup locations that hold the latest copy."""
    (position,) = ship.answer("catalogue", where).document["positions"]
    return [each["location"] for each in position["locations"]]


def flip(path: Path) -> None:
    """Flip one bit of a file."""
    path.chmod(0o644)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


def test_a_location_is_added_filled_and_counted(full: Ship) -> None:
    """The keys that scripts rely on; the catalogue shows where the copy is, and since when."""
    added(full, "red")
    assert hold(full) == []
    result = full.answer("backup", "send", "red")
    assert result.code == 0
    assert result.document["sent"] > 10
    assert result.document["refused"] == []
    assert {each["vessel"] for each in result.document["held"]} == {"grebe", "avocet"}
    (position,) = full.answer("catalogue", COPY).document["positions"]
    (location,) = position["locations"]
    assert location["location"] == "red"
    assert location["on"] == location["hashed_on"] == position["hashed_on"]
    assert "red held the latest copy of 2 of 2 positions" in full.run("catalogue").out
    listed = full.answer("backup", "list").document["locations"]
    assert [(each["location"], each["vessels"], each["hashed"]) for each in listed] == [
        ("red", None, True)
    ]
    assert ", checked there" in full.run("backup", "list").out


def test_what_came_after_is_not_held_until_it_is_sent(full: Ship) -> None:
    """A new copy is in no backup location; sending again brings it there."""
    added(full, "red")
    full.run("backup", "send", "red")
    full.write("n.hex", dump(changed(9)), second=20)
    full.run("archive", "n.hex", *WHERE)
    assert hold(full) == []
    assert "In no backup location: grebe/port-thruster/U12." in full.run("catalogue").out
    full.run("backup", "send", "red")
    assert hold(full) == ["red"]


def test_sending_twice_a_day_adds_no_record(full: Ship) -> None:
    """Nothing changed: nothing is sent, and the vault is as it was."""
    added(full, "red")
    full.run("backup", "send", "red")
    before = full.tree()
    assert full.answer("backup", "send", "red").document["sent"] == 0
    assert full.tree() == before


def test_the_location_opens_as_a_vault(full: Ship) -> None:
    """With --vault, without a word of warning, and rechecks sound."""
    added(full, "red")
    full.run("backup", "send", "red")
    result = full.run("--vault", "red", "catalogue")
    assert (result.code, result.err) == (0, "")
    assert full.answer("--vault", "red", "recheck").code == 0
    assert full.run("catalogue").err == ""


def test_one_customers_location_knows_nothing_of_the_other(full: Ship) -> None:
    """Every byte in it is looked through; its own copy counts, the other's does not."""
    folder = added(full, "cust", "--vessel", "grebe")
    full.run("backup", "send", "cust")
    everything = b"\0".join(
        str(p.relative_to(folder)).encode() + p.read_bytes()
        for p in folder.rglob("*.*")
        if p.is_file()
    ) + b"".join(p.read_bytes() for p in folder.rglob("objects/*/*"))
    (grebe,) = full.answer("catalogue", COPY).document["positions"]
    (avocet,) = full.answer("catalogue", "avocet").document["positions"]
    assert grebe["sha256"].encode() in everything
    for secret in ("avocet", "Made-Up", "cust", str(full.folder), avocet["sha256"]):
        assert secret.encode() not in everything
    assert MEMORY[::-1][:16] not in everything
    assert (hold(full), hold(full, "avocet")) == (["cust"], [])
    assert [
        p["where"] for p in full.answer("--vault", "cust", "catalogue").document["positions"]
    ] == [COPY]
    assert full.answer("backup", "list").document["locations"][0]["vessels"] == ["grebe"]


def test_lost_laptop_found_again(full: Ship) -> None:
    """The location, copied to a new laptop, is the vault; it sends on to the same location."""
    added(full, "red")
    full.run("backup", "send", "red")
    new = Ship(full.folder / "new")
    shutil.copytree(full.folder / "red", new.vault)
    result = new.answer("catalogue", COPY)
    assert result.document["positions"][0]["verified"] is True
    sent = new.answer("backup", "send", "red", "--at", str(full.folder / "red"))
    assert (sent.code, sent.document["refused"]) == (0, [])


def test_either_side_is_repaired_and_said(full: Ship) -> None:
    """A bit rotted in the backup location, and one in the vault; what was wrong is kept."""
    folder = added(full, "red")
    full.run("backup", "send", "red")
    victim = next(p for p in sorted(folder.rglob("objects/*/*")))
    flip(victim)
    result = full.answer("backup", "send", "red")
    file = victim.relative_to(folder).as_posix()
    assert (result.code, result.document["repaired_there"]) == (0, [file])
    flip(full.vault / file)
    assert full.answer("recheck").code == 3
    shown = full.run("backup", "send", "red")
    assert "REPAIRED in the vault" in shown.out
    assert full.answer("recheck").code == 0
    assert (full.vault / "damaged" / f"{victim.name}-1").is_file()


def test_damage_on_both_sides_answers_3_and_does_not_count_as_held(full: Ship) -> None:
    """The file is named; the copy is in no backup location; others are."""
    (grebe,) = full.answer("catalogue", COPY).document["positions"]
    digest = grebe["sha256"]
    flip(full.vault / "objects" / digest[:2] / digest)
    added(full, "red")
    result = full.answer("backup", "send", "red")
    assert result.code == 3
    assert result.document["refused"][0]["file"].endswith(digest)
    assert "NOT SENT" in full.run("backup", "send", "red").out
    assert (hold(full), hold(full, "avocet")) == ([], ["red"])
    assert full.answer("backup", "list").document["locations"][0]["missing"] == 2


def test_two_laptops_meet_at_the_office(full: Ship) -> None:
    """Each sends with the word to merge, each takes the other's in, both tell the same."""
    other = Ship(full.folder / "other")
    other.folder.mkdir()
    other.write("x.hex", dump(changed(77)), second=3)
    assert (
        other.run("archive", "x.hex", *WHERE[:2], "--unit", "winch", "--position", "U3").code == 0
    )
    office = added(full, "office")
    full.run("backup", "send", "office")
    refused = other.answer("backup", "add", "office", str(office))
    assert (refused.code, refused.document["error"]["code"]) == (2, "backup-other-vault")
    assert other.answer("backup", "add", "office", str(office), "--merge").code == 0
    first = other.answer("backup", "send", "office")
    assert first.document["unknown"] > 0
    assert first.document["added"] is None
    taken = other.answer("backup", "send", "office", "--both-ways")
    assert taken.document["added"]["records"] > 0
    full.run("backup", "send", "office", "--both-ways")
    one, two = (s.answer("catalogue").document["positions"] for s in (full, other))
    assert [p["latest"].partition("@")[2] for p in one] == [
        p["latest"].partition("@")[2] for p in two
    ]
    assert len(one) == 3


def test_a_location_removed_counts_no_more(full: Ship) -> None:
    """What is in it stays; adding it again takes it up where it was."""
    folder = added(full, "red")
    full.run("backup", "send", "red")
    assert full.answer("backup", "remove", "red").code == 0
    assert (hold(full), full.answer("backup", "list").document["locations"]) == ([], [])
    assert (folder / "vault.toml").is_file()
    gone = full.answer("backup", "send", "red")
    assert (gone.code, gone.document["error"]["code"]) == (2, "backup-unknown")
    added(full, "red")
    assert hold(full) == ["red"]


def test_names_of_locations(full: Ship) -> None:
    """One name is one location; one location has one name; a name has a short name's shape."""
    added(full, "red")
    assert full.answer("backup", "add", "red", "red").code == 0
    taken = full.answer("backup", "add", "RED", "blue")
    assert taken.document["error"]["code"] == "backup-name-taken"
    again = full.answer("backup", "add", "blue", "red")
    assert again.document["error"]["code"] == "backup-known-already"
    assert full.answer("backup", "add", "a b", "x").document["error"]["code"] == "name-shape"
    assert full.answer("backup", "send", "none").document["error"]["code"] == "backup-unknown"
    assert not (full.folder / "blue").exists()


def test_two_locations_of_one_name_are_told_apart(full: Ship) -> None:
    """Two laptops gave their sticks one name: after a merge the identity's digits name each.

    On a laptop that added one of them the name alone is still that of its own.
    """
    other = Ship(full.folder / "other")
    shutil.copytree(full.vault, other.vault)
    added(full, "stick")
    assert other.answer("backup", "add", "stick", str(full.folder / "stick2")).code == 0
    for file in (other.vault / "records").rglob("*.json"):
        to = full.vault / file.relative_to(other.vault)
        to.parent.mkdir(exist_ok=True)
        if not to.exists():
            shutil.copyfile(file, to)
    assert full.answer("backup", "send", "stick").code == 0
    third = Ship(full.folder / "third")
    shutil.copytree(full.vault, third.vault)
    refused = third.answer("backup", "send", "stick")
    assert (refused.code, refused.document["error"]["code"]) == (2, "backup-two")
    for location in third.answer("backup", "list").document["locations"]:
        assert third.answer("backup", "send", location["location"]).code == 0


@pytest.mark.parametrize("folder", ["vault", "vault/objects/backup", "."])
def test_a_location_inside_or_around_the_vault_is_refused(full: Ship, folder: str) -> None:
    """It would be lost together with it."""
    before = full.tree()
    refused = full.answer("backup", "add", "near", folder)
    assert (refused.code, refused.document["error"]["code"]) == (2, "backup-inside-vault")
    assert full.tree() == before


def test_a_secret_in_an_address_is_neither_kept_nor_shown(full: Ship) -> None:
    """Nothing of it is printed or written."""
    result = full.run("backup", "add", "office", "sftp://ana:geheim@h/x")
    assert result.code == 2
    assert "geheim" not in result.out + result.err
    assert b"geheim" not in b"".join(p.read_bytes() for p in full.vault.rglob("*") if p.is_file())


def test_a_location_on_the_vaults_own_disk_is_said_to_be(full: Ship) -> None:
    """It stands, with a note."""
    assert "same disk" in full.run("backup", "add", "red", "red").err


def test_a_stick_that_is_not_there(full: Ship) -> None:
    """Refused, and the other side of the answer says what to do."""
    folder = added(full, "red")
    folder.rename(full.folder / "pocket")
    refused = full.answer("backup", "send", "red")
    assert (refused.code, refused.document["error"]["code"]) == (2, "backup-absent")
    assert not folder.exists()
    assert full.answer("backup", "send", "red", "--at", "pocket").code == 0


def test_packs_for_a_stick(full: Ship) -> None:
    """One file a vessel, which `unpack` takes as well; held like anything else."""
    folder = added(full, "stick", "--packed")
    result = full.answer("backup", "send", "stick")
    assert (result.code, result.document["sent"]) == (0, 2)
    assert len(list((folder / "packs").glob("*.zip"))) == 2
    assert hold(full) == ["stick"]
    refused = full.answer("backup", "add", "far", "sftp://a@h/x", "--packed")
    assert refused.document["error"]["code"] == "backup-packed-folder"
    assert full.answer("backup", "add", "stick", "stick").document["error"]["code"] == "backup-kind"


def test_quick_says_that_nothing_was_hashed(full: Ship) -> None:
    """In the answer, in the list and in the catalogue."""
    added(full, "red")
    full.run("backup", "send", "red")
    full.write("n.hex", dump(changed(9)), second=20)
    full.run("archive", "n.hex", *WHERE)
    shown = full.run("backup", "send", "red", "--quick")
    assert (shown.code, "NOT CHECKED" in shown.out) == (0, True)
    assert "NOT CHECKED" in full.run("backup", "list").out
    (position,) = full.answer("catalogue", COPY).document["positions"]
    assert position["locations"][0]["hashed_on"] is None


def test_a_ship_with_one_more_identity_is_said(full: Ship) -> None:
    """What a customer gets is not widened by itself: a note tells, adding it again widens it."""
    added(full, "cust", "--vessel", "grebe")
    full.run("backup", "send", "cust")
    full.run("correct", "grebe", "--imo", "1234567")
    other = Ship(full.folder / "other")
    other.folder.mkdir()
    other.write("x.hex", dump(changed(77)), second=3)
    other.run("archive", "x.hex", *WHERE[:2], "--unit", "winch", "--position", "U3")
    other.run("correct", "grebe", "--imo", "1234567")
    for sort in ("objects", "records"):
        shutil.copytree(other.vault / sort, full.vault / sort, dirs_exist_ok=True)
    noted = full.run("backup", "send", "cust")
    assert "one more identity" in noted.err
    assert hold(full, "grebe/winch/U3") == []
    assert full.run("backup", "add", "cust", "cust", "--vessel", "grebe").code == 0
    assert "one more identity" not in full.run("backup", "send", "cust").err
    assert hold(full, "grebe/winch/U3") == ["cust"]


def test_a_vault_that_cannot_be_written_is_sent_all_the_same(full: Ship) -> None:
    """What it holds is then not on record, which is said; nothing is refused for it."""
    added(full, "red")
    (full.vault / "lock").unlink(missing_ok=True)
    (full.vault / "lock").mkdir()
    sent = full.run("backup", "send", "red")
    assert sent.code == 0
    assert "not on record" in sent.err
    assert full.answer("--vault", "red", "catalogue").code == 0


def test_the_addresses_stay_out_of_every_vessels_records(full: Ship) -> None:
    """They are in records about the vault itself, which no pack and no limited location has."""
    added(full, "red")
    full.run("backup", "send", "red")
    for file in (full.vault / "records").rglob("*.json"):
        record = json.loads(file.read_bytes())
        assert hashlib.sha256(file.read_bytes()).hexdigest() == file.stem
        if "vessel" in record:
            assert str(full.folder) not in file.read_text("utf-8")


def test_one_ship_under_two_identities_is_counted_once(full: Ship) -> None:
    """Two laptops entered it apart; after both have its IMO number it is one ship in a location."""
    other = Ship(full.folder / "other")
    other.folder.mkdir()
    archive_two(other)
    assert other.run("pack", "grebe", "--out", "grebe.zip").code == 0
    merged = full.run("unpack", "other/grebe.zip")
    assert merged.code == 0
    assert "2 vessels have one name: grebe~" in merged.err
    assert "--imo" in merged.err
    for where in [each["where"] for each in full.answer("catalogue").document["positions"]]:
        vessel = where.partition("/")[0]
        if vessel != "avocet":
            assert full.run("correct", vessel, "--imo", "1234567").code == 0
    assert full.run("unpack", "other/grebe.zip").err == ""
    added(full, "red")
    sent = full.run("backup", "send", "red")
    assert "red holds everything of 2 vessels, every byte" in sent.out
    (listed,) = full.answer("backup", "list").document["locations"]
    assert (listed["vessels_held"], listed["vessels_here"]) == (2, 2)
