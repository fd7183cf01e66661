from __future__ import annotations

import io
import os
import shutil
import subprocess
import tracemalloc
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.errors import ParambakError
from parambak.memory.digests import sha256
from parambak.vault import objects
from parambak.vault.check.recheck import recheck
from parambak.vault.files import disk
from parambak.vault.joining import join
from parambak.vault.packs import zip_form
from parambak.vault.packs.reading import opened, pack_to_file
from parambak.vault.packs.writing import decode, write_pack
from parambak.vault.records import file_of
from tests.vault.forge import deflated, forged, manifest_part
from tests.vault.home import AVOCET, FIRST, GREBE, Home

if TYPE_CHECKING:
    from parambak.vault.joining import Joined
    from parambak.vault.packs.reading import WrittenPack

KEPT = Path(__file__).parents[3] / "fixtures" / "packs" / "grebe.zip"


def silent(_done: int, _total: int) -> None:
    """Take progress and show nothing."""


def packed(home: Home, *vessels: str, replace: bool = False) -> WrittenPack:
    """Pack vessels next to the vault."""
    names = {vessel: f"ship-{vessel[:4]}" for vessel in vessels or (GREBE,)}
    path = home.root.parent / f"{home.root.parent.name}.zip"
    return pack_to_file(home.open(), names, path, silent, replace=replace)


def unpacked(home: Home, file: str | Path) -> Joined:
    """Check a pack and take it in; what is damaged comes in front of what is refused."""
    with opened(Path(file)) as pack:
        damaged = pack.check(silent)
        vault = home.open(create=True)
        with vault.writing() as writing:
            joined = join(vault, writing, pack.pieces())
    return joined._replace(refused=(*damaged, *joined.refused))


def with_object(home: Home, data: bytes, vessel: str = GREBE) -> str:
    """Add a record that relies on an object; return the object's digest."""
    with home.open(create=True).writing() as writing:
        digest = writing.put(data)
        writing.add("note", vessel, {"text": digest[:8]}, relies_on=[digest])
    return digest


def stuff(home: Home) -> set[str]:
    """Return the names of a vault's objects and records."""
    return {name for name in home.files() if name.startswith(("objects", "records"))}


def test_a_vessel_goes_whole_and_comes_in_whole(first: Home, other: Home) -> None:
    """Byte for byte, into a vault that is made for it; nothing of the sister tug."""
    report = unpacked(other, packed(first).file)
    assert (report.added_objects, report.added_records, report.refused) == (2, 4, ())
    assert other.open().vessels() == (GREBE,)
    assert other.open().records(GREBE) == first.open().records(GREBE)
    taken = {n: d for n, d in first.files().items() if n in stuff(other)}
    assert len(taken) == 6
    assert taken.items() <= other.files().items()
    assert recheck(other.open(), silent).damaged == ()


def test_a_pack_is_the_kept_one(first: Home) -> None:
    """The same vessel gives the same members as when the fixture was made."""
    path = first.root.parent / "grebe.zip"
    pack_to_file(first.open(), {GREBE: "grebe"}, path, silent)
    with zipfile.ZipFile(path) as new, zipfile.ZipFile(KEPT) as old:
        assert new.namelist() == old.namelist()
        assert all(new.read(name) == old.read(name) for name in old.namelist())


def test_equal_contents_give_equal_bytes(home: Home, other: Home) -> None:
    """However the vault came to hold them, and in which order."""
    with_object(home, b"one")
    with_object(home, b"two")
    shutil.copytree(home.root, other.root)
    shutil.rmtree(other.root / "objects")
    with other.open().writing() as writing:
        writing.put(b"two")
        writing.put(b"one")
    one, two = packed(home), packed(other)
    assert Path(one.file).read_bytes() == Path(two.file).read_bytes()
    assert one.sha256 == sha256(Path(one.file).read_bytes())


def test_the_form_is_that_of_the_page(home: Home) -> None:
    """A writer of the tests' own, made from the page, gives the same bytes."""
    with_object(home, b"deflates well " * 40)
    with_object(home, bytes(range(256)))
    path = Path(packed(home).file)
    with zipfile.ZipFile(path) as pack:
        read = {info.filename: pack.read(info) for info in pack.infolist()}
        stored = {i.filename for i in pack.infolist() if i.compress_type == zipfile.ZIP_STORED}
    assert len(stored) == 1  # the 256 bytes that deflate makes longer
    parts = [deflated(name, data) for name, data in read.items()]
    for part in parts:
        if part.name in stored:
            part.packed, part.method = None, 0
    made = manifest_part(parts[1:], vault=home.open().identity)
    assert made.data == parts[0].data.replace(b"ship-3fa2", b"grebe")
    assert forged(parts) == path.read_bytes()


