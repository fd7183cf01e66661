from __future__ import annotations

import os
import shutil
import sys
from typing import TYPE_CHECKING

import pytest

from parambak.vault import objects
from parambak.vault.files import disk, file_system, flushed
from tests.vault.home import GREBE, Home

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Windows flushes no such file")
LAYOUT = b"a layout, invented"


@pytest.fixture
def standing(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return the names of the files already in place that are flushed from here on."""
    seen: list[str] = []
    real = disk.flush_standing

    def noting(path: Path) -> None:
        seen.append(path.name)
        real(path)

    monkeypatch.setattr(disk, "flush_standing", noting)
    return seen


def read(home: Home, number: int) -> tuple[str, str]:
    """Put a read on record with a layout and a person; return the marks of both."""
    with home.open(create=True).writing() as writing:
        mark = writing.person("A. Person", GREBE)
        layout, image = writing.put(LAYOUT), writing.put(b"image %d" % number)
        writing.add("note", GREBE, {"n": number}, by=mark, relies_on=[layout, image])
    return layout, mark


def test_what_was_written_from_here_is_not_flushed_again(home: Home, standing: list[str]) -> None:
    """Layout and person are in place: a second and a third read flush only their new files."""
    for number in range(3):
        read(home, number)
    assert standing == []


def test_what_another_user_wrote_is_flushed_once(home: Home, standing: list[str]) -> None:
    """Who has no note of it flushes it, and notes that; the person's object too."""
    layout, mark = read(home, 0)
    home.own = home.own.with_name("another")
    read(home, 1)
    assert sorted(standing) == sorted([layout, mark])
    read(home, 2)
    assert len(standing) == 2


def test_a_copied_vault_is_flushed_anew(home: Home, standing: list[str]) -> None:
    """The same bytes under the same names are other files, which nobody flushed."""
    marks = read(home, 0)
    copy = home.root.with_name("copy")
    shutil.copytree(home.root, copy)
    home.root = copy
    read(home, 1)
    assert sorted(standing) == sorted(marks)


@pytest.mark.parametrize("way", ["replaced", "rewritten", "linked"])
def test_a_file_that_was_touched_is_flushed_again(
    home: Home, standing: list[str], way: str
) -> None:
    """Replaced by its like, written again in place, or given a second name."""
    layout, _ = read(home, 0)
    path = home.root / objects.file_of(layout)
    if way == "replaced":
        shutil.copy2(path, path.with_name("copy"))
        path.with_name("copy").replace(path)
    elif way == "rewritten":
        status = path.stat()
        home.overwrite(objects.file_of(layout), LAYOUT)
        os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    else:
        path.with_name("second").hardlink_to(path)
    read(home, 1)
    assert standing == [layout]


@pytest.mark.parametrize("text", ["", "[]", "{}", "null", '[["1:2","3"]]', "[" * 5000, "[[1,2]]"])
def test_a_note_that_is_none_costs_a_flush_and_nothing_else(
    home: Home, standing: list[str], text: str
) -> None:
    """Cut short, edited or another program's: what it does not prove is flushed."""
    marks = read(home, 0)
    (home.own / flushed.FILE).write_text(text)
    read(home, 1)
    assert sorted(standing) == sorted(marks)


def test_on_a_stick_nothing_is_noted(
    home: Home, standing: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its inodes are made up as files are met, so they prove nothing."""
    monkeypatch.setattr(file_system, "on_stick_or_share", lambda _root: True)
    marks = read(home, 0)
    read(home, 1)
    assert sorted(standing) == sorted(marks)


def test_the_note_stays_small(home: Home, standing: list[str]) -> None:
    """Files used last are kept in it; a layout used at each read is among them."""
    for number in range(flushed.MOST + 5):
        read(home, number)
    assert (home.own / flushed.FILE).stat().st_size < 100 * flushed.MOST
    assert standing == []


def test_an_object_that_fails_to_be_flushed_is_not_relied_on(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The refusal is that of a failed write, and no record names it."""
    read(home, 0)
    home.own = home.own.with_name("another")

    def fail(_path: Path) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(disk, "flush_standing", fail)
    before = home.files()
    with pytest.raises(Exception, match="Writing failed") as refusal:
        read(home, 1)
    assert getattr(refusal.value, "code", "") == "vault-write-failed"
    assert home.files() == before


def test_a_read_with_a_known_layout_and_person_costs_six_flushes(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """File and folder of image, dump and record, and one for each new folder; no more."""
    read(home, 0)
    folders = sum(1 for each in home.root.rglob("*") if each.is_dir())
    flushes: list[int] = []
    monkeypatch.setattr(os, "fsync", flushes.append)
    with home.open().writing() as writing:
        mark = writing.person("A. Person", GREBE)
        put = [writing.put(each) for each in (LAYOUT, b"image", b"dump", b"image")]
        writing.add("note", GREBE, {}, by=mark, relies_on=put)
    new = sum(1 for each in home.root.rglob("*") if each.is_dir()) - folders
    assert len(flushes) == 6 + new


@pytest.mark.parametrize("incomplete", [False, True])
def test_a_record_from_elsewhere_relies_on_what_is_flushed(
    home: Home, standing: list[str], *, incomplete: bool
) -> None:
    """Its objects were copied in by hand: they are flushed before the record is written."""
    other = Home(home.root.with_name("elsewhere"), home.own.with_name("theirs"))
    layout, mark = read(other, 0)
    (stored,) = other.open().records(GREBE)
    data = (other.root / stored.file).read_bytes()
    home.made()
    shutil.copytree(other.root / "objects", home.root / "objects", dirs_exist_ok=True)
    with home.open().writing() as writing:
        assert writing.take_record(stored.digest, data, incomplete=incomplete) is None
        assert sorted(standing) == sorted(stored.record.objects)
        assert {layout, mark} < set(standing)
        writing.take_record(stored.digest, data, incomplete=incomplete)
    assert len(standing) == 3
