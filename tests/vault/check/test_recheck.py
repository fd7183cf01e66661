from __future__ import annotations

import os
import shutil
import sys
from typing import TYPE_CHECKING

import pytest

from parambak.memory.digests import sha256
from parambak.vault.check.recheck import Rechecked, recheck
from parambak.vault.files import disk
from parambak.vault.records import file_of
from parambak.vault.vault import Vault
from tests.vault.home import AVOCET, GREBE, copied_in

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.vault.home import Home

CONTENT = "objects/40/40aff2e9d2d8922e47afd4648e6967497158785fbd1da870e7110266bf944880"
PERSON = "objects/ce/cea4f1ebd8b7a9307321f0642862d0b7161da37ed2fd89916864884602f2c3cd"
ROOT = "records/8d/8d11a1eadd762ca64b589a2efc7fe86bf22fc33497cf505d7bcfa1d335b4f579.json"
OLDEST = "records/03/03310cd0e2bb7dc28a0e077eba2e1b3ce4ab72c0a9691e699f5c15369e047619.json"
NEWEST = "records/71/71d6e46971cab47de2d0a8c61bcd59f3066d2cd8d556669c18bc99875c413394.json"
LINUX = pytest.mark.skipif(sys.platform != "linux", reason="other systems refuse such a name")


def run(home: Home) -> Rechecked:
    """Open the vault and recheck it."""
    return recheck(home.open(), lambda _done, _of: None)


