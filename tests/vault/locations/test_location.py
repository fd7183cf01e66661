from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from parambak.vault.locations import location
from parambak.vault.locations.send import send
from parambak.vault.locations.stores import FolderStore
from tests.vault.home import AVOCET, GREBE, Home
from tests.vault.locations.placing import (
    again,
    clean,
    code_of,
    flip,
    made_location,
    nothing,
    sent_to,
)
from tests.vault.locations.test_send import two_customers

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def full(home: Home) -> Home:
    """Return a home whose vault has two vessels."""
    two_customers(home)
    return home


def test_another_stick_is_refused(full: Home, tmp_path: Path) -> None:
    """Two sticks under one path are distinguished; an empty folder is not filled as one of them."""
    red, blue = tmp_path / "red", tmp_path / "blue"
    red.mkdir()
    blue.mkdir()
    target, _ = sent_to(full, red)
    sent_to(full, blue)
    assert code_of(lambda: again(full, blue, target)) == "backup-another"
    empty = tmp_path / "empty"
    empty.mkdir()
    assert code_of(lambda: again(full, empty, target)) == "backup-absent"
    assert list(empty.iterdir()) == []


def test_a_folder_of_something_else_is_refused(full: Home, stick: Path) -> None:
    """Nothing is written among a person's own files."""
    (stick / "holiday.jpg").write_bytes(b"picture")
    store = FolderStore(stick)
    assert code_of(lambda: made_location(full.open(), store)) == "backup-not-empty"
    assert [each.name for each in stick.iterdir()] == ["holiday.jpg"]


def test_another_vault_is_refused_unless_both_are_to_be_kept(
    full: Home, other: Home, stick: Path
) -> None:
    """With the word, both vaults' records lie there together, and each can fetch the other's."""
    other.note("the other laptop", AVOCET)
    target, _ = sent_to(full, stick)
    store = FolderStore(stick)
    assert code_of(lambda: made_location(other.open(), store)) == "backup-other-vault"
    assert made_location(other.open(), store, merge=True) == target
    sent = again(other, stick, target)
    assert sent.unknown == len(full.open().records(GREBE)) * 2 + 1
    again(full, stick, target, both_ways=True)
    again(other, stick, target, both_ways=True)
    mine, theirs = full.open(), other.open()
    for vessel in (GREBE, AVOCET, None):
        assert mine.records(vessel) == theirs.records(vessel)
    assert clean(stick, full.own)
    assert again(full, stick, target, both_ways=True).unknown == 0


def test_a_copy_made_by_hand_becomes_a_location(full: Home, stick: Path) -> None:
    """The vault's folder, copied by a person, gets a marker and is sent to like any other."""
    shutil.copytree(full.root, stick, dirs_exist_ok=True)
    _, sent = sent_to(full, stick)
    assert (sent.sent, sent.refused) == (0, ())


def test_both_ways_takes_nothing_of_others_from_a_limited_location(
    full: Home, other: Home, stick: Path
) -> None:
    """What somebody else put there of another vessel stays there."""
    target, _ = sent_to(full, stick, frozenset({GREBE}))
    intruder = Home(stick, other.own)
    intruder.note("of grebe", GREBE)
    intruder.note("of another", "0" * 32)
    sent = again(full, stick, target, both_ways=True)
    assert sent.fetched is not None
    assert (sent.fetched.records, sent.unknown) == (1, 1)
    assert "0" * 32 not in full.open().vessels()


def test_a_damaged_record_there_is_not_taken_in(full: Home, other: Home, stick: Path) -> None:
    """A file that is missing from the vault and damaged in the backup location stays."""
    target, _ = sent_to(full, stick)
    Home(stick, other.own).note("somebody's", GREBE)
    last = Home(stick, other.own).open().records(GREBE)[-1]
    flip(stick / last.file)
    sent = again(full, stick, target, both_ways=True)
    assert (sent.unknown, sent.repaired_there) == (1, ())
    assert len(full.open().records(GREBE)) == 3


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "backup-marker"),
        (b"backup location = 1\n", "backup-marker"),
        (location.marker("9ace" * 8) + b"\n", "backup-marker"),
        (location.marker("9ace" * 8).replace(b"format = 1", b"format = 2"), "backup-format"),
        (location.marker("9ace" * 8).replace(b"format = 1", b"format = 0"), "backup-format"),
        (b"x" * 5000, "backup-unreachable"),
    ],
)
def test_a_marker_of_another_form_is_refused(
    full: Home, stick: Path, data: bytes, code: str
) -> None:
    """And so is one of a later version."""
    (stick / "backup-location.toml").write_bytes(data)
    store = FolderStore(stick)
    assert code_of(lambda: made_location(full.open(), store)) == code


def test_packs_and_a_vault_do_not_share_a_folder(full: Home, stick: Path, tmp_path: Path) -> None:
    """In neither direction."""
    sent_to(full, stick)
    (tmp_path / "packed" / "packs").mkdir(parents=True)
    vault = full.open()

    def settle(folder: Path, *, packed: bool) -> str:
        return location.make_location(
            FolderStore(folder),
            vault=vault.identity,
            known=(),
            limited=False,
            packed=packed,
            merge=False,
        )

    assert code_of(lambda: settle(stick, packed=True)) == "backup-kind"
    assert code_of(lambda: settle(tmp_path / "packed", packed=False)) == "backup-kind"


def test_the_folder_above_must_be_there(full: Home, tmp_path: Path) -> None:
    """A stick that is not plugged in is not made out of nothing."""
    store = FolderStore(tmp_path / "no-stick" / "backup")
    assert code_of(lambda: made_location(full.open(), store)) == "backup-absent"
    assert not (tmp_path / "no-stick").exists()


def test_what_another_process_wrote_meanwhile_is_no_damage(full: Home, stick: Path) -> None:
    """Two sendings at once: a record that came after this one looked is right, and not gone."""
    target, _ = sent_to(full, stick)
    early = full.open()
    late = full.note("of the other process")
    sent = send(early, FolderStore(stick), target, nothing)
    assert sent.refused == ()
    assert not sent.vault_damaged
    again(full, stick, target)
    assert late in {stored.digest for stored in Home(stick, full.own).open().records(GREBE)}
