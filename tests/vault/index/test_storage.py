from __future__ import annotations

import os
import shutil
import sqlite3
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.vault.files import file_system
from parambak.vault.index import index
from parambak.vault.records import file_of
from parambak.vault.vault import Vault
from tests.vault.home import AVOCET, GREBE, Home, copied_in
from tests.vault.index.test_index import DEFECTS, answers, codes

if TYPE_CHECKING:
    from collections.abc import Callable

SOME = 100
MOUNTS = """22 1 254:0 / / rw,relatime - ext4 /dev/vda rw
30 22 8:17 / /media/with\\040space rw,nosuid shared:5 - vfat /dev/sdb1 rw,uid=1000
31 22 8:33 / /media/exfat rw - exfat /dev/sdc1 rw
32 22 0:50 / /srv/office rw - nfs4 server:/office rw
33 22 0:51 / /home/a/far rw - fuse.sshfs a@server: rw
34 22 0:52 / /mnt/c rw - 9p C: rw
35 22 7:0 / /media/disc ro - iso9660 /dev/sr0 ro
36 22 259:2 / /data rw - ext4 /dev/nvme0n1p2 rw
37 22 8:49 / /media/usb-disk rw - ext4 /dev/sdd1 rw
38 22 8:65 / /media/card rw - ext4 /dev/sde1 rw
39 32 254:9 / /srv/office/local rw - xfs /dev/vdb rw
a line of another shape
"""

linux = pytest.mark.skipif(sys.platform != "linux", reason="what Linux tells of its mounts")


@pytest.fixture
def _mounted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let these file systems be mounted, one of them on a USB disk, one on a card in a slot."""
    (tmp_path / "mountinfo").write_text(MOUNTS)
    monkeypatch.setattr(file_system, "MOUNTS", str(tmp_path / "mountinfo"))
    devices = tmp_path / "block"
    devices.mkdir()
    for number, where, removable in (
        ("259:2", "pci/nvme0n1/nvme0n1p2", "0"),
        ("8:49", "pci/usb2/2-1/sdd/sdd1", "0"),
        ("8:65", "pci/mmc/sde/sde1", "1"),
    ):
        partition = tmp_path / where
        partition.mkdir(parents=True)
        (partition.parent / "removable").write_text(f"{removable}\n")
        (devices / number).symlink_to(partition)
    monkeypatch.setattr(file_system, "DEVICES", str(devices))
    monkeypatch.setattr(os.path, "realpath", lambda path, **_: _real(str(path), str(tmp_path)))


def _real(path: str, top: str) -> str:
    return str(Path(path).readlink()) if path.startswith(top) and Path(path).is_symlink() else path


@linux
@pytest.mark.usefixtures("_mounted")
@pytest.mark.parametrize(
    ("folder", "elsewhere"),
    [
        ("/home/a/vault", False),
        ("/media/with space/vault", True),
        ("/media/with spacer", False),
        ("/media/exfat", True),
        ("/srv/office/ships/vault", True),
        ("/srv/office/local/vault", False),
        ("/home/a/far/vault", True),
        ("/home/a/farther", False),
        ("/mnt/c/vault", True),
        ("/media/disc/vault", True),
        ("/data/vault", False),
        ("/media/usb-disk/vault", True),
        ("/media/card/vault", True),
    ],
)
def test_sticks_shares_and_fixed_disks_are_told_apart(folder: str, elsewhere: bool) -> None:
    """By the file system, or by what Linux is about the device; the nearest mount counts."""
    assert file_system.on_stick_or_share(Path(folder)) is elsewhere


@linux
def test_where_nothing_is_told_the_index_stays_with_the_vault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A system without such a list has the vault on a disk."""
    monkeypatch.setattr(file_system, "MOUNTS", str(tmp_path / "none"))
    assert not file_system.on_stick_or_share(tmp_path)
    place = index.index_file(file_system.Storage(tmp_path), "ab" * 16, tmp_path / "cache")
    assert place == (tmp_path / "index.sqlite", "", True)


@pytest.fixture
def stick(home: Home, monkeypatch: pytest.MonkeyPatch) -> Home:
    """Return a home whose vault is on a stick, with an index in the cache folder."""
    monkeypatch.setattr(file_system, "on_stick_or_share", lambda _root: True)
    home.made()
    copied_in(home.root, SOME)
    on_stick(home).close()
    return home


def on_stick(home: Home, root: Path | None = None) -> Vault:
    """Open a home's vault, or another folder's, with the user's cache folder."""
    cache = home.own / "cache"
    vault = Vault.open(root or home.root, own=home.own, clock=home.clock, cache=cache)
    home.opened.append(vault)
    return vault


def cached(home: Home) -> list[Path]:
    """Return the indexes in the cache folder."""
    return sorted((home.own / "cache").iterdir())


def test_the_index_of_a_stick_is_in_the_cache_folder(stick: Home) -> None:
    """Nothing of it is on the stick, and the answers are those of the records."""
    assert not (stick.root / "index.sqlite").exists()
    (file,) = cached(stick)
    assert answers(on_stick(stick)) == answers(stick.open())
    assert codes(on_stick(stick)) == set()
    assert file.exists()


