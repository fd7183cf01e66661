"""OpenSSH's own server on a loopback port, for one test run, and a relay that cuts it off."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import threading
import time
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Self

from parambak.vault.locations.stores import SshTerms

if TYPE_CHECKING:
    from collections.abc import Iterator

SSHD = shutil.which("sshd") or ("/usr/sbin/sshd" if Path("/usr/sbin/sshd").exists() else None)
KEYGEN = shutil.which("ssh-keygen")
LOOPBACK = "127.0.0.1"
CONFIG = """\
Port {port}
ListenAddress 127.0.0.1
HostKey {folder}/host
AuthorizedKeysFile {folder}/authorized
PidFile none
StrictModes no
UsePAM no
PermitRootLogin yes
PubkeyAuthentication yes
PasswordAuthentication yes
KbdInteractiveAuthentication yes
Subsystem sftp internal-sftp
"""


@dataclass
class Server:
    """A running server: its port, its process, and the folder with its keys."""

    port: int
    folder: Path
    process: subprocess.Popen[bytes]

    @property
    def host_key(self) -> str:
        """Return the public part of the server's key, type and base64."""
        return " ".join((self.folder / "host.pub").read_text().split()[:2])

    def terms(self, *ports: int) -> SshTerms:
        """Return a known_hosts with this server at its port, with these lines, and the key."""
        known = self.folder / f"known-{'-'.join(map(str, ports))}"
        lines = [f"[{LOOPBACK}]:{port} {self.host_key}\n" for port in (self.port, *ports)]
        known.write_text("".join(lines))
        return SshTerms((known,), (self.folder / "client",))

    def sessions(self) -> list[int]:
        """Return the processes that serve connections, all of this server's descendants."""
        found, waiting = [], [self.process.pid]
        while waiting:
            pid = waiting.pop()
            with suppress(OSError):
                children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
                found += [int(child) for child in children]
                waiting += [int(child) for child in children]
        return found

    def url(self, folder: Path, port: int | None = None) -> str:
        """Return the address of a folder on this server."""
        return f"sftp://{user()}@{LOOPBACK}:{port or self.port}{folder}"


def user() -> str:
    """Return the name of the user that the tests run as."""
    import getpass

    return getpass.getuser()


def make_key(file: Path, passphrase: str = "") -> None:
    """Make a key and its public part next to it."""
    assert KEYGEN
    subprocess.run(
        [KEYGEN, "-q", "-t", "ed25519", "-N", passphrase, "-f", str(file)],
        check=True,
        timeout=60,
        stdin=subprocess.DEVNULL,
    )


@contextmanager
def running(folder: Path) -> Iterator[Server]:
    """Run a server with a new host key, which lets in the new key `client` alone."""
    assert SSHD
    if os.geteuid() == 0:
        Path("/run/sshd").mkdir(mode=0o755, exist_ok=True)
    make_key(folder / "host")
    make_key(folder / "client")
    shutil.copyfile(folder / "client.pub", folder / "authorized")
    port = free_port()
    config = folder / "config"
    config.write_text(CONFIG.format(port=port, folder=folder))
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen(
            [SSHD, "-D", "-e", "-f", str(config)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=log,
        )
    server = Server(port, folder, process)
    try:
        _await(server)
        yield server
    finally:
        for pid in server.sessions():
            with suppress(ProcessLookupError):
                os.kill(pid, 9)
        process.kill()
        process.wait(10)


def free_port() -> int:
    """Return a port that nobody listens at."""
    with socket.socket() as listening:
        listening.bind((LOOPBACK, 0))
        return int(listening.getsockname()[1])


def _await(server: Server) -> None:
    for _ in range(100):
        with suppress(OSError), socket.create_connection((LOOPBACK, server.port), 1):
            return
        if server.process.poll() is not None:
            break
        time.sleep(0.05)
    raise AssertionError((server.folder / "log").read_text())


class Relay:
    """Passes one connection after another on to a port, and cuts each after so many bytes."""

    def __init__(self, port: int, cut: int | None = None) -> None:
        self._target = port
        self._cut = cut
        self.passed = 0
        self._listening = socket.create_server((LOOPBACK, 0))
        self.port = int(self._listening.getsockname()[1])
        self._sockets: list[socket.socket] = []
        self._threads: list[threading.Thread] = []

    def __enter__(self) -> Self:
        self._start(self._accept)
        return self

    def __exit__(self, *_: object) -> None:
        with suppress(OSError):
            self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()
        self._end()
        for thread in self._threads:
            thread.join(10)

    def _start(self, act: object, *arguments: object) -> None:
        thread = threading.Thread(target=act, args=arguments, daemon=True)  # type: ignore[arg-type]
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listening.accept()
            except OSError:
                return
            far = socket.create_connection((LOOPBACK, self._target), 10)
            far.settimeout(None)
            self._sockets += [near, far]
            self._start(self._pass_on, near, far, True)
            self._start(self._pass_on, far, near, False)

    def _pass_on(self, source: socket.socket, to: socket.socket, counted: bool) -> None:
        with suppress(OSError):
            while data := source.recv(4096):
                if counted and self._cut is not None:
                    data = data[: max(0, self._cut - self.passed)]
                to.sendall(data)
                self.passed += len(data) if counted else 0
                if counted and self._cut is not None and self.passed >= self._cut:
                    break
        self._end()

    def _end(self) -> None:
        for each in list(self._sockets):
            with suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
            each.close()
