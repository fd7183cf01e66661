"""The user's own folder: who writes from here, and what was written last.

The identity is random and stays out of every vault except its mark in the records. The newest
records of each vault and vessel, as they were after the last write from here, show a history that
was cut short at its end.
"""

from __future__ import annotations

import os
import re
from contextlib import suppress
from typing import TYPE_CHECKING

import msgspec

from parambak.errors import ParambakError
from parambak.vault.faults import OWN_UNUSABLE
from parambak.vault.files import disk
from parambak.vault.files.flushed import Flushed
from parambak.vault.files.lock import locked
from parambak.vault.objects import DIGEST
from parambak.vault.persons import MAX_NAME
from parambak.vault.records import canonical

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from parambak.vault.files.file_system import Storage

VAULT = "vault"  # the key of the vault itself, in place of a vessel's identity
_MAX = 16 << 20
_WRITER = re.compile(rb"([0-9a-f]{32})\n")
_NUMBER = re.compile(rb"[0-9a-f]{12}\n")
_MOST_NUMBER = (1 << 48) - 1


class Own:
    """The user's own folder, made when something is first written in it."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._writer: str | None = None  # read once; it stays the same

    def writer(self, since: str) -> str:
        """Return this user's identity as a writer, 32 hexadecimal digits; made once."""
        path = self._folder / "writer"
        identity = self._writer or self._known_writer(path)
        if identity is None:
            try:
                disk.make_folder(self._folder, [])
                with locked(self._folder / "lock", since) as held:
                    held.unproven = False  # nothing here needs to outlast a power failure
                    identity = self._known_writer(path)
                    if identity is None:
                        identity = os.urandom(16).hex()
                        disk.write_plain(path, f"{identity}\n".encode())
            except OSError as error:
                raise OWN_UNUSABLE.error(file=str(path), found=disk.words(error)) from error
        self._writer = identity
        return identity

    def known_writer(self) -> str | None:
        """Return this user's identity as a writer, None if it is not made yet or not usable."""
        try:
            return self._known_writer(self._folder / "writer")
        except ParambakError:
            return None

    def _known_writer(self, path: Path) -> str | None:
        try:
            match = _WRITER.fullmatch(disk.read_file(path, 4096))
        except FileNotFoundError:
            return None
        except OSError as error:
            raise OWN_UNUSABLE.error(file=str(path), found=disk.words(error)) from error
        return match[1].decode() if match else None

    def person(self) -> str | None:
        """Return the name of the person at this laptop; None if none is remembered or usable."""
        try:
            text = disk.read_file(self._folder / "person", 4096).decode()
        except (OSError, ValueError):
            return None
        name = text.removesuffix("\n")
        return name if name.isprintable() and 0 < len(name) <= MAX_NAME else None

    def remember_person(self, name: str) -> str:
        """Note the name of the person at this laptop, in place of what was; return the file."""
        path = self._folder / "person"
        try:
            disk.make_folder(self._folder, [])
            disk.write_plain(path, f"{name}\n".encode())
        except OSError as error:
            raise OWN_UNUSABLE.error(file=str(path), found=disk.words(error)) from error
        return str(path)

    def last(self, vault: str) -> dict[str, list[str]] | None:
        """Return for each vessel the newest records after the last write; None if damaged."""
        path = self._written(vault)
        try:
            data = disk.read_file(path, _MAX)
        except FileNotFoundError:
            return {}
        except OSError:
            return None
        try:
            last = msgspec.json.decode(data, type=dict[str, list[str]])
        except (ValueError, RecursionError, msgspec.MsgspecError):
            return None
        named = (digest for digests in last.values() for digest in digests)
        return last if all(map(DIGEST.fullmatch, named)) else None

    def next_command(self, milliseconds: int) -> str:
        """Return an identity for a command that now writes records; later ones are greater.

        `milliseconds` since 1970 are its first digits, unless the last one here was greater. If
        that note cannot be read or written, the clock alone gives the order.
        """
        path = self._folder / "command"
        with suppress(OSError):
            last = disk.read_file(path, 4096)
            if _NUMBER.fullmatch(last):
                milliseconds = max(milliseconds, int(last, 16) + 1)
        number = min(max(milliseconds, 0), _MOST_NUMBER)
        with suppress(OSError):
            disk.write_plain(path, f"{number:012x}\n".encode())
        return f"{number:012x}{os.urandom(10).hex()}"

    def flushed(self, storage: Storage) -> Flushed:
        """Return the note of what was flushed in the vault on that storage."""
        return Flushed(self._folder, storage)

    def remember(self, vault: str, last: Mapping[str, Sequence[str]]) -> None:
        """Note the newest records of each vessel, in place of what was; raises OSError."""
        disk.write_plain(self._written(vault), canonical(last))

    def _written(self, vault: str) -> Path:
        return self._folder / "written" / f"{vault}.json"