def test_other_programs_read_it(home: Home) -> None:
    """Python's zipfile and Info-ZIP's unzip, both written by others, find no fault."""
    with_object(home, b"bytes " * 100)
    path = packed(home).file
    with zipfile.ZipFile(path) as pack:
        assert pack.testzip() is None
    if shutil.which("unzip"):
        subprocess.run(["unzip", "-qq", "-t", path], check=True, capture_output=True)


def test_nothing_of_others_goes_along(home: Home) -> None:
    """No record of another vessel or of the vault itself, no object that only these name."""
    shared = with_object(home, b"shared")
    with_object(home, b"shared", AVOCET)
    theirs = with_object(home, b"only of the other", AVOCET)
    with home.open().writing() as writing:
        mark = writing.person("B. Invented", AVOCET)
        writing.add("note", AVOCET, {}, by=mark)
        writing.add("note", None, {"about": "the vault itself"})
    path = Path(packed(home).file)
    with zipfile.ZipFile(path) as pack:
        names = set(pack.namelist())
        content = b"".join(pack.read(name) for name in names)
    assert objects.file_of(shared) in names
    assert objects.file_of(theirs) not in names
    for foreign in (AVOCET, theirs, "B. Invented", mark, "the vault itself"):
        assert foreign.encode() not in content
    of_grebe = {stored.file for stored in home.open().records(GREBE)}
    assert {name for name in names if name.startswith("records")} == of_grebe


def test_several_vessels_in_one(home: Home, other: Home) -> None:
    """Each with its name; the shared object once."""
    with_object(home, b"shared")
    with_object(home, b"shared", AVOCET)
    done = packed(home, AVOCET, GREBE)
    assert (done.packed.objects, done.packed.records) == (1, 2)
    with opened(Path(done.file)) as pack:
        assert pack.vessels == {GREBE: "ship-3fa2", AVOCET: "ship-a70c"}
    unpacked(other, done.file)
    assert set(other.open().vessels()) == {GREBE, AVOCET}


def test_a_blank_memory_is_not_taken_for_a_bomb(home: Home, other: Home) -> None:
    """16 MiB of FF would deflate to a thousandth: stored, so that it can be read."""
    digest = with_object(home, b"\xff" * (1 << 20))
    assert unpacked(other, packed(home).file).refused == ()
    assert len(other.open().read_object(digest)) == 1 << 20


def test_an_empty_object_goes_along(home: Home, other: Home) -> None:
    """No bytes are bytes too."""
    digest = with_object(home, b"")
    unpacked(other, packed(home).file)
    assert other.open().read_object(digest) == b""


@pytest.mark.parametrize("damage", ["object", "record", "object gone", "record gone"])
def test_a_damaged_vault_gives_no_pack(home: Home, damage: str) -> None:
    """The file is named, with what to do; no file is left where the pack was to be."""
    digest = with_object(home, b"bytes")
    record = home.open().records(GREBE)[0]
    home.note("after it")
    file = objects.file_of(digest) if damage.startswith("object") else record.file
    if damage.endswith("gone"):
        disk.remove(home.root / file)
    else:
        home.overwrite(file, b"rot")
    with pytest.raises(ParambakError) as caught:
        packed(home)
    assert caught.value.exit_code == 3
    assert caught.value.file == str(home.root / file)
    assert "recheck" in (caught.value.next or "")
    assert caught.value.code in ("vault-damaged-object", "vault-missing-object", "pack-not-whole")
    assert {p.name for p in home.root.parent.iterdir()} <= {"vault", "own", "other"}


def test_a_record_that_rotted_after_it_was_indexed_stops_the_pack(home: Home) -> None:
    """The file is read, even if the index has the record."""
    home.note("one")
    vault = home.open()
    record = vault.records(GREBE)[0]
    home.overwrite(record.file, b"rot")
    with pytest.raises(ParambakError) as caught:
        write_pack(vault, {GREBE: "grebe"}, io.BytesIO(), silent)
    assert caught.value.exit_code == 3
    assert caught.value.file == str(home.root / record.file)


