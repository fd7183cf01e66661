"""The store on a server, its connection played by a folder: what each call means there."""

from __future__ import annotations

import os
import stat
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, Self

import pytest

from parambak.vault.files.disk import UnfitFileError
from parambak.vault.locations import store_sftp
from parambak.vault.locations.address import parse
from parambak.vault.locations.store_sftp import SftpStore
from parambak.vault.locations.stores import NO_FILE
from tests.vault.locations.placing import made_location, nothing
from tests.vault.locations.test_send import two_customers

if TYPE_CHECKING:
    from pathlib import Path

    from tests.vault.home import Home

paramiko = pytest.importorskip("paramiko")


class Server:
    """The part of paramiko's client that is used, over a folder of this disk."""

    def __init__(self, folder: Path, *, extension: bool = True) -> None:
        self.folder = folder
        self.extension = extension  # whether it can rename over a file
        self.prefetched: list[int] = []

    def open_sftp(self) -> Server:
        """Be the connection too."""
        return self

    def get_channel(self) -> Any:
        """Return what takes the patience."""
        return SimpleNamespace(settimeout=lambda _seconds: None)

    def close(self) -> None:
        """End nothing."""

    def _at(self, path: str) -> Path:
        return self.folder / path.strip("/")

    def listdir_attr(self, path: str) -> list[Any]:
        """Return names with sizes; of a link that a server does not follow, no mode."""
        entries = []
        for file in self._at(path).iterdir():
            status = file.lstat()
            mode = None if file.is_symlink() else status.st_mode
            entries.append(
                SimpleNamespace(filename=file.name, st_size=status.st_size, st_mode=mode)
            )
        return entries

    def open(self, path: str, mode: str) -> Any:
        """Return a file with the calls that hasten it."""
        stream = self._at(path).open(mode)
        return _Stream(stream, self)

    def stat(self, path: str) -> Any:
        """Return the attributes from the server."""
        return self._at(path).stat()

    def posix_rename(self, path: str, to: str) -> None:
        """Rename, if the server has the extension."""
        if not self.extension:
            raise OSError("Operation unsupported")
        self._at(path).replace(self._at(to))

    def rename(self, path: str, to: str) -> None:
        """Rename to a name that is free."""
        if self._at(to).exists():
            raise OSError("Failure")
        self._at(path).rename(self._at(to))

    def remove(self, path: str) -> None:
        """Remove a file."""
        self._at(path).unlink()

    def mkdir(self, path: str) -> None:
        """Make a folder."""
        self._at(path).mkdir()


class _Stream:
    def __init__(self, stream: Any, server: Server) -> None:
        self._stream, self._server = stream, server

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._stream.close()

    def read(self, size: int) -> bytes:
        return bytes(self._stream.read(size))

    def write(self, data: bytes) -> None:
        self._stream.write(data)

    def stat(self) -> os.stat_result:
        return os.fstat(self._stream.fileno())

    def prefetch(self, size: int) -> None:
        self._server.prefetched.append(size)

    def set_pipelined(self, _pipelined: bool) -> None:
        """Write as before."""


@pytest.fixture
def server(tmp_path: Path) -> Server:
    """Return a server with an empty folder."""
    (tmp_path / "server").mkdir()
    return Server(tmp_path / "server")


def store_on(server: Server) -> SftpStore:
    """Return the store in a folder of the server that is not made yet."""
    return SftpStore("sftp://office/srv/backup", server, "/srv/backup", "w")


@pytest.mark.parametrize("extension", [True, False])
def test_a_server_gets_the_vault_byte_for_byte(home: Home, server: Server, extension: bool) -> None:
    """With the rename that replaces, and without it."""
    from parambak.vault.locations.send import send

    server.extension = extension
    two_customers(home)
    target = made_location(home.open(), store_on(server))
    assert send(home.open(), store_on(server), target, nothing).refused == ()
    there = {
        file.relative_to(server.folder / "srv/backup").as_posix(): file.read_bytes()
        for file in server.folder.rglob("*")
        if file.is_file()
    }
    assert there.pop("backup-location.toml")
    assert there == home.files()
    assert send(home.open(), store_on(server), target, nothing).sent == 0


@pytest.mark.parametrize(
    ("size", "prefetched"), [(100, []), (32 << 10, []), ((32 << 10) + 1, [(32 << 10) + 1])]
)
def test_a_long_file_is_asked_for_at_once(server: Server, size: int, prefetched: list[int]) -> None:
    """What fits into one answer costs no further wait; never more than the limit is read."""
    store = store_on(server)
    store.write("file", bytes(size))
    server.prefetched.clear()
    assert store.read("file", 1 << 20) == bytes(size)
    assert server.prefetched == prefetched
    with pytest.raises(UnfitFileError):
        store.read("file", 50)


def test_what_is_no_plain_file_has_no_size(server: Server) -> None:
    """A folder, and a link of which the server gives no attributes."""
    store = store_on(server)
    store.write("a", b"123")
    folder = server.folder / "srv/backup"
    (folder / "sub").mkdir()
    (folder / "link").symlink_to(folder / "a")
    names = store.names("")
    assert names["a"] == 3
    assert names["sub"] == names["link"] == NO_FILE


def test_a_file_where_a_folder_should_be_is_no_folder(server: Server) -> None:
    """Nothing is written below it."""
    (server.folder / "srv").write_bytes(b"")
    with pytest.raises(OSError, match="exists"):
        SftpStore("sftp://office/srv", server, "/srv", "w").write("a", b"123")
    assert stat.S_ISREG((server.folder / "srv").stat().st_mode)


KEY = "AAAAC3NzaC1lZDI1NTE5AAAAIHnMWBmGZBXdmS2Z2Zk2w4c7y8m0p1p5bYb3gk1m7n9x"  # invented
LINES = [
    "# a comment, then hosts",
    "@revoked * ssh-ed25519 " + KEY,
    "",
    "damaged line",
    "office.example,10.0.0.1 ssh-ed25519 " + KEY,
]


def test_hosts_are_known_by_their_lines() -> None:
    """Comments, marks and damaged lines trust no host, and hide no later line."""
    known = [(name, kind) for name, kind, _ in store_sftp._trusted_keys(LINES)]
    assert known == [("office.example", "ssh-ed25519"), ("10.0.0.1", "ssh-ed25519")]


def test_what_ssh_says_becomes_a_refusal() -> None:
    """Another key shows both fingerprints; an error without words has its name."""
    address = parse("sftp://office.example/srv")
    ours, theirs = (
        SimpleNamespace(get_name=lambda: "ssh-ed25519", fingerprint=text, get_base64=lambda: "")
        for text in ("SHA256:ours", "SHA256:theirs")
    )
    changed = store_sftp._refusal(
        paramiko.BadHostKeyException("office.example", theirs, ours), address
    )
    assert (changed.expected, changed.found) == (
        "ssh-ed25519 SHA256:ours",
        "ssh-ed25519 SHA256:theirs",
    )
    assert store_sftp._refusal(TimeoutError(), address).found == "TimeoutError"
    assert store_sftp._refusal(OSError("no route"), address).found == "no route"
