from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from parambak.errors import ParambakError
from parambak.vault.files import disk
from parambak.vault.locations import packed
from parambak.vault.locations.location import make_location
from parambak.vault.locations.packed import pack_file, send_packed
from parambak.vault.locations.send import HELD, Location, SendingFailed, Sent
from parambak.vault.locations.store_fsspec import FsspecStore
from parambak.vault.locations.stores import FolderStore
from parambak.vault.packs import reading
from tests.vault.home import AVOCET, GREBE, Home
from tests.vault.locations.placing import flip, nothing, tree
from tests.vault.locations.test_send import AVOCETS, GREBES, two_customers

if TYPE_CHECKING:
    from pathlib import Path

NAMES = {GREBE: "grebe", AVOCET: "avocet"}


@pytest.fixture
def full(home: Home) -> Home:
    """Return a home whose vault has two vessels."""
    two_customers(home)
    return home


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    """Return the folder of a stick."""
    folder = tmp_path / "stick"
    folder.mkdir()
    return folder


def placed(home: Home, folder: Path, vessels: frozenset[str] | None = None) -> Location:
    """Make a folder a packed backup location."""
    identity = make_location(
        FolderStore(folder),
        vault=home.open().identity,
        known=(),
        limited=vessels is not None,
        packed=True,
        merge=True,
    )
    return Location(identity, vessels, packed=True)


def sent_packed(
    home: Home, folder: Path, target: Location, *, quick: bool = False, both_ways: bool = False
) -> Sent:
    """Send to a folder that is a packed backup location."""
    store = FolderStore(folder)
    return send_packed(home.open(), store, target, NAMES, nothing, quick=quick, both_ways=both_ways)


def test_one_pack_a_vessel_written_only_when_it_changes(full: Home, stick: Path) -> None:
    """What is held is proven by hashing every member."""
    target = placed(full, stick)
    assert sent_packed(full, stick, target).sent == 2
    assert set(tree(stick)) == {
        "backup-location.toml",
        "packs/README.txt",
        pack_file(GREBE),
        pack_file(AVOCET),
    }
    again = sent_packed(full, stick, target)
    assert (again.sent, again.there, again.refused) == (0, 2, ())
    full.note("later", GREBE)
    third = sent_packed(full, stick, target)
    assert (third.sent, third.there) == (1, 1)
    proven = {each.vessel: each for each in third.proven}
    assert proven[GREBE].heads == (full.open().records(GREBE)[-1].digest,)
    assert (proven[GREBE].records, proven[GREBE].hashed, proven[GREBE].incomplete) == (4, True, ())


def test_a_record_of_what_is_held_alone_is_no_reason_to_write(full: Home, stick: Path) -> None:
    """As in every backup location."""
    target = placed(full, stick)
    sent_packed(full, stick, target)
    with full.open().writing() as writing:
        writing.add(HELD, GREBE, {"text": "as a sending writes them"})
    assert sent_packed(full, stick, target).sent == 0


def test_a_limited_location_has_the_packs_of_its_vessels_alone(full: Home, stick: Path) -> None:
    """No byte of another customer, in the packs or unpacked."""
    target = placed(full, stick, frozenset({GREBE}))
    sent_packed(full, stick, target)
    assert pack_file(AVOCET) not in tree(stick)
    shutil.unpack_archive(stick / pack_file(GREBE), stick / "out")
    everything = b"\0".join(name.encode() + data for name, data in tree(stick).items())
    assert GREBES in everything
    for secret in (AVOCET.encode(), b"avocet", b"Bo Made-Up", AVOCETS[:8], AVOCETS[100:108]):
        assert secret not in everything