def test_a_name_that_stands_is_kept(first: Home) -> None:
    """Unless it is to be replaced; a refused call leaves the old file and no other."""
    path = Path(packed(first).file)
    path.write_bytes(b"someone's")
    with pytest.raises(ParambakError) as caught:
        packed(first)
    assert caught.value.code == "vault-export-exists"
    assert path.read_bytes() == b"someone's"
    assert packed(first, replace=True).packed.records == 4
    assert sorted(p.name for p in path.parent.glob("*.tmp")) == []


def test_a_pack_that_does_not_read_back_is_taken_away(
    first: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stick that keeps other bytes than it was given."""
    add = zip_form.Writer.add

    def spoil(self: zip_form.Writer, name: str, data: bytes) -> None:
        add(self, name, data[:-1] + b"!" if name.startswith("records/25") else data)

    monkeypatch.setattr(zip_form.Writer, "add", spoil)
    with pytest.raises(ParambakError) as caught:
        packed(first)
    assert caught.value.code == "pack-read-back"
    assert {p.name for p in first.root.parent.iterdir()} <= {"vault", "own"}


def test_a_full_disk_leaves_no_pack(first: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    """The flush reports it; the temporary file is removed."""

    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    vault = first.open()
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(ParambakError) as caught:
        pack_to_file(vault, {GREBE: "grebe"}, first.root.parent / "p.zip", silent)
    assert caught.value.code == "vault-disk-full"
    assert {p.name for p in first.root.parent.iterdir()} <= {"vault", "own"}


def test_a_pack_whose_name_may_not_last_is_not_left(
    first: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder's flush fails: the pack is refused, and removed again."""

    def fail(_folder: Path) -> None:
        raise OSError(5, "Input/output error")

    vault = first.open()
    monkeypatch.setattr(disk, "flush_folder", fail)
    with pytest.raises(ParambakError):
        pack_to_file(vault, {GREBE: "grebe"}, first.root.parent / "p.zip", silent)
    assert {p.name for p in first.root.parent.iterdir()} <= {"vault", "own"}


def test_memory_stays_flat(home: Home, other: Home) -> None:
    """Twelve objects of 1 MiB are packed, checked and taken in with a few at a time."""
    for number in range(12):
        with_object(home, os.urandom(1 << 20) + bytes([number]))
    vault = home.open()
    tracemalloc.start()
    path = home.root.parent / "p.zip"
    pack_to_file(vault, {GREBE: "grebe"}, path, silent)
    unpacked(other, path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 8 << 20
    assert path.stat().st_size > 12 << 20


def test_merging_by_packs_is_a_union(home: Home, other: Home, tmp_path: Path) -> None:
    """Two vaults, unpacked into a third in either order, and into each other: the same."""
    home.note("before they parted")
    shutil.copytree(home.root, other.root)
    with_object(home, b"at home")
    with_object(other, b"aboard")
    other.note("of the sister", AVOCET)
    packs = [packed(home).file, packed(other, GREBE, AVOCET).file]
    thirds = [Home(tmp_path / name / "vault", tmp_path / "own") for name in "ab"]
    for third, order in zip(thirds, (packs, packs[::-1]), strict=True):
        for file in (*order, *order):
            unpacked(third, file)
    unpacked(home, packs[1])
    unpacked(other, packs[0])
    contents = [
        {v: each.open().records(v) for v in each.open().vessels()}
        for each in (*thirds, home, other)
    ]
    assert all(each == contents[0] for each in contents[1:])
    for each in (*thirds, home, other):
        assert recheck(each.open(), silent).damaged == ()
        for vault in each.opened:
            vault.close()


def test_the_kept_pack_reads_for_ever(home: Home) -> None:
    """Made when the format was new; each later version takes it in."""
    assert unpacked(home, KEPT).added_records == 4
    taken = {n: d for n, d in home.files().items() if n.startswith("objects")}
    assert taken
    assert all((FIRST / name).read_bytes() == data for name, data in taken.items())
    assert file_of(home.open().records(GREBE)[0].digest) in stuff(home)


def test_a_manifest_is_read_back_as_written(first: Home) -> None:
    """Its members are as the page lists them."""
    with zipfile.ZipFile(packed(first).file) as pack:
        manifest = decode(pack.read("manifest.json"))
        assert [each.file for each in manifest.files] == pack.namelist()[1:]
        assert [each.bytes for each in manifest.files] == [i.file_size for i in pack.infolist()][1:]
    assert manifest.vault == first.open().identity
