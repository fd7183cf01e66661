"""A ship that leaves the vault, broken off anywhere, and comes back only when asked."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import zipfile
from typing import TYPE_CHECKING

import pytest

from parambak.errors import ParambakError
from parambak.keeping.recording.entries import amend
from parambak.keeping.recording.leaving import Gone, find_leaving, leave
from parambak.keeping.recording.packs import TakenPack, pack, take_pack
from parambak.keeping.state.fold import fleet
from parambak.vault import joining, objects
from parambak.vault.check.recheck import recheck
from parambak.vault.files import disk
from parambak.vault.leaving import left
from parambak.vault.packs.reading import PackFile
from tests.keeping.conftest import Laptop, image

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

SHARED = image(9)


def silent(_done: int, _total: int) -> None:
    """Take progress and show nothing."""


def two_tugs(laptop: Laptop) -> None:
    """Archive reads of two tugs; one image is in both."""
    laptop.take(image(1), image(1), read_by="A. Invented", layout=None)
    laptop.take(SHARED)
    laptop.take(SHARED, where="avocet/bow-thruster/U3", new_vessel=True, read_by="B. Invented")


def goes(laptop: Laptop, out: str = "grebe.zip", name: str = "grebe") -> Gone:
    """Let a ship leave into a pack beside the vault."""
    vault = laptop.vault
    file = PackFile(laptop.root.parent / out)
    return leave(vault, find_leaving(vault, name), file, silent, why="sold", by="C. Invented")


def comes(laptop: Laptop, file: Path, *, back: bool = False) -> TakenPack:
    """Take a pack in."""
    return take_pack(laptop.vault, PackFile(file), silent, bring_back=back)


def damaged(laptop: Laptop) -> set[str]:
    """Return what a recheck finds damaged."""
    return {each.file for each in recheck(laptop.vault, silent).damaged}


def remarks(laptop: Laptop) -> list[str]:
    """Return what a recheck remarks on."""
    return [each.text for each in recheck(laptop.vault, silent).remarks]


def names(laptop: Laptop) -> set[str]:
    """Return the files of objects and records."""
    return {
        file.relative_to(laptop.root).as_posix()
        for sort in ("objects", "records")
        for file in (laptop.root / sort).rglob("*")
        if file.is_file()
    }


def bytes_within(laptop: Laptop) -> bytes:
    """Return everything that the vault's folder holds."""
    return b"".join(file.read_bytes() for file in laptop.root.rglob("*") if file.is_file())


@pytest.fixture
def two(laptop: Laptop) -> Laptop:
    """Return a laptop with two tugs."""
    two_tugs(laptop)
    return laptop


def test_a_ship_leaves_whole(two: Laptop) -> None:
    """Its records, objects and persons are gone; the sister's and what both need are here."""
    before = names(two)
    ship = next(v for v in two.fleet.vessels if v.short == "grebe")
    gone = goes(two)
    assert [v.short for v in two.fleet.vessels] == ["avocet"]
    assert gone.records == 3
    assert gone.kept == 1  # the image that both have
    assert gone.removed == gone.records + gone.objects - gone.kept
    assert len(before - names(two)) == gone.removed
    assert damaged(two) == set()
    assert remarks(two) == []
    assert two.vault.warnings == ()
    within = bytes_within(two)
    assert b"A. Invented" not in within
    assert b"B. Invented" in within
    assert within.count(ship.id.encode()) == 1  # in the record of its leaving
    assert left(two.vault).keys() == ship.ids


def test_the_pack_holds_what_is_gone(two: Laptop, tmp_path: Path) -> None:
    """By its own list, and in another vault byte for byte."""
    before = names(two)
    goes(two)
    with zipfile.ZipFile(tmp_path / "one" / "grebe.zip") as packed:
        inside = set(packed.namelist())
    assert before - names(two) <= inside
    other = Laptop(tmp_path / "other")
    assert comes(other, tmp_path / "one" / "grebe.zip").joined.refused == ()
    assert damaged(other) == set()
    assert [v.short for v in other.fleet.vessels] == ["grebe"]
    assert other.fleet.vessels[0].positions[0].latest is not None
    other.close()


def test_the_list_can_be_checked_by_hand(two: Laptop, tmp_path: Path) -> None:
    """It is as sha256sum prints it, of the pack's members."""
    goes(two)
    (record,) = left(two.vault).values()
    listed = two.vault.read_object(str(record.record.body["listed"]))
    for line in listed.decode().splitlines():
        digest, name = line.split("  ")
        with zipfile.ZipFile(tmp_path / "one" / "grebe.zip") as packed:
            assert hashlib.sha256(packed.read(name)).hexdigest() == digest
    if shutil.which("unzip") and shutil.which("sha256sum"):
        out = tmp_path / "out"
        subprocess.run(["unzip", "-q", tmp_path / "one" / "grebe.zip", "-d", out], check=True)
        subprocess.run(["sha256sum", "-c", "--quiet"], input=listed, cwd=out, check=True)