def test_a_damaged_pack_is_written_anew_and_kept_aside(full: Home, stick: Path) -> None:
    """At any byte: the wrong pack is kept for inspection, the right one is in its place."""
    target = placed(full, stick)
    sent_packed(full, stick, target)
    right = (stick / pack_file(GREBE)).read_bytes()
    for number, at in enumerate(range(0, len(right), len(right) // 12), start=1):
        wrong = right[:at] + bytes([right[at] ^ 1]) + right[at + 1 :]
        (stick / pack_file(GREBE)).write_bytes(wrong)
        sent = sent_packed(full, stick, target)
        assert (sent.repaired_there, sent.refused) == ((pack_file(GREBE),), ())
        assert (stick / pack_file(GREBE)).read_bytes() == right
        assert (stick / "damaged" / f"{GREBE}.zip-{number}").read_bytes() == wrong


def test_a_file_that_is_no_pack_of_this_vessel_is_kept_aside(full: Home, stick: Path) -> None:
    """Another vessel's pack under this name, or none at all."""
    target = placed(full, stick)
    sent_packed(full, stick, target)
    shutil.copyfile(stick / pack_file(AVOCET), stick / pack_file(GREBE))
    assert sent_packed(full, stick, target).repaired_there == (pack_file(GREBE),)
    (stick / pack_file(GREBE)).write_bytes(b"no pack")
    assert sent_packed(full, stick, target).repaired_there == (pack_file(GREBE),)
    assert sent_packed(full, stick, target).there == 2


def test_the_vault_is_repaired_from_a_pack(full: Home, stick: Path) -> None:
    """Each object and record of a vessel, wrong or gone, comes back."""
    target = placed(full, stick)
    sent_packed(full, stick, target)
    right = full.files()
    newest = full.open().records(GREBE)[-1].file
    for stored in full.open().records(GREBE):
        for file in (stored.file, *(f"objects/{d[:2]}/{d}" for d in stored.record.objects)):
            flip(full.root / file)
            assert sent_packed(full, stick, target).repaired_here == (file,)
            assert (full.root / file).read_bytes() == right[file]
            if file != newest:
                (full.root / file).unlink()
                assert sent_packed(full, stick, target).repaired_here == (file,)
    assert full.files().items() >= right.items()


def test_a_record_that_rots_while_the_vault_is_open_is_repaired(full: Home, stick: Path) -> None:
    """What was read before it is no proof that the file is still right."""
    target = placed(full, stick)
    sent_packed(full, stick, target)
    vault = full.open()
    file = vault.records(GREBE)[0].file
    right = (full.root / file).read_bytes()
    flip(full.root / file)
    sent = send_packed(
        vault, FolderStore(stick), target, NAMES, nothing, quick=False, both_ways=False
    )
    assert sent.repaired_here == (file,)
    assert (full.root / file).read_bytes() == right


def test_a_pack_that_holds_more_is_not_written_over(full: Home, other: Home, stick: Path) -> None:
    """Another laptop's records are there: they stay, and come in both ways."""
    shutil.copytree(full.root, other.root)
    target = placed(full, stick)
    other.note("on the other laptop")
    sent_packed(other, stick, target)
    full.note("here")
    before = (stick / pack_file(GREBE)).read_bytes()
    refused = sent_packed(full, stick, target)
    assert [each.file for each in refused.refused] == [pack_file(GREBE)]
    assert "1 record" in refused.refused[0].text
    assert (refused.unknown, refused.vault_damaged, refused.fetched) == (1, False, None)
    assert (stick / pack_file(GREBE)).read_bytes() == before
    taken = sent_packed(full, stick, target, both_ways=True)
    assert taken.fetched is not None
    assert (taken.fetched.records, taken.refused, taken.unknown) == (1, (), 0)
    assert sent_packed(other, stick, target, both_ways=True).refused == ()
    assert full.open().records(GREBE) == other.open().records(GREBE)


def test_a_vault_with_a_hole_leaves_the_old_pack(full: Home, stick: Path) -> None:
    """No pack with a hole is written; the other vessels' packs are."""
    target = placed(full, stick)
    sent_packed(full, stick, target)
    before = (stick / pack_file(GREBE)).read_bytes()
    with full.open().writing() as writing:
        digest = writing.put(b"soon to be lost")
        writing.add("note", GREBE, {"text": "new"}, relies_on=[digest])
    full.note("new", AVOCET)
    (full.root / "objects" / digest[:2] / digest).unlink()
    sent = sent_packed(full, stick, target)
    assert sent.vault_damaged
    assert sent.sent == 1
    assert (stick / pack_file(GREBE)).read_bytes() == before
    proven = {each.vessel: each for each in sent.proven}
    assert len(proven[GREBE].incomplete) == 1
    assert proven[AVOCET].incomplete == ()


def test_quick_hashes_nothing(full: Home, stick: Path) -> None:
    """A damaged member is not noticed, and the proof states that nothing was hashed."""
    target = placed(full, stick)
    sent_packed(full, stick, target)
    data = bytearray((stick / pack_file(GREBE)).read_bytes())
    at = bytes(data).index(GREBES[10:30])
    data[at] ^= 1
    (stick / pack_file(GREBE)).write_bytes(data)
    sent = sent_packed(full, stick, target, quick=True)
    assert (sent.there, {each.hashed for each in sent.proven}) == (2, {False})
    assert sent_packed(full, stick, target).repaired_there == (pack_file(GREBE),)


def test_a_stick_pulled_between_two_packs(
    full: Home, tmp_path: Path, stick: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first vessel was sent, the refusal states it, and the mount point stays empty."""
    target = placed(full, stick)
    plain = reading.pack_to_file
    written: list[int] = []

    def pull(*arguments: object, **named: object) -> object:
        if written:
            stick.rename(tmp_path / "pocket")
            stick.mkdir()
        written.append(1)
        return plain(*arguments, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(packed, "pack_to_file", pull)
    with pytest.raises(SendingFailed) as caught:
        sent_packed(full, stick, target)
    assert caught.value.refusal.code == "backup-lost"
    assert [each.vessel for each in caught.value.proven] == [GREBE]
    assert list(stick.iterdir()) == []


def test_what_a_broken_off_writing_left_is_removed(full: Home, stick: Path) -> None:
    """Temporary files in the folder of packs alone."""
    target = placed(full, stick)
    (stick / "packs" / f"0123456789abcdef{disk.TEMPORARY}").write_bytes(b"half")
    sent_packed(full, stick, target)
    assert not list(stick.rglob("*.tmp"))


def test_packs_that_were_all_removed_are_written_again(full: Home, stick: Path) -> None:
    """The marker shows which backup location it is."""
    target = placed(full, stick)
    sent_packed(full, stick, target)
    shutil.rmtree(stick / "packs")
    assert sent_packed(full, stick, target).sent == 2


def test_a_location_without_packs_yet_is_begun_again(full: Home, stick: Path) -> None:
    """Adding it broke off before it was on record: it is nobody's, and no word is needed."""
    store = FolderStore(stick)
    vault = full.open().identity
    for _ in range(2):
        make_location(store, vault=vault, known=(), limited=False, packed=True, merge=False)
    (stick / pack_file(GREBE)).write_bytes(b"somebody's")
    with pytest.raises(ParambakError) as caught:
        make_location(store, vault=vault, known=(), limited=False, packed=True, merge=False)
    assert caught.value.code == "backup-other-vault"


def test_only_a_folder_can_be_packed(full: Home) -> None:
    """If a pack could not be read in pieces, none is written."""
    fsspec = pytest.importorskip("fsspec")
    store = FsspecStore("memory://x", fsspec.filesystem("memory"), "/x", "w")
    target = Location("9ace" * 8, packed=True)
    with pytest.raises(ParambakError) as caught:
        send_packed(full.open(), store, target, NAMES, nothing, quick=False, both_ways=False)
    assert caught.value.code == "backup-packed-folder"
