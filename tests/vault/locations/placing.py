"""What the tests of locations share: a store that keeps a log and can fail."""

from __future__ import annotations

import errno
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pytest

from parambak.errors import ParambakError
from parambak.vault.check.recheck import recheck
from parambak.vault.locations.location import make_location
from parambak.vault.locations.send import Location, Sent, send
from parambak.vault.locations.stores import FolderStore
from tests.vault.home import Home

if TYPE_CHECKING:
    from collections.abc import Callable
    from contextlib import AbstractContextManager
    from pathlib import Path

    from parambak.vault.locations.stores import Store
    from parambak.vault.vault import Vault


@dataclass
class Logged:
    """A store that keeps what is written to it; it fails at the operation numbered `fails_at`."""

    store: Store
    fails_at: int | None = None
    error: Callable[[], OSError] = lambda: OSError(errno.EIO, "Input/output error")
    operations: int = 0
    broken: bool = False
    sent: list[tuple[str, bytes]] = field(default_factory=list)

    @property
    def shown(self) -> str:
        return self.store.shown

    def _operate(self) -> None:
        if self.fails_at is not None and self.operations >= self.fails_at:
            raise self.error()
        self.operations += 1

    def names(self, folder: str) -> dict[str, int]:
        self._operate()
        return self.store.names(folder)

    def read(self, file: str, limit: int) -> bytes:
        self._operate()
        return self.store.read(file, limit)

    def write(self, file: str, data: bytes) -> None:
        self._operate()
        self.sent.append((file, data))
        self.store.write(file, data)

    def rename(self, file: str, to: str) -> None:
        self._operate()
        self.store.rename(file, to)

    def holding(self, since: str) -> AbstractContextManager[None]:
        return self.store.holding(since)

    def close(self) -> None:
        self.store.close()


def nothing(_done: int, _of: int) -> None:
    """Show no progress."""


def made_location(
    vault: Vault, store: Store, vessels: frozenset[str] | None = None, *, merge: bool = False
) -> Location:
    """Make a backup location of what is at a store."""
    identity = make_location(
        store,
        vault=vault.identity,
        known=(),
        limited=vessels is not None,
        packed=False,
        merge=merge,
    )
    return Location(identity, vessels)


def sent_to(
    home: Home, folder: Path, vessels: frozenset[str] | None = None
) -> tuple[Location, Sent]:
    """Make a folder a backup location of a home's vault, and fill it."""
    vault = home.open()
    store = FolderStore(folder)
    target = made_location(vault, store, vessels)
    return target, again(home, folder, target)


def again(
    home: Home, folder: Path, target: Location, *, quick: bool = False, both_ways: bool = False
) -> Sent:
    """Send to a folder that is a backup location."""
    store = FolderStore(folder)
    return send(home.open(), store, target, nothing, quick=quick, both_ways=both_ways)


def clean(folder: Path, own: Path) -> bool:
    """Return whether a folder, opened as a vault, rechecks without damage."""
    found = recheck(Home(folder, own).open(), nothing)
    assert found.damaged == (), found.damaged
    return True


def tree(folder: Path) -> dict[str, bytes]:
    """Return every file of a folder but its locks: name to bytes."""
    return {
        file.relative_to(folder).as_posix(): file.read_bytes()
        for file in sorted(folder.rglob("*"))
        if file.is_file() and file.name != "lock"
    }


def flip(path: Path) -> None:
    """Flip one bit in the middle of a file."""
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0x10
    path.chmod(0o644)
    path.write_bytes(data)


def code_of(act: Callable[[], object]) -> str:
    """Return the code of the refusal that comes."""
    with pytest.raises(ParambakError) as caught:
        act()
    return caught.value.code