def test_the_index_forgets_the_ship(two: Laptop, monkeypatch: pytest.MonkeyPatch) -> None:
    """It held the records' bytes; it is built anew without a word, and no alarm is raised."""
    monkeypatch.setattr("parambak.vault.index.index.LOOSE", 2)
    ship = next(v for v in two.fleet.vessels if v.short == "grebe")
    assert (two.root / "index.sqlite").exists()
    assert ship.id.encode() in (two.root / "index.sqlite").read_bytes()
    goes(two)
    assert (two.root / "index.sqlite").read_bytes().count(ship.id.encode()) == 1
    assert two.vault.warnings == ()
    assert two.vault.gone == ()


def test_an_index_elsewhere_learns_of_it_quietly(
    two: Laptop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another computer's index still holds the records; they are not said to have vanished."""
    monkeypatch.setattr("parambak.vault.index.index.LOOSE", 2)
    assert two.fleet.vessels
    kept = (two.root / "index.sqlite").read_bytes()
    goes(two)
    (two.root / "index.sqlite").write_bytes(kept)
    vault = two.vault
    assert vault.warnings == ()
    assert vault.gone == ()
    assert [v.short for v in fleet(vault).vessels] == ["avocet"]
    # A record that vanished for no such reason is still missed.
    disk.remove(two.root / vault.records(vault.vessels()[0])[-1].file)
    assert "vault-record-vanished" in {finding.code for finding in two.vault.warnings}


def test_what_was_written_last_is_not_missed(two: Laptop) -> None:
    """The user's own folder knows the ship's last record; that it left is no cut history."""
    goes(two)
    assert "vault-history-cut" not in {finding.code for finding in two.vault.warnings}
    mine = two.own / "written"
    assert any(mine.iterdir())


def test_under_all_its_identities(two: Laptop, tmp_path: Path) -> None:
    """A ship entered on two laptops leaves as one."""
    other = Laptop(tmp_path / "two", start=3)
    other.take(image(4), where="grebe/stern/U1")
    for each in (two, other):
        amend(each.vault, "grebe", {"imo": "9074729"}, by=None, why=None)
    two.merge_from(other)
    assert len(next(v for v in two.fleet.vessels if v.short == "grebe").ids) == 2
    goes(two)
    assert [v.short for v in two.fleet.vessels] == ["avocet"]
    assert damaged(two) == set()
    assert len(left(two.vault)) == 2
    other.close()


# --- broken off ---


def removals(monkeypatch: pytest.MonkeyPatch, stop: int) -> None:
    """Let a number of removals from the vault happen, and kill the program then."""
    remove, count = disk.remove, 0

    def counted(path: Path) -> bool:
        nonlocal count
        if path.parent.parent.name in ("objects", "records") and not path.name.endswith(".tmp"):
            count += 1
            if count > stop:
                raise KeyboardInterrupt
        return remove(path)

    monkeypatch.setattr(disk, "remove", counted)


def test_broken_off_at_each_removal(two: Laptop, monkeypatch: pytest.MonkeyPatch) -> None:
    """The vault rechecks clean, says how to go on, and is done when called again."""
    whole, own = two.root.parent / "whole", two.root.parent / "own-then"
    shutil.copytree(two.root, whole)
    shutil.copytree(two.own, own)
    for stop in range(50):
        shutil.rmtree(two.root)
        shutil.copytree(whole, two.root)
        shutil.rmtree(two.own)
        shutil.copytree(own, two.own)
        (two.root.parent / "grebe.zip").unlink(missing_ok=True)
        with monkeypatch.context() as patch:
            removals(patch, stop)
            try:
                goes(two)
                break
            except KeyboardInterrupt:
                pass
        assert damaged(two) == set()
        codes = {finding.code for finding in two.vault.warnings}
        assert codes == set(), codes
        (text,) = remarks(two)
        assert "vessel leave grebe" in text
        assert "grebe.zip" in text
        assert two.vault.lacking() == ()  # what is left is whole by itself
        # Merges do not bring the half of it back.
        with two.vault.writing() as writing:
            joining.join(two.vault, writing, _pieces(whole))
        again = goes(two)
        assert again.removed > 0
        assert remarks(two) == []
        assert damaged(two) == set()
        assert [v.short for v in two.fleet.vessels] == ["avocet"]
    assert stop == 5  # three records, and two objects that nobody else needs


def _pieces(root: Path) -> Iterator[joining.Piece]:
    for sort in ("objects", "records"):
        for file in sorted((root / sort).rglob("*")):
            if file.is_file():
                name = file.relative_to(root).as_posix()
                yield joining.Piece(name, file.name[:64], sort == "records", file.read_bytes)


def test_a_power_failure_in_the_middle_is_no_damage(two: Laptop, tmp_path: Path) -> None:
    """Removals may reach the disk in any order: what is missing of the ship is no alarm."""
    shutil.copytree(two.root, tmp_path / "whole")
    goes(two)
    (record,) = left(two.vault).values()
    listed = two.vault.read_object(str(record.record.body["listed"])).decode()
    gone = [line.split("  ")[1] for line in listed.splitlines()]
    newest, objects_of_it = gone[0], [n for n in gone if n.startswith("objects")]
    for name in (newest, objects_of_it[0]):
        (two.root / name).parent.mkdir(exist_ok=True)
        if not (two.root / name).exists():
            shutil.copyfile(tmp_path / "whole" / name, two.root / name)
    assert damaged(two) == set()
    assert len(remarks(two)) == 1
    assert two.vault.warnings == ()
    goes(two)
    assert remarks(two) == []


def test_broken_off_before_the_record_nothing_has_left(
    two: Laptop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The pack may stand; the vault is as it was, and the same call does it."""
    before = names(two)
    with monkeypatch.context() as patch:

        def full(*_: object, **__: object) -> None:
            raise OSError(28, "No space left on device")

        patch.setattr(disk, "_write_temporary", full)
        with pytest.raises(ParambakError):
            goes(two)
    assert names(two) == before
    assert (two.root.parent / "grebe.zip").exists()
    goes(two)  # the same pack is taken for it
    assert [v.short for v in two.fleet.vessels] == ["avocet"]


@pytest.mark.parametrize("other", ["rotten", "older", "of the sister", "no pack"])
def test_another_file_of_that_name_is_not_taken_for_the_pack(two: Laptop, other: str) -> None:
    """It is neither written over nor relied on."""
    file = two.root.parent / "grebe.zip"
    pack(
        two.vault,
        ["avocet" if "sister" in other else "grebe"],
        PackFile(file),
        silent,
        replace=False,
    )
    if other == "older":
        two.take(image(8))
    data = bytearray(file.read_bytes())
    if other == "rotten":
        data[len(data) // 3] ^= 1
    elif other == "no pack":
        data = bytearray(b"a letter")
    file.write_bytes(data)
    before = names(two)
    with pytest.raises(ParambakError) as caught:
        goes(two)
    assert caught.value.code == "vault-export-exists"
    assert names(two) == before
    assert file.read_bytes() == data


def test_going_on_takes_the_same_pack(two: Laptop, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without it, or with another, nothing more is removed."""
    vault = two.vault
    pack(vault, ["avocet"], PackFile(two.root.parent / "other.zip"), silent, replace=False)
    with monkeypatch.context() as patch:
        removals(patch, 2)
        with pytest.raises(KeyboardInterrupt):
            goes(two)
    before = names(two)
    for out, code in (("other.zip", "leave-other-pack"), ("none.zip", "pack-unreadable")):
        with pytest.raises(ParambakError) as caught:
            goes(two, out)
        assert caught.value.code == code
    data = bytearray((two.root.parent / "grebe.zip").read_bytes())
    data[len(data) // 3] ^= 1
    (two.root.parent / "rot.zip").write_bytes(data)
    with pytest.raises(ParambakError):
        goes(two, "rot.zip")
    assert names(two) == before
    shutil.move(two.root.parent / "grebe.zip", two.root.parent / "moved.zip")
    goes(two, "moved.zip")
    assert remarks(two) == []


def test_called_again_it_says_the_same(two: Laptop) -> None:
    """A ship that is gone can leave once more: nothing is removed, nothing is asked."""
    first = goes(two)
    again = goes(two)
    assert again == first._replace(removed=0, kept=again.kept)


def test_what_is_in_no_pack_is_not_removed(two: Laptop, tmp_path: Path) -> None:
    """A read of another laptop, copied in by hand after the ship had left."""
    other = two.copy_to(tmp_path / "two")
    goes(two)
    other.take(image(5))
    two.merge_from(other)
    before = names(two)
    with pytest.raises(ParambakError) as caught:
        goes(two)
    assert caught.value.code == "leave-in-no-pack"
    assert names(two) == before
    # As it says: bring it back, and let it leave into a new pack.
    comes(two, two.root.parent / "grebe.zip", back=True)
    goes(two, "new.zip")
    assert [v.short for v in two.fleet.vessels] == ["avocet"]
    other.close()


def test_a_damaged_vault_lets_nothing_leave(two: Laptop) -> None:
    """A damaged object of the ship, or a damaged record of nobody knows which."""
    position = two.position()
    assert position.latest is not None
    two.overwrite(position.latest.sha256)
    with pytest.raises(ParambakError) as caught:
        goes(two)
    assert (caught.value.code, caught.value.exit_code) == ("vault-damaged-object", 3)
    assert not (two.root.parent / "grebe.zip").exists()
    two.overwrite(position.latest.sha256)  # right again
    file = two.vault.records(two.position("avocet/bow-thruster/U3").reads[0].vessel)[-1].file
    (two.root / file).chmod(0o644)
    (two.root / file).write_bytes(b"rot")
    with pytest.raises(ParambakError) as caught:
        goes(two)
    assert (caught.value.code, caught.value.exit_code) == ("leave-damaged-record", 3)
    assert left(two.vault) == {}


def test_a_leaving_does_not_go_on_in_a_damaged_vault(
    two: Laptop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A damaged record of the sister may need the object that both have."""
    with monkeypatch.context() as patch:
        removals(patch, 1)
        with pytest.raises(KeyboardInterrupt):
            goes(two)
    read = two.position("avocet/bow-thruster/U3").reads[0]
    file = two.vault.records(read.vessel)[-1].file
    data = (two.root / file).read_bytes()
    (two.root / file).chmod(0o644)
    (two.root / file).write_bytes(b"rot")
    before = names(two)
    with pytest.raises(ParambakError) as caught:
        goes(two)
    assert caught.value.code == "leave-damaged-record"
    assert names(two) == before
    (two.root / file).write_bytes(data)
    goes(two)
    assert damaged(two) == set()


def test_a_file_that_does_not_go_stops_it(two: Laptop, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another program holds it: said, and the same call goes on later."""
    with monkeypatch.context() as patch:
        remove = disk.remove

        def held(path: Path) -> bool:
            return path.parent.parent.name != "objects" and remove(path)

        patch.setattr(disk, "remove", held)
        with pytest.raises(ParambakError) as caught:
            goes(two)
    assert caught.value.code == "vault-not-removed"
    assert damaged(two) == set()
    assert len(remarks(two)) == 1
    goes(two)
    assert remarks(two) == []


# --- coming back ---


def test_merges_do_not_bring_it_back(two: Laptop, tmp_path: Path) -> None:
    """A pack of it is passed over and counted, till it is asked for by name."""
    goes(two)
    before = names(two)
    file = two.root.parent / "grebe.zip"
    taken = comes(two, file)
    assert sum(taken.joined.skipped_vessels.values()) == 3
    assert names(two) == before
    taken = comes(two, file, back=True)
    assert taken.joined.added_records == 3
    assert taken.returned
    assert [v.short for v in two.fleet.vessels] == ["avocet", "grebe"]
    assert damaged(two) == set()
    assert left(two.vault) == {}
    # From now on it is merged like any other.
    assert comes(two, file).joined.skipped_vessels == {}
    two.take(image(6))
    goes(two, "again.zip")
    assert [v.short for v in two.fleet.vessels] == ["avocet"]
    assert damaged(two) == set()
    other = Laptop(tmp_path / "new-owner")
    comes(other, file)
    comes(other, two.root.parent / "again.zip")
    assert len(other.fleet.vessels[0].positions[0].reads) == 4
    other.close()


def test_a_copy_of_the_vault_learns_of_it(two: Laptop, tmp_path: Path) -> None:
    """A stick keeps the files, says so, and lets the ship leave when it is asked to."""
    stick = two.copy_to(tmp_path / "stick")
    goes(two)
    stick.merge_from(two)
    assert damaged(stick) == set()
    assert len(remarks(stick)) == 1
    goes(stick, "stick.zip")
    assert [v.short for v in stick.fleet.vessels] == ["avocet"]
    one, other = (each.root.parent / n for each, n in ((two, "grebe.zip"), (stick, "stick.zip")))
    assert one.read_bytes() == other.read_bytes()
    stick.close()


def test_another_vault_keeps_its_own(two: Laptop, tmp_path: Path) -> None:
    """The office merges a laptop from which the ship left: the office still has it."""
    office = Laptop(tmp_path / "office")
    office.take(image(7), where="heron/stern/U1")
    file = tmp_path / "grebe.zip"
    pack(two.vault, ["grebe"], PackFile(file), silent, replace=False)
    comes(office, file)
    goes(two)
    office.merge_from(two)
    assert left(office.vault) == {}
    assert "grebe" in [v.short for v in office.fleet.vessels]
    assert damaged(office) == set()
    assert remarks(office) == []
    assert comes(office, file).joined.skipped_vessels == {}
    office.close()


def test_an_unlisted_object_is_left_alone(two: Laptop) -> None:
    """What no record of the ship names stays, though nobody else needs it."""
    with two.vault.writing() as writing:
        digest = writing.put(b"a stray object")
        writing.keep(digest)
    goes(two)
    assert (two.root / objects.file_of(digest)).exists()
