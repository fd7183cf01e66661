from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest

from parambak.errors import ParambakError
from parambak.vault.faults import Mistrusted
from parambak.vault.files import disk
from parambak.vault.index import index, tables
from parambak.vault.index.tables import Database
from parambak.vault.records import file_of
from tests.vault.home import AVOCET, GREBE, copied_in

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.vault.vault import Vault
    from tests.vault.home import Home

SOME = 100  # more than are held without a database


def age(root: Path, seconds: int = 3600) -> None:
    """Let the folders have changed long before the clock of the tests."""
    for folder in (root / "records").iterdir():
        status = folder.stat()
        os.utime(folder, ns=(status.st_atime_ns, 1_700_000_000_000_000_000 - seconds))


def answers(vault: Vault) -> dict[str | None, list[str]]:
    """Return everything that the index answers: digests by vessel, in order."""
    vessels: list[str | None] = [None, *vault.vessels()]
    return {vessel: [s.digest for s in vault.records(vessel)] for vessel in vessels}


def codes(vault: Vault) -> set[str]:
    """Return the codes of a vault's warnings."""
    return {finding.code for finding in vault.warnings}


@pytest.fixture
def full(home: Home) -> Home:
    """Return a home whose vault has a database, and one record next to it."""
    home.made()
    copied_in(home.root, SOME)
    home.open().close()
    home.note("loose", AVOCET)
    assert (home.root / "index.sqlite").exists()
    return home


@pytest.fixture
def listed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return the folders that are listed from here on."""
    seen: list[str] = []
    names_in = disk.names_in

    def noting(folder: Path | str) -> list[str]:
        seen.append(Path(folder).name)
        return names_in(folder)

    monkeypatch.setattr(disk, "names_in", noting)
    return seen


def test_a_small_vault_has_no_database(home: Home) -> None:
    """Few records are read from their files; the database costs no flush until there are many."""
    home.made()
    copied_in(home.root, index.LOOSE - 1)
    assert len(home.open().records(GREBE)) == index.LOOSE - 1
    assert not (home.root / "index.sqlite").exists()
    home.note("one more")
    assert len(home.open().records(GREBE)) == index.LOOSE
    assert (home.root / "index.sqlite").exists()


def test_the_answers_do_not_depend_on_the_index(full: Home) -> None:
    """With a database, without one and with one built again, they are the same."""
    expected = answers(full.open())
    assert len(expected[GREBE]) == SOME
    (full.root / "index.sqlite").unlink()
    assert answers(full.open()) == expected
    assert answers(full.open()) == expected


def test_records_that_were_copied_in_are_found(full: Home) -> None:
    """Plain copying is how vaults merge: a few, then many."""
    few = copied_in(full.root, 3, AVOCET, "few")
    assert set(few) <= set(answers(full.open())[AVOCET])
    many = copied_in(full.root, SOME, AVOCET, "many")
    assert set(many) <= set(answers(full.open())[AVOCET])


def other_program(path: Path) -> None:
    """Put some other program's database there."""
    path.unlink()
    with sqlite3.connect(path) as database:
        database.execute("CREATE TABLE letters (text)")
    database.close()


def change(statement: str) -> Callable[[Path], None]:
    """Return what changes an index by one SQL statement."""

    def act(path: Path) -> None:
        with sqlite3.connect(path) as database:
            database.execute(statement)
        database.close()

    return act


