from __future__ import annotations

import os
import random
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from parambak.errors import ParambakError
from parambak.memory.digests import sha256
from parambak.vault import vault_toml
from parambak.vault.check.recheck import recheck
from parambak.vault.check.recover import Heap, new_vault, refuse_unfit_target, surveyed
from parambak.vault.files import disk
from parambak.vault.joining import Joined, join
from parambak.vault.records import decode
from parambak.vault.vault_toml import FIRST
from tests.vault.home import FIRST as KEPT
from tests.vault.home import GREBE, Home

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from parambak.vault.vault import Vault

CONTENT = "objects/40/40aff2e9d2d8922e47afd4648e6967497158785fbd1da870e7110266bf944880"
OLDEST = "records/03/03310cd0e2bb7dc28a0e077eba2e1b3ce4ab72c0a9691e699f5c15369e047619.json"
ROOT = "records/8d/8d11a1eadd762ca64b589a2efc7fe86bf22fc33497cf505d7bcfa1d335b4f579.json"


@pytest.fixture
def loose(tmp_path: Path) -> Path:
    """Return the files of the vault that is kept, renamed, in folders within folders."""
    chance = random.Random(4)
    for number, file in enumerate(sorted(KEPT.rglob("*"))):
        if file.is_file():
            folder = tmp_path / "loose" / str(chance.randrange(3)) / str(chance.randrange(3))
            folder.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(file, folder / f"FOUND{number}.CHK")
    return tmp_path / "loose"


def recovered(home: Home, *sources: Path) -> tuple[Vault, Joined, Heap]:
    """Recover from folders into the home's vault."""
    with surveyed(sources, lambda _done, _of: None) as heap:
        vault = new_vault(home.root, heap, home.own, home.clock)
        home.opened.append(vault)
        with vault.writing() as writing:
            joined = join(vault, writing, heap.pieces(), loose=True)
    return vault, joined, heap


def names(root: Path) -> set[str]:
    """Return the objects and records of a vault, except first records."""
    found = set()
    for file in [*root.rglob("objects/*/*"), *root.rglob("records/*/*.json")]:
        if file.parent.parent.name == "objects" or decode(file.read_bytes()).kind != FIRST:
            found.add(file.relative_to(root).as_posix())
    return found


def tree(folder: Path) -> dict[str, tuple[bytes, int]]:
    """Return every file of a folder, with its bytes and its time."""
    return {
        str(file): (file.read_bytes(), file.stat().st_mtime_ns)
        for file in folder.rglob("*")
        if file.is_file()
    }


def test_renamed_files_become_the_vault_that_they_were(home: Home, loose: Path) -> None:
    """The same objects and records under their right names; the identity; sound."""
    before = tree(loose)
    vault, joined, heap = recovered(home, loose)
    assert names(home.root) == names(KEPT)
    assert vault.identity == "5ca1ab1e" * 4
    assert (home.root / "vault.toml").read_bytes() == (KEPT / "vault.toml").read_bytes()
    assert (joined.missing, joined.refused, heap.refused, heap.unnamed) == ((), (), (), 0)
    assert recheck(home.open(), lambda _d, _of: None).damaged == ()
    assert tree(loose) == before


def test_a_recovered_vault_goes_on(home: Home, loose: Path) -> None:
    """The next record is after the newest that were found."""
    recovered(home, loose)
    digest = home.note("written later")
    newest = home.open().records(GREBE)[-1]
    assert newest.digest == digest
    assert len(newest.record.after) == 1


def test_a_damaged_vault_is_a_source(home: Home, tmp_path: Path) -> None:
    """A damaged object and a removed record are missing; all else is there."""
    shutil.copytree(KEPT, tmp_path / "hurt")
    (tmp_path / "hurt" / CONTENT).write_bytes(b"rotten")
    (tmp_path / "hurt" / OLDEST).unlink()
    _, joined, heap = recovered(home, tmp_path / "hurt")
    # Only the oldest record names the object, so nothing shows any more that it was there.
    assert joined.missing == (OLDEST,)
    assert [each.file.endswith(CONTENT) for each in heap.refused] == [True]
    damaged = [each.file for each in recheck(home.open(), lambda _d, _of: None).damaged]
    assert damaged == [OLDEST]


