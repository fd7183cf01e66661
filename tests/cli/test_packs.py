"""`pack` and `unpack` as a script and as a person calls them."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

import pytest

from tests.cli.conftest import Ship
from tests.cli.invented import MEMORY, archive_two, changed, dump

if TYPE_CHECKING:
    from pathlib import Path

AVOCET = ("--vessel", "avocet", "--unit", "bow-thruster", "--position", "U3")


@pytest.fixture
def two(ship: Ship) -> Ship:
    """Return a folder whose vault has two tugs."""
    archive_two(ship)
    ship.write("c.hex", dump(changed(0x100)), second=5)
    assert ship.run("archive", "c.hex", *AVOCET, "--new-vessel").code == 0
    return ship


def second(ship: Ship, name: str = "office") -> Ship:
    """Return another folder, with a vault of its own."""
    (ship.folder / name).mkdir()
    return Ship(ship.folder / name)


def vessels(ship: Ship) -> set[str]:
    """Return the vessels that the catalogue lists."""
    found = ship.answer("catalogue").document["positions"]
    return {each["where"].split("/")[0] for each in found}


def test_a_vessel_is_packed_and_unpacked(two: Ship) -> None:
    """The keys of the contract; the new vault has that vessel and no other, verified."""
    sent = two.answer("pack", "grebe", "--out", "grebe.zip")
    assert sent.code == 0
    data = (two.folder / "grebe.zip").read_bytes()
    document = sent.document
    assert document["sha256"] == hashlib.sha256(data).hexdigest()
    assert document["sent"] == document["objects"] + document["records"] > 0
    assert (document["refused"], document["vessels"]) == ([], ["grebe"])
    office = second(two)
    taken = office.answer("unpack", "../grebe.zip")
    assert taken.code == 0
    assert taken.document["added"] == document["sent"]
    assert taken.document["refused"] == []
    assert vessels(office) == {"grebe"}
    (position,) = office.answer("catalogue").document["positions"]
    assert position["verified"] is True
    assert office.answer("recheck").code == 0
    assert b"avocet" not in data
    again = office.answer("unpack", "../grebe.zip")
    assert (again.code, again.document["added"]) == (0, 0)


def test_the_page_says_it_in_words(two: Ship) -> None:
    """What was packed, and what came in."""
    assert "Packed whole" in two.run("pack", "grebe", "avocet", "--out", "both.zip").out
    office = second(two)
    out = office.run("unpack", "../both.zip")
    assert "a new vault was made" in out.err
    assert "came in" in out.out
    assert "in the vault already" in office.run("unpack", "../both.zip").out


def test_bad_calls(two: Ship) -> None:
    """A name that nobody has, a file that stands, one inside the vault, no file: exit 2."""
    for words, code in (
        (("pack", "heron", "--out", "x.zip"), "where-vessel"),
        (("pack", "grebe", "--out", "a.hex"), "vault-export-exists"),
        (("pack", "grebe", "--out", "vault/x.zip"), "export-into-vault"),
        (("pack", "grebe", "--out", "nowhere/x.zip"), "vault-export-unfit"),
        (("unpack", "nothing.zip"), "pack-unreadable"),
        (("unpack", "a.hex"), "pack-not-one"),
    ):
        result = two.answer(*words)
        assert (result.code, result.document["error"]["code"]) == (2, code), words
        assert result.document["error"]["next"]
    assert not (two.folder / "x.zip").exists()
    office = second(two)
    assert office.answer("unpack", "../a.hex").code == 2
    assert not office.vault.exists()


def test_one_rotten_byte_costs_one_file(two: Ship) -> None:
    """The rest comes in; what did not is named, and the answer is 1."""
    two.run("pack", "grebe", "--out", "grebe.zip")
    data = (two.folder / "grebe.zip").read_bytes()
    at = data.index(MEMORY[:64])  # random bytes are stored as they are
    two.write("grebe.zip", data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])
    office = second(two)
    result = office.answer("unpack", "../grebe.zip")
    assert result.code == 1
    files = [each["file"] for each in result.document["refused"]]
    assert f"objects/{hashlib.sha256(MEMORY).hexdigest()[:2]}" in "".join(files)
    assert office.answer("recheck").code == 0
    assert "ask for the pack again" in office.run("unpack", "../grebe.zip").out


def test_a_damaged_vault_is_not_packed(two: Ship) -> None:
    """Exit 3, naming the file and what to do."""
    digest = hashlib.sha256(MEMORY).hexdigest()
    path = two.vault / "objects" / digest[:2] / digest
    path.chmod(0o644)
    path.write_bytes(b"rot")
    result = two.answer("pack", "grebe", "--out", "grebe.zip")
    assert result.code == 3
    assert digest in result.document["error"]["file"]
    assert "recheck" in result.document["error"]["next"]
    assert not (two.folder / "grebe.zip").exists()


def test_two_laptops_meet_by_packs(ship: Ship, tmp_path: Path) -> None:
    """Each unpacks the other's: both catalogues say the same."""
    one, other = second(ship, "one"), second(ship, "other")
    archive_two(one)
    one.run("pack", "grebe", "--out", "one.zip")
    other.run("unpack", "../one/one.zip")
    one.write("d.hex", dump(changed(0x200)), second=9)
    other.write("e.hex", dump(changed(0x300)), second=11)
    where = ("--vessel", "grebe", "--unit", "port-thruster", "--position", "U12")
    assert one.run("archive", "d.hex", *where).code == 0
    assert other.run("archive", "e.hex", *where).code == 0
    for each in (one, other):
        assert each.run("pack", "grebe", "--out", "new.zip").code == 0
    assert one.answer("unpack", "../other/new.zip").code == 0
    assert other.answer("unpack", "../one/new.zip").code == 0
    assert one.answer("catalogue").document == other.answer("catalogue").document
    assert one.answer("catalogue").document["positions"][0]["copies"] == 3
    assert tmp_path.exists()