DEFECTS: dict[str, Callable[[Path], Any]] = {
    "cut to half": lambda path: os.truncate(path, path.stat().st_size // 2),
    "cut to one page": lambda path: os.truncate(path, 4096),
    "cut to 100 bytes": lambda path: os.truncate(path, 100),
    "text": lambda path: path.write_text("no database at all, but a text\n" * 50),
    "zeros": lambda path: path.write_bytes(bytes(path.stat().st_size)),
    "another program's": other_program,
    "another vault's": change("UPDATE vault SET identity = replace(identity, 'a', 'b') || '0'"),
    "another schema": change("PRAGMA user_version = 99"),
    "a table gone": change("DROP TABLE counts"),
    "an edited record": change("UPDATE records SET bytes = replace(bytes, 'note', 'nota')"),
    "a record of another type": change("UPDATE records SET bytes = 5"),
    "a record removed": change("DELETE FROM records WHERE rowid = 7"),
    "a record elsewhere": change(
        "UPDATE records SET vessel = '' "
        "WHERE rowid = (SELECT max(rowid) FROM records WHERE vessel <> '')"
    ),
    "a vessel unknown": change("UPDATE counts SET vessel = 'ff' WHERE vessel <> ''"),
    "a vessel forgotten": change("DELETE FROM counts WHERE vessel <> ''"),
    "a folder of another type": change("UPDATE folders SET inode = 'x'"),
    "a digest of another length": change("UPDATE records SET digest = x'00' WHERE rowid = 7"),
}


@pytest.mark.parametrize("defect", DEFECTS.values(), ids=DEFECTS)
def test_a_wrong_index_is_thrown_away(full: Home, defect: Callable[[Path], Any]) -> None:
    """Each defect is noticed, the index is built again, and the answers stay right."""
    expected = answers(full.open())
    full.opened[-1].close()
    defect(full.root / "index.sqlite")
    vault = full.open()
    assert answers(vault) == expected
    assert "vault-index-rebuilt" in codes(vault)
    assert codes(full.open()) == set()


def test_an_index_of_another_version_is_told_as_such(full: Home) -> None:
    """And is no other vault's."""
    change("PRAGMA user_version = 99")(full.root / "index.sqlite")
    (finding,) = full.open().warnings
    assert "it is not this version's index" in finding.text


def test_a_record_under_another_kind_is_noticed(full: Home) -> None:
    """Its own bytes show which vault it is of."""
    for statement in ("UPDATE records SET kind = 'other'", "UPDATE counts SET kind = 'other'"):
        change(f"{statement} WHERE vessel <> ''")(full.root / "index.sqlite")
    vault = full.open()
    assert vault.of_kind(GREBE, "other") == []
    assert "vault-index-rebuilt" in codes(vault)
    assert len(vault.of_kind(GREBE, "note")) == SOME


def test_an_index_is_built_anew_where_that_is_asked_for(full: Home) -> None:
    """From the records alone; its old content does not matter."""
    vault = full.open()
    before = (full.root / "index.sqlite").stat()
    assert vault.rebuild() == len(list(full.root.rglob("*.json")))
    after = (full.root / "index.sqlite").stat()
    assert (before.st_ino, before.st_ctime_ns) != (after.st_ino, after.st_ctime_ns)


def test_every_flipped_byte_of_the_index_leaves_the_answers_right(full: Home) -> None:
    """Bit rot in the index is noticed or does no harm: sampled over the file."""
    expected = answers(full.open())
    full.opened[-1].close()
    path = full.root / "index.sqlite"
    good = path.read_bytes()
    for place in range(0, len(good), max(1, len(good) // 150)):
        path.write_bytes(good[:place] + bytes([good[place] ^ 0x11]) + good[place + 1 :])
        vault = full.open()
        assert answers(vault) == expected, f"byte {place}"
        vault.close()


def test_an_index_of_the_same_vault_from_another_time_is_no_harm(full: Home) -> None:
    """Records are missing from an old copy of the index, and it finds them."""
    old = (full.root / "index.sqlite").read_bytes()
    copied_in(full.root, SOME, AVOCET)
    expected = answers(full.open())
    full.opened[-1].close()
    (full.root / "index.sqlite").write_bytes(old)
    assert answers(full.open()) == expected


def test_a_record_that_vanished_is_said(full: Home) -> None:
    """Its file is named, and it is in no answer any more."""
    gone = answers(full.open())[GREBE][50]
    full.opened[-1].close()
    (full.root / file_of(gone)).unlink()
    vault = full.open()
    assert gone not in answers(vault)[GREBE]
    assert {"vault-record-vanished", "vault-history-gap"} <= codes(vault)
    assert any(file_of(gone) in finding.text for finding in vault.warnings)
    assert vault.gone == (file_of(gone),)
    assert codes(full.open()) == {"vault-history-gap"}


def test_a_record_that_was_edited_before_it_was_known_is_left_out(full: Home) -> None:
    """It is reported each time until it is repaired, and the rest is there."""
    (digest,) = copied_in(full.root, 1, AVOCET, "edited")
    good = (full.root / file_of(digest)).read_bytes()
    full.overwrite(file_of(digest), good.replace(b"edited", b"editee"))
    age(full.root)
    for _ in range(2):
        vault = full.open()
        assert digest not in answers(vault)[AVOCET]
        assert codes(vault) == {"vault-record-skipped"}
    full.overwrite(file_of(digest), good)
    assert digest in answers(full.open())[AVOCET]


def test_a_folder_with_a_damaged_record_is_looked_at_until_it_is_repaired(
    full: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file that is repaired in place leaves its folder's time as it was."""
    monkeypatch.setattr(index, "SMALL", 10)
    monkeypatch.setattr(index, "NEEDLESS", 0)
    (digest,) = copied_in(full.root, 1, AVOCET, "edited")
    good = (full.root / file_of(digest)).read_bytes()
    full.overwrite(file_of(digest), b"{}")
    age(full.root)
    for _ in range(2):
        assert codes(full.open()) == {"vault-record-skipped"}
    full.overwrite(file_of(digest), good)
    age(full.root)
    assert digest in answers(full.open())[AVOCET]


def test_many_damaged_records_do_not_fill_the_screen(full: Home) -> None:
    """The first few are named, the rest is counted."""
    for digest in copied_in(full.root, 30, AVOCET, "edited"):
        full.overwrite(file_of(digest), b"{}")
    texts = [f.text for f in full.open().warnings if f.code == "vault-record-skipped"]
    assert len(texts) == index.SHOWN + 1
    assert "25 more" in texts[-1]


def test_folders_that_did_not_change_are_not_listed(
    full: Home, listed: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a large vault an opening lists only the folders whose time is new."""
    monkeypatch.setattr(index, "SMALL", 10)
    monkeypatch.setattr(index, "NEEDLESS", 0)
    age(full.root)
    full.open().close()
    listed.clear()
    full.open().close()
    assert [name for name in listed if len(name) == 2] == []
    (digest,) = copied_in(full.root, 1, AVOCET, "new")
    vault = full.open()
    assert digest in answers(vault)[AVOCET]
    assert {name for name in listed if len(name) == 2} == {digest[:2]}


def test_a_folder_that_changed_just_now_is_listed_again(
    full: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two changes within the coarseness of a file system's times are both seen."""
    monkeypatch.setattr(index, "SMALL", 10)
    monkeypatch.setattr(index, "NEEDLESS", 0)
    home_now = int(full.clock().timestamp() * 1e9)
    for folder in (full.root / "records").iterdir():
        os.utime(folder, ns=(home_now, home_now - 2_000_000_000))
    full.open().close()
    times = {folder: folder.stat().st_mtime_ns for folder in (full.root / "records").iterdir()}
    (digest,) = copied_in(full.root, 1, AVOCET, "same-second")
    for folder, time in times.items():
        os.utime(folder, ns=(time, time))
    assert digest in answers(full.open())[AVOCET]


def test_a_file_system_that_keeps_no_folder_times_is_listed_each_time(
    full: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Our own write shows it, and from then on no time is believed."""
    monkeypatch.setattr(index, "SMALL", 10)
    age(full.root)
    full.open().close()
    old = disk.Stamp(1, 1)
    monkeypatch.setattr(disk, "stamp_of", lambda folder: old if Path(folder).is_dir() else None)
    vault = full.open()
    for n in range(20):  # into a folder that is there already, sooner or later
        with vault.writing() as writing:
            writing.add("note", AVOCET, {"again": n})
    vault.close()
    (digest,) = copied_in(full.root, 1, AVOCET, "unseen")
    assert digest in answers(full.open())[AVOCET]


def test_an_index_that_cannot_be_written_is_kept_beside_the_vault(full: Home) -> None:
    """A read-only medium without an index is still read, and that is reported."""
    expected = answers(full.open())
    full.opened[-1].close()
    (full.root / "index.sqlite").unlink()
    (full.root / "index.sqlite").mkdir()
    vault = full.open()
    assert answers(vault) == expected
    assert codes(vault) == {"vault-index-aside"}


def test_a_locked_index_does_not_stop_reading(full: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    """While another process writes the index for long, all records are read instead."""
    monkeypatch.setattr("parambak.vault.index.tables.BUSY_SECONDS", 0.05)
    expected = answers(full.open())
    full.opened[-1].close()
    database = sqlite3.connect(full.root / "index.sqlite", isolation_level=None)
    database.execute("BEGIN EXCLUSIVE")
    vault = full.open()
    assert answers(vault) == expected
    assert codes(vault) == {"vault-index-aside"}
    database.execute("ROLLBACK")
    database.close()
    assert codes(full.open()) == set()


def test_where_no_index_can_be_built_at_all_it_is_refused(
    full: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither in the vault nor next to it: the refusal gives SQLite's message."""
    (full.root / "index.sqlite").unlink()

    def full_disk(*_arguments: object, **_options: object) -> sqlite3.Connection:
        raise sqlite3.OperationalError("database or disk is full")

    # Of that module alone: the coverage of the tests uses SQLite too.
    monkeypatch.setattr(tables, "sqlite3", SimpleNamespace(connect=full_disk, Error=sqlite3.Error))
    with pytest.raises(ParambakError) as caught:
        full.open()
    assert caught.value.code == "vault-index-failed"
    assert "full" in str(caught.value.found)


def test_records_that_cannot_be_listed_are_refused(
    full: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder that the system will not list is no empty folder."""

    def refuse(folder: Path) -> list[str]:
        raise PermissionError(13, "Permission denied", str(folder))

    monkeypatch.setattr(disk, "names_in", refuse)
    with pytest.raises(ParambakError) as caught:
        full.open()
    assert caught.value.code == "vault-unreadable"


def test_two_processes_that_fold_at_once_lose_nothing(full: Home) -> None:
    """Both open before either writes its part; nothing is counted twice."""
    one, two = full.open(), full.open()
    copied_in(full.root, SOME, AVOCET, "many")
    for vault in (one, two):
        with vault.writing() as writing:
            writing.add("note", AVOCET, {})
    assert answers(one)[GREBE] == answers(two)[GREBE]
    expected = answers(full.open())
    assert len(expected[AVOCET]) == 1 + SOME + 2
    assert codes(full.open()) == set()


def test_many_records_in_one_writing_are_folded_on_the_way(home: Home) -> None:
    """What is held in memory stays small, and every record is there."""
    vault = home.open(create=True)
    with vault.writing() as writing:
        for n in range(600):
            writing.add("note", f"{n % 50:032x}", {"n": n})
    assert len(vault._index._loose) <= 8 * index.LOOSE
    assert sum(len(vault.records(vessel)) for vessel in vault.vessels()) == 600
    assert sum(map(len, answers(home.open()).values())) == 601


@pytest.mark.parametrize("times", [1, 1000], ids=["once", "for ever"])
def test_an_index_that_fails_as_it_is_asked_whether_it_changed(
    full: Home, monkeypatch: pytest.MonkeyPatch, times: int
) -> None:
    """It is built again next to the vault; if that also fails, the command is refused."""
    expected = answers(full.open())
    vault = full.open()
    version = Database.version
    failures = [Mistrusted("disk I/O error", damaged=False)] * times

    def failing(database: Database) -> int:
        if failures:
            raise failures.pop()
        return version(database)

    monkeypatch.setattr(Database, "version", failing)
    if times == 1:
        with vault.writing():
            pass
        assert answers(vault) == expected
        assert codes(vault) == {"vault-index-aside"}
        return
    with pytest.raises(ParambakError) as caught, vault.writing():
        pass
    assert caught.value.code == "vault-index-failed"