def test_two_halves_make_a_whole(home: Home, tmp_path: Path) -> None:
    """A file that is missing from one folder may be in another."""
    for half in ("one", "two"):
        shutil.copytree(KEPT, tmp_path / half)
    (tmp_path / "one" / CONTENT).write_bytes(b"rotten")
    shutil.rmtree(tmp_path / "two" / "records")
    _, joined, _ = recovered(home, tmp_path / "one", tmp_path / "two")
    assert joined.missing == ()
    assert names(home.root) == names(KEPT)


def test_whatever_survives_is_taken_and_the_holes_are_named(tmp_path: Path) -> None:
    """Of random subsets: every provable file, no other; recheck names exactly what is missing."""
    chance = random.Random(11)
    every = [file for file in sorted(KEPT.rglob("*")) if file.is_file()]
    for turn in range(12):
        heap = tmp_path / f"heap{turn}"
        heap.mkdir()
        kept = chance.sample(every, chance.randrange(1, len(every)))
        for number, file in enumerate(kept):
            shutil.copyfile(file, heap / f"{number}.bin")
        home = Home(tmp_path / f"vault{turn}", tmp_path / f"own{turn}")
        records = [decode(f.read_bytes()) for f in kept if f.suffix == ".json"]
        if not records:
            continue
        vault, joined, _ = recovered(home, heap)
        named = {d for record in records for d in record.objects}
        provable = {
            f.relative_to(KEPT).as_posix()
            for f in kept
            if (f.suffix == ".json" and decode(f.read_bytes()).kind != FIRST) or f.name in named
        }
        assert names(home.root) == provable
        found = recheck(vault, lambda _d, _of: None)
        assert tuple(each.file for each in found.damaged) == joined.missing
        vault.close()


def test_the_identity_is_that_of_the_vault_whose_marker_is_here(tmp_path: Path, home: Home) -> None:
    """Of two vaults: the one whose vault.toml survived, although the other is older."""
    other = Home(tmp_path / "other", tmp_path / "other-own")
    made = other.made()
    shutil.copytree(KEPT, tmp_path / "heap")
    shutil.copytree(other.root / "records", tmp_path / "heap" / "more")
    (tmp_path / "heap" / "vault.toml").unlink()
    vault, _, _ = recovered(home, tmp_path / "heap")
    assert vault.identity == "5ca1ab1e" * 4  # the older first record
    shutil.copyfile(other.root / "vault.toml", tmp_path / "heap" / "marker")
    again = Home(tmp_path / "again", tmp_path / "own2")
    assert recovered(again, tmp_path / "heap")[0].identity == made.identity


def test_without_a_first_record_the_identity_is_new(home: Home, tmp_path: Path) -> None:
    """vault.toml alone proves nothing: it could be any."""
    shutil.copytree(KEPT, tmp_path / "heap")
    (tmp_path / "heap" / ROOT).unlink()
    vault, joined, heap = recovered(home, tmp_path / "heap")
    assert heap.identity() is None
    assert vault.identity != "5ca1ab1e" * 4
    assert joined.missing == ()
    assert heap.unnamed == 1


@pytest.mark.parametrize(
    "body",
    [b"5ca1ab1e", b"../../../../x", b"z" * 32],
)
def test_a_first_record_that_does_not_fit_tells_no_identity(body: bytes, tmp_path: Path) -> None:
    """Its two members must fit each other to the byte."""
    data = (KEPT / ROOT).read_bytes().replace(b"5ca1ab1e" * 4, body)
    (tmp_path / "first").write_bytes(data)
    with surveyed([tmp_path / "first"], lambda _d, _of: None) as heap:
        assert not heap.empty
        assert heap.identity() is None