def test_two_copies_of_one_vault_have_an_index_each(stick: Home) -> None:
    """They share an identity; each answers by what it holds itself."""
    other = stick.root.with_name("other-stick")
    shutil.copytree(stick.root, other)
    (only,) = copied_in(other, 1, AVOCET, "only-there")
    assert only in {d for each in answers(on_stick(stick, other)).values() for d in each}
    assert AVOCET not in answers(on_stick(stick))
    assert len(cached(stick)) == 2


def test_the_index_of_the_other_copy_is_not_believed(stick: Home) -> None:
    """In the place of the other, it is recognised by its folder, removed and built again."""
    other = stick.root.with_name("other-stick")
    shutil.copytree(stick.root, other)
    copied_in(other, SOME, AVOCET, "only-there")
    on_stick(stick, other).close()
    expected = answers(stick.open())
    here, identity = file_system.Storage(stick.root), stick.opened[0].identity
    mine = index.index_file(here, identity, stick.own / "cache").path
    (its,) = [file for file in cached(stick) if file != mine]
    shutil.copyfile(its, mine)
    vault = on_stick(stick)
    assert answers(vault) == expected
    assert codes(vault) == {"vault-index-rebuilt"}


def test_another_stick_at_the_same_folder_is_listed_anew(
    stick: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of one identity, with the same times and inodes even: no folder's time is believed."""
    monkeypatch.setattr(index, "SMALL", 10)
    times = {f.name: f.stat() for f in (stick.root / "records").iterdir()}
    lost = answers(on_stick(stick))[GREBE][-1]
    (stick.root / file_of(lost)).unlink()
    (only,) = copied_in(stick.root, 1, AVOCET, "on-the-other")
    for name, status in times.items():
        folder = stick.root / "records" / name
        os.utime(folder, ns=(status.st_atime_ns, status.st_mtime_ns))
    vault = on_stick(stick)
    assert answers(vault)[AVOCET] == [only]
    assert lost not in answers(vault)[GREBE]


@pytest.mark.parametrize("defect", DEFECTS.values(), ids=DEFECTS)
def test_a_wrong_index_in_the_cache_is_thrown_away(
    stick: Home, defect: Callable[[Path], object]
) -> None:
    """Each defect that is noticed next to the vault is noticed there too."""
    expected = answers(stick.open())
    (file,) = cached(stick)
    for vault in stick.opened:
        vault.close()
    defect(file)
    vault = on_stick(stick)
    assert answers(vault) == expected
    assert "vault-index-rebuilt" in codes(vault)


def test_a_cache_folder_that_cannot_be_made_is_done_without(stick: Home) -> None:
    """Something else of that name is there: all records are read, and that is reported."""
    expected = answers(stick.open())
    on_stick(stick).close()
    shutil.rmtree(stick.own / "cache")
    (stick.own / "cache").write_text("no folder")
    vault = on_stick(stick)
    assert answers(vault) == expected
    assert codes(vault) == {"vault-index-aside"}


def test_what_is_in_the_database_tells_of_vessels_too(stick: Home) -> None:
    """Records that are after nothing, or that hold the vessel's identity as an `id`."""
    with on_stick(stick).writing() as writing:
        telling = writing.add("note", GREBE, {"new": [{"id": GREBE}]})
        writing.add("note", GREBE, {"inside": GREBE, "text": f'"id":"{GREBE}"'})
    copied_in(stick.root, SOME, AVOCET, "more")
    vault = on_stick(stick)
    first = answers(vault)[GREBE][0]
    assert {s.digest for s in vault.telling()[GREBE]} == {first, telling}
    assert [link.digest for link in vault.chain(GREBE)] == answers(vault)[GREBE]
    connection = sqlite3.connect(cached(stick)[0])
    assert connection.execute("SELECT sum(telling) FROM counts").fetchone() == (3,)
    connection.close()


def test_kinds_are_known_by_vessel(stick: Home) -> None:
    """From the database and from what is newer."""
    stick.note("loose", AVOCET)
    vault = on_stick(stick)
    assert vault.vessels_with("note") == (GREBE, AVOCET)
    assert vault.vessels_with("nothing") == ()
    assert len(vault.of_kind(GREBE, "note")) == SOME
    assert vault.of_kind(GREBE, "nothing") == []


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere no path holds such a name")
def test_a_folder_whose_name_is_no_text_is_a_vault_like_any_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A name in an old encoding: the record of its recheck and its index distinguish it."""
    monkeypatch.setattr(file_system, "on_stick_or_share", lambda _root: True)
    marks = set()
    for name in (b"old \xff", b"old \xfe"):
        home = Home(tmp_path / os.fsdecode(name) / "vault", tmp_path / "own")
        home.root.parent.mkdir()
        home.note("kept")
        marks.add(home.open().folder_mark)
        copied_in(home.root, SOME)
        assert len(on_stick(home).records(GREBE)) == SOME + 1
    assert len(list((tmp_path / "own" / "cache").iterdir())) == 2
    assert len(marks) == 2
    assert None not in marks