def flip(file: str) -> Callable[[Path], None]:
    """Return what flips one bit in the middle of a file."""

    def act(root: Path) -> None:
        data = bytearray((root / file).read_bytes())
        data[len(data) // 2] ^= 0x10
        (root / file).write_bytes(data)

    return act


def removed(file: str) -> Callable[[Path], None]:
    """Return what removes a file."""
    return lambda root: (root / file).unlink()


def written(file: str, data: bytes) -> Callable[[Path], None]:
    """Return what writes a file."""

    def act(root: Path) -> None:
        (root / file).parent.mkdir(parents=True, exist_ok=True)
        (root / file).write_bytes(data)

    return act


def float_record(root: Path) -> None:
    """Put a record with a float there, rightly named by its digest."""
    data = (root / NEWEST).read_bytes().replace(b'"after both"', b"0.5")
    written(f"records/{sha256(data)[:2]}/{sha256(data)}.json", data)(root)


MISPLACED = "objects/00/" + CONTENT[-64:]
DAMAGE: dict[str, tuple[Callable[[Path], None], str, str]] = {
    "object flipped": (flip(CONTENT), CONTENT, "not what they were"),
    "object emptied": (written(CONTENT, b""), CONTENT, "not what they were"),
    "object removed": (removed(CONTENT), CONTENT, "names it"),
    "object misplaced": (written(MISPLACED, bytes(range(256))), MISPLACED, CONTENT),
    "person flipped": (flip(PERSON), PERSON, "not what they were"),
    "person removed": (removed(PERSON), PERSON, "names it"),
    "record flipped": (flip(OLDEST), OLDEST, "SHA-256"),
    "newest record flipped": (flip(NEWEST), NEWEST, "SHA-256"),
    "record removed": (removed(OLDEST), OLDEST, "names it"),
    "record with a float": (float_record, "records/", "float"),
    "first record removed": (removed(ROOT), "vault.toml", "first record"),
    "vault.toml edited": (written("vault.toml", b"#"), "vault.toml", "first record"),
    "vault.toml removed": (removed("vault.toml"), "vault.toml", "It is missing"),
    "vault.toml too long": (written("vault.toml", b"#" * 5000), "vault.toml", "5000 bytes"),
}


@pytest.mark.parametrize(("act", "file", "text"), DAMAGE.values(), ids=DAMAGE)
def test_each_damage_is_named(
    first: Home, act: Callable[[Path], None], file: str, text: str
) -> None:
    """The file within the vault, and what is wrong with it; nothing else is accused."""
    vault = first.open()
    act(first.root)
    (damage,) = recheck(vault, lambda _done, _of: None).damaged
    assert damage.file.startswith(file)
    assert text in damage.text


def test_a_vault_rechecks_the_same_with_and_without_its_index(first: Home) -> None:
    """The files alone are asked."""
    flip(OLDEST)(first.root)
    assert run(first).damaged == run(first).damaged != ()


def test_strangers_and_leftovers_are_remarked_on_and_no_damage(first: Home) -> None:
    """Files of the system, a sync program or a broken-off write harm nothing."""
    strange = {
        "objects/.DS_Store": "No vault writes",
        "objects/40/Thumbs.db": "No vault writes",
        "records/03/x (conflict).json": "No vault writes",
        "records/03/0123456789abcdef.tmp": "An interrupted write",
    }
    for file in strange:
        written(file, b"")(first.root)
    found = run(first)
    assert found.damaged == ()
    assert {remark.file for remark in found.remarks} == set(strange)
    assert all(remark.text.startswith(strange[remark.file]) for remark in found.remarks)


@LINUX
def test_a_strange_name_is_made_safe_to_print(first: Home) -> None:
    """A name with control characters or no Unicode cannot write on the terminal."""
    os.close(os.open(os.fsencode(first.root / "objects") + b"/\x1b[2J\xff", os.O_CREAT))
    (remark,) = run(first).remarks
    assert remark.file.isprintable()
    assert "\\u{001B}" in remark.file


@pytest.mark.parametrize(
    "name",
    [
        "ab" * 31 + "a",
        "ab" * 32 + "a",
        "AB" * 32,
        "ab" * 31 + "ag",
        "ab" * 31 + "é",
        "ab" * 32 + ".jso",
        "ab" * 31 + ".jsonab",
        "ab" * 32 + ".json.json",
        pytest.param("ab" * 32 + "\n" + "ab" * 32, marks=LINUX),
        pytest.param("ab" * 31 + "a\n", marks=LINUX),
    ],
)
@pytest.mark.parametrize("beside", [True, False])
def test_a_name_that_is_nearly_a_digest_is_a_stranger(
    first: Home, name: str, *, beside: bool
) -> None:
    """Names are judged a folder at a time; a wrong one is found among the right ones."""
    for sort, ending in (("objects", ""), ("records", ".json")):
        folder = first.root / sort / "ab"
        folder.mkdir(exist_ok=True)
        if beside:
            (folder / ("ab" * 30 + f"0000{ending}")).write_bytes(b"x")
        (folder / name).write_bytes(b"")
    found = run(first)
    assert len(found.remarks) == 2
    assert len(found.damaged) == 2 * beside


def test_progress_goes_to_the_end(first: Home) -> None:
    """Every file is counted once, and the last call shows that all are done."""
    calls: list[tuple[int, int]] = []
    recheck(first.open(), lambda done, of: calls.append((done, of)))
    assert calls == [(n, 8) for n in range(1, 9)]


def test_a_record_that_vanished_from_the_end_is_damage(home: Home) -> None:
    """If the index saw it, recheck names it."""
    home.made()
    last = copied_in(home.root, 100)[-1]
    home.open().close()
    (home.root / "records" / last[:2] / f"{last}.json").unlink()
    (damage,) = run(home).damaged
    assert last in damage.file


def test_bytes_that_cannot_be_read_are_damage(first: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    """A bad sector under one object is named; the rest is gone through."""
    vault, read = first.open(), os.read

    def bad_sector(descriptor: int, size: int) -> bytes:
        if os.fstat(descriptor).st_size == 256:
            raise OSError(5, "Input/output error")
        return read(descriptor, size)

    monkeypatch.setattr(os, "read", bad_sector)
    found = recheck(vault, lambda _done, _of: None)
    assert [damage.file for damage in found.damaged] == [CONTENT]
    assert "Input/output error" in found.damaged[0].text
    assert found.records == 6


def test_a_folder_that_cannot_be_listed_is_damage(
    first: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder of objects that the medium will not give is named itself."""
    vault, names_in = first.open(), disk.names_in

    def refuse(folder: Path) -> list[str]:
        if folder.name == "40":
            raise OSError(5, "Input/output error")
        return names_in(folder)

    monkeypatch.setattr(disk, "names_in", refuse)
    found = recheck(vault, lambda _done, _of: None)
    assert [damage.file for damage in found.damaged] == ["objects/40"]


def test_a_new_vault_that_is_not_yet_written_is_whole(home: Home) -> None:
    """Nothing is there, so nothing is damaged."""
    assert recheck(home.open(create=True), lambda _done, _of: None)[:5] == (0, 0, (), (), 0)


def test_every_flipped_byte_of_a_small_vault_is_found(first: Home) -> None:
    """Each file's each byte, one bit at a time, sampled: found and named by its file."""
    vault = Vault.open(first.root, own=first.own, clock=first.clock)
    assert vault.vessels()[0] == GREBE
    for name, data in first.files().items():
        for place in range(0, len(data), 31):
            changed = bytearray(data)
            changed[place] ^= 1 << (place % 8)
            first.overwrite(name, bytes(changed))
            found = recheck(vault, lambda _done, _of: None).damaged
            assert [damage.file for damage in found] == [name], (name, place)
        first.overwrite(name, data)


def _emptied(home: Home, file: str, seconds: int = 3600) -> Path:
    path = home.root / file
    path.parent.mkdir(parents=True, exist_ok=True)
    home.overwrite(file, b"") if path.exists() else path.write_bytes(b"")
    then = int(home.clock().timestamp()) - seconds
    os.utime(path, (then, then))
    return path


def test_an_empty_record_that_nothing_tells_of_is_a_remark(home: Home) -> None:
    """FAT leaves such after a power cut; the next write removes it."""
    home.note("before")
    stray = "records/ab/" + "ab" * 32 + ".json"
    path = _emptied(home, stray)
    found = run(home)
    assert found.damaged == ()
    assert [each.file for each in found.remarks] == [stray]
    home.note("after")
    assert not path.exists()
    assert run(home).remarks == ()
    young = _emptied(home, stray, seconds=10)  # it may be a file that is being copied in
    home.note("at once")
    assert young.exists()


@pytest.mark.parametrize("by", ["a later record", "a body", "the note of this user", "the index"])
def test_an_empty_record_that_something_tells_of_is_damage(home: Home, by: str) -> None:
    """It was written, and somebody was stated so: it is named, and it stays."""
    digest = home.note("the one")
    if by == "a later record":
        home.note("later")
    elif by == "a body":
        home.note(f"the newest was {digest}", vessel=AVOCET)
    elif by == "the index":
        copied_in(home.root, 100, AVOCET)
        home.open().close()
    if by != "the note of this user":
        shutil.rmtree(home.own / "written")
    path = _emptied(home, file_of(digest))
    assert [each.file for each in run(home).damaged] == [file_of(digest)]
    home.note("next", vessel=AVOCET)
    assert path.exists()


def test_a_vault_whose_first_record_is_empty_was_never_finished(home: Home) -> None:
    """As after a power failure while it was made: the next write finishes it."""
    home.made()
    assert not (home.own / "written").exists()
    (record,) = home.root.rglob("records/*/*.json")
    _emptied(home, record.relative_to(home.root).as_posix())
    found = run(home)
    assert found.damaged == ()
    remarks = {each.file: each.text for each in found.remarks}
    assert len(remarks) > 1
    assert "not complete" in remarks["vault.toml"]
    home.note("next")
    assert run(home)[2:4] == ((), ())