def test_strangers_are_left_out(home: Home, loose: Path) -> None:
    """Photographs, an empty file, a dump that begins like a record: counted, not taken."""
    (loose / "photo.jpg").write_bytes(b"\xff\xd8" * 100)
    (loose / "empty").write_bytes(b"")
    (loose / "like a record").write_bytes(b'{"after":[],"body":0.5}\n')
    (loose / "like a pack").write_bytes(b"PK\x03\x04 and no more")
    _, _, heap = recovered(home, loose)
    assert heap.unnamed == 4
    assert names(home.root) == names(KEPT)
    assert [each.file.endswith("like a pack") for each in heap.refused] == [True]


def test_a_record_of_a_later_format_is_told(home: Home, loose: Path) -> None:
    """It may matter, and this version does not read it."""
    data = (KEPT / OLDEST).read_bytes().replace(b'"format":1', b'"format":2')
    (loose / "later.json").write_bytes(data)
    _, _, heap = recovered(home, loose)
    (refused,) = heap.refused
    assert refused.file.endswith("later.json")
    assert "newer" in refused.text


def test_what_is_too_large_or_no_file_is_told(
    home: Home, loose: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file larger than any object, and one that cannot be read; the rest is taken."""
    (loose / "large.bin").write_bytes(b"\0" * 5000)
    monkeypatch.setattr("parambak.vault.objects.MAX_BYTES", 4000)
    _, joined, heap = recovered(home, loose)
    assert [each.file.endswith("large.bin") for each in heap.refused] == [True]
    assert joined.missing == ()


def test_a_pipe_is_told_as_what_it_is(home: Home, loose: Path) -> None:
    """It is no pack that is larger than any object, and nobody waits for it."""
    os.mkfifo(loose / "pipe")
    _, joined, heap = recovered(home, loose)
    (refused,) = heap.refused
    assert refused.file.endswith("pipe")
    assert "It cannot be read" in refused.text
    assert joined.missing == ()


def test_nothing_proven_makes_no_vault(home: Home, tmp_path: Path) -> None:
    """A refusal, and no folder."""
    (tmp_path / "heap").mkdir()
    (tmp_path / "heap" / "photo.jpg").write_bytes(b"\xff\xd8")
    with pytest.raises(ParambakError) as refusal:
        recovered(home, tmp_path / "heap")
    assert refusal.value.code == "recover-nothing"
    assert refusal.value.found == "1 file"
    assert not home.root.exists()
    (tmp_path / "heap" / "cut.zip").write_bytes(b"PK\x03\x04 and no more")
    with pytest.raises(ParambakError) as refusal:
        recovered(home, tmp_path / "heap")
    assert "2 files" in str(refusal.value.found)
    assert "cut.zip: It cannot be read as a pack" in str(refusal.value.found)


@pytest.mark.parametrize(
    ("target", "code"),
    [
        ("heap", "recover-inside"),
        ("heap/vault", "recover-inside"),
        (".", "recover-inside"),
        ("full", "recover-not-empty"),
    ],
)
def test_no_source_is_written_to_and_nothing_is_mixed(
    tmp_path: Path, target: str, code: str
) -> None:
    """The new vault lies in a new folder, next to the sources."""
    for folder in ("heap", "full"):
        (tmp_path / folder).mkdir()
    (tmp_path / "full" / "file").write_bytes(b"")
    with pytest.raises(ParambakError) as refusal:
        refuse_unfit_target(tmp_path / target, [tmp_path / "heap"])
    assert refusal.value.code == code


def test_a_new_or_empty_folder_is_a_target(tmp_path: Path) -> None:
    """No folder must be made before."""
    (tmp_path / "empty").mkdir()
    for name in ("empty", "absent"):
        refuse_unfit_target(tmp_path / name, [tmp_path / "heap"])


def test_a_folder_that_cannot_be_listed_is_told(
    home: Home, loose: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be looked at may be what is missing."""
    scandir = os.scandir

    def refuse(path: str) -> Iterator[os.DirEntry[str]]:
        if Path(path).name == "locked":
            raise PermissionError(13, "Permission denied", path)
        return scandir(path)

    (loose / "locked").mkdir()
    monkeypatch.setattr(os, "scandir", refuse)
    _, _, heap = recovered(home, loose)
    assert ["cannot be read" in each.text for each in heap.refused] == [True]


def test_the_marker_is_known_to_the_byte() -> None:
    """What is written for an identity has the digest that the first record holds."""
    data = vault_toml.encode("5ca1ab1e" * 4)
    assert sha256(data) == sha256(disk.read_file(KEPT / "vault.toml", 4096))


@pytest.mark.parametrize("name", ["a record", "a folder"])
def test_what_cannot_be_read_is_doubtful(
    home: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """It may be lost, although no file that was read names it."""
    source = tmp_path / "hurt"
    shutil.copytree(KEPT, source)
    newest = "records/6c" if name == "a folder" else _newest(source)
    if name == "a folder":
        (source / newest).mkdir(exist_ok=True)
    functions: dict[str, Callable[..., Any]] = {"open": os.open, "scandir": os.scandir}

    def refusing(function: str) -> Any:
        def call(path: Any, *rest: Any) -> Any:
            if os.fspath(path) == os.fspath(source / newest):
                raise OSError(5, "Input/output error", path)
            return functions[function](path, *rest)

        return call

    for function in functions:
        monkeypatch.setattr(os, function, refusing(function))
    _, joined, heap = recovered(home, source)
    assert joined.missing == ()
    assert [each.file for each in heap.doubtful] == [str(source / newest)]


def _newest(root: Path) -> str:
    """Return the file of a record that no other is after."""
    every = {f: decode(f.read_bytes()) for f in root.rglob("records/*/*.json")}
    named = {digest for record in every.values() for digest in record.after}
    ends = [f for f, record in every.items() if f.stem not in named and record.vessel == GREBE]
    return ends[0].relative_to(root).as_posix()


def test_a_name_that_tells_of_other_bytes_is_doubtful_unless_those_are_elsewhere(
    home: Home, tmp_path: Path
) -> None:
    """The newest record, damaged, is named only by its own file."""
    source = tmp_path / "hurt"
    shutil.copytree(KEPT, source)
    newest = _newest(source)
    (source / newest).write_bytes(b"rotten")
    with surveyed([source], lambda _done, _of: None) as heap:
        assert [each.file for each in heap.doubtful] == [str(source / newest)]
    _, _, heap = recovered(home, source, KEPT)
    assert heap.doubtful == ()
    assert [each.file for each in heap.refused] == [str(source / newest)]


def test_a_recovery_that_was_broken_off_as_it_began_goes_on(home: Home) -> None:
    """A lock, a temporary file, empty folders, vault.toml and the first record are no vault yet."""
    (home.root / "records" / "8d").mkdir(parents=True)
    for name, data in (("lock", b"process 1"), ("0" * 16 + ".tmp", b"{"), ("vault.toml", b"")):
        (home.root / name).write_bytes(data)
    refuse_unfit_target(home.root, [KEPT])
    shutil.copyfile(KEPT / "vault.toml", home.root / "vault.toml")
    shutil.copyfile(KEPT / ROOT, home.root / ROOT)
    (home.root / "objects" / "ab").mkdir(parents=True)
    (home.root / "objects" / "ab" / ("ab" * 32)).write_bytes(b"an object that no record names")
    refuse_unfit_target(home.root, [KEPT])
    vault, joined, _ = recovered(home, KEPT)
    assert vault.identity == "5ca1ab1e" * 4
    assert joined.missing == ()
    assert names(KEPT) <= names(home.root)
    with pytest.raises(ParambakError) as refusal:
        refuse_unfit_target(home.root, [KEPT])
    assert refusal.value.code == "recover-not-empty"


def test_another_vault_that_was_begun_is_no_target(home: Home) -> None:
    """Two identities are not mixed, even if the other vault is still empty."""
    home.made()
    refuse_unfit_target(home.root, [KEPT])
    with pytest.raises(ParambakError) as refusal:
        recovered(home, KEPT)
    assert refusal.value.code == "recover-not-empty"
