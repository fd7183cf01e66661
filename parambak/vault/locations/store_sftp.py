"""A server reached by SFTP: known hosts only, keys only, never a password.

paramiko's own client, not fsspec's file system over it, which takes any server's key.
"""

from __future__ import annotations

import stat
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from parambak.vault.files import disk
from parambak.vault.locations.faults import (
    HOST_KEY_CHANGED,
    HOST_KEY_UNKNOWN,
    LIBRARY,
    LOGIN,
    UNREACHABLE,
)
from parambak.vault.locations.stores import NO_FILE, FarStore

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from parambak.errors import ParambakError
    from parambak.vault.locations.address import Address
    from parambak.vault.locations.stores import SshTerms

PATIENCE = 30.0  # seconds that a server may be silent
PORT = 22
_MOST_OF_HOSTS = 16 << 20  # bytes of a file of known hosts
_PACKET = 32 << 10  # bytes that one answer holds


class SftpStore(FarStore):
    """A folder on a server; `client` is a connected one of paramiko."""

    _renames = True

    def __init__(self, shown: str, client: Any, root: str, writer: str) -> None:
        super().__init__(shown, root, writer)
        self._client = client
        self._sftp = client.open_sftp()
        self._sftp.get_channel().settimeout(PATIENCE)

    def close(self) -> None:
        """End the connection."""
        with suppress(Exception):  # it may have ended by itself
            self._client.close()

    def _names(self, path: str) -> dict[str, int]:
        return {
            entry.filename: NO_FILE
            if entry.st_size is None or not stat.S_ISREG(entry.st_mode or 0)
            else entry.st_size
            for entry in self._sftp.listdir_attr(path)
        }

    def _read(self, path: str, most: int) -> bytes:
        with self._sftp.open(path, "rb") as file:
            first = bytes(file.read(min(_PACKET, most)))
            if len(first) < _PACKET:
                return first  # what most files are: asking their size would cost one more wait
            size = min(file.stat().st_size or 0, most)
            if size > len(first):
                file.prefetch(size)  # else each packet waits for the one before
            return first + bytes(file.read(most - len(first)))

    def _write(self, path: str, data: bytes) -> None:
        with self._sftp.open(path, "wb") as file:
            file.set_pipelined(True)
            file.write(data)

    def _move(self, path: str, to: str) -> None:
        try:
            self._sftp.posix_rename(path, to)
        except OSError:
            # A server without that extension, or one that refused: the plain one shows which.
            self._sftp.rename(path, to)

    def _remove(self, path: str) -> None:
        self._sftp.remove(path)

    def _make_folder(self, path: str) -> None:
        if path in ("", "/") or self._is_folder(path):
            return
        self._make_folder(path.rpartition("/")[0])
        try:
            self._sftp.mkdir(path)
        except OSError:
            if not self._is_folder(path):  # another writer may have been quicker
                raise

    def _is_folder(self, path: str) -> bool:
        try:
            return stat.S_ISDIR(self._sftp.stat(path).st_mode or 0)
        except FileNotFoundError:
            return False


def connect(address: Address, writer: str, ssh: SshTerms) -> SftpStore:
    """Return the store on a server; raise VaultRefused if it is not a known host or not reached."""
    try:
        import paramiko  # noqa: PLC0415 - slow, and only a server needs it
    except ImportError as error:
        raise LIBRARY.error(
            file=address.text, found=f"no {error.name}", install="pip install 'parambak[sftp]'"
        ) from error
    client = paramiko.SSHClient()
    try:
        host_lines = [line for file in ssh.known_hosts for line in _lines(file)]
        for name, kind, key in _trusted_keys(host_lines):
            client.get_host_keys().add(name, kind, key)
        client.set_missing_host_key_policy(paramiko.RejectPolicy())
        client.connect(
            address.host,
            port=address.port or PORT,
            username=address.user,
            password=None,
            key_filename=[str(key) for key in ssh.keys if disk.is_file(key)],
            look_for_keys=False,  # only those that were named
            timeout=PATIENCE,
            banner_timeout=PATIENCE,
            auth_timeout=PATIENCE,
        )
        key = client.get_transport().get_remote_server_key().get_base64()
        revoked = any(line.startswith("@revoked") and key in line.split() for line in host_lines)
        if not revoked:
            return SftpStore(address.text, client, address.path, writer)
    except Exception as error:
        client.close()
        raise _refusal(error, address) from error
    client.close()
    expected = "a key that is trusted"
    raise HOST_KEY_CHANGED.error(file=address.text, expected=expected, found="one marked @revoked")


def _lines(file: Path) -> list[str]:
    try:
        text = disk.read_file(file, _MOST_OF_HOSTS).decode("utf-8", "replace")
    except FileNotFoundError:
        return []
    return [line.strip() for line in text.splitlines()]


def _trusted_keys(lines: Sequence[str]) -> Iterator[tuple[str, str, Any]]:
    """Yield host, kind and key of each line of known hosts that names a key outright.

    paramiko's own loader fails at a line that begins with `@`, and at a damaged one.
    """
    from paramiko.hostkeys import HostKeyEntry  # noqa: PLC0415 - it is loaded by now

    for line in lines:
        if not line or line.startswith(("#", "@")):
            continue
        entry: Any = None
        with suppress(Exception):  # a line that cannot be read trusts nobody
            entry = HostKeyEntry.from_line(line)
        for name in entry.hostnames if entry else ():
            yield name, entry.key.get_name(), entry.key


def _refusal(error: Exception, address: Address) -> ParambakError:
    import paramiko  # noqa: PLC0415 - it is loaded by now

    found = disk.shown(str(error) or type(error).__name__)
    if isinstance(error, paramiko.BadHostKeyException):
        return HOST_KEY_CHANGED.error(
            file=address.text,
            expected=_fingerprint(error.expected_key),
            found=_fingerprint(error.key),
        )
    if isinstance(error, paramiko.AuthenticationException):
        return LOGIN.error(file=address.text, expected="a key that the server accepts", found=found)
    if isinstance(error, paramiko.SSHException):
        if "known_hosts" in found:
            return HOST_KEY_UNKNOWN.error(
                file=address.text, expected="a host in known_hosts", found=found
            )
        if "authentication methods" in found:
            return LOGIN.error(file=address.text, expected="a key to show", found="none")
    return UNREACHABLE.error(file=address.text, found=found)


def _fingerprint(key: Any) -> str:
    return f"{key.get_name()} {key.fingerprint}"
