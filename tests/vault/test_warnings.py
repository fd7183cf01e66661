from __future__ import annotations

import shutil
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from parambak.errors import ParambakError
from parambak.vault.check.recheck import recheck
from parambak.vault.files import disk
from parambak.vault.vault import Vault
from tests.vault.home import GREBE

if TYPE_CHECKING:
    from pathlib import Path

    from tests.vault.home import Home


def codes(vault: Vault) -> set[str]:
    """Return the codes of a vault's warnings."""
    return {finding.code for finding in vault.warnings}


def test_a_history_cut_short_at_its_end_is_said(home: Home) -> None:
    """The user's own folder holds the last record that was written from here."""
    home.note("kept")
    last = home.note("lost")
    (home.root / "records" / last[:2] / f"{last}.json").unlink()
    vault = home.open()
    assert codes(vault) == {"vault-history-cut"}
    assert last in vault.warnings[0].text


def test_an_older_copy_of_the_vault_is_said(home: Home, tmp_path: Path) -> None:
    """A stick that was left behind does not have what was written later."""
    home.note("both")
    shutil.copytree(home.root, tmp_path / "stick")
    home.note("laptop alone")
    assert codes(home.open()) == set()
    stick = Vault.open(tmp_path / "stick", own=home.own, clock=home.clock)
    assert codes(stick) == {"vault-history-cut"}


def test_a_clock_that_went_backwards_is_said(home: Home) -> None:
    """By any step for one writer; the record is written all the same."""
    home.note("1")
    home.now -= timedelta(seconds=1)
    vault = home.open()
    with vault.writing() as writing:
        writing.add("note", GREBE, {})
    assert codes(vault) == {"vault-clock-backwards"}
    assert len(vault.records(GREBE)) == 2


@pytest.mark.parametrize(("seconds", "said"), [(120, False), (121, True)])
def test_two_laptops_clocks_may_differ_a_little(home: Home, seconds: int, said: bool) -> None:
    """Two minutes between two writers pass without a word."""
    home.note("1")
    home.own = home.own.with_name("another user")
    home.now -= timedelta(seconds=seconds)
    vault = home.open()
    with vault.writing() as writing:
        writing.add("note", GREBE, {})
    assert (codes(vault) == {"vault-clock-backwards"}) == said


def test_a_damaged_note_of_ones_own_is_said(home: Home) -> None:
    """It cannot are about a cut any more; nothing else is lost."""
    home.note("1")
    (note,) = (home.own / "written").iterdir()
    note.write_text('{"vault": 1}')
    vault = home.open()
    assert codes(vault) == {"vault-own-damaged"}
    home.note("2")
    assert codes(home.open()) == set()


def test_a_note_that_cannot_be_written_is_said_and_stops_nothing(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The record is in the vault by then."""
    vault = home.made()

    def refuse(path: Path, _data: bytes) -> None:
        raise OSError(28, "No space left on device", str(path))

    monkeypatch.setattr(disk, "write_plain", refuse)
    with vault.writing() as writing:
        writing.add("note", GREBE, {})
    assert codes(vault) == {"vault-own-not-written"}
    assert len(home.open().records(GREBE)) == 1


def test_what_the_system_will_not_read_is_refused(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An object under a bad sector is no answer: exit 2, with the system's words."""
    vault = home.made()
    with vault.writing() as writing:
        digest = writing.put(b"image")

    def refuse(_path: object, _limit: int) -> bytes:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(disk, "read_file", refuse)
    with pytest.raises(ParambakError) as caught:
        vault.read_object(digest)
    assert caught.value.code == "vault-unreadable"
    assert "Input/output error" in str(caught.value.found)
    with pytest.raises(ParambakError) as caught:
        home.open()
    assert caught.value.code == "vault-unreadable"


def test_an_own_folder_that_cannot_be_used_is_refused_before_anything(home: Home) -> None:
    """Without a writer's identity nothing is written into the vault."""
    home.own.write_text("a file")
    vault = home.open(create=True)
    with pytest.raises(ParambakError) as caught, vault.writing():
        pass
    assert caught.value.code == "vault-own-folder"
    assert not home.root.exists()


def test_an_unfinished_vault_is_finished_by_the_next_writer(home: Home) -> None:
    """Broken off between vault.toml and the first record, it opens and repairs."""
    home.made()
    shutil.rmtree(home.root / "records")
    shutil.rmtree(home.own / "written", ignore_errors=True)
    assert codes(home.open()) == {"vault-first-record-missing"}
    home.note("1")
    vault = home.open()
    assert codes(vault) == set()
    assert recheck(vault, lambda _done, _of: None).damaged == ()


def test_a_vault_that_went_away_is_refused(home: Home) -> None:
    """A stick pulled between two commands' steps makes no new vault in its place."""
    vault = home.made()
    shutil.rmtree(home.root)
    with pytest.raises(ParambakError) as caught, vault.writing():
        pass
    assert caught.value.code == "vault-absent"
    assert not home.root.exists()
