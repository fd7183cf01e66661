from __future__ import annotations

import hashlib
import itertools
import random
import shutil
import sys
from datetime import datetime, timedelta, timezone
from typing import TYPE_CHECKING, Any

import pytest
from msgspec.structs import replace

from parambak.dumps.dump import Dump
from parambak.errors import Fault, ParambakError
from parambak.keeping.chips import Chip
from parambak.keeping.recording.filing import TypedPosition
from parambak.keeping.recording.received import Incoming, LayoutFile, Request
from parambak.keeping.recording.take_in import TakenIn, take_in
from parambak.keeping.state.bodies import DumpEntry
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.read_facts import ReadFacts, by_member
from parambak.keeping.state.select import find_position
from parambak.layouts.load import load
from parambak.memory.digests import sha256
from parambak.memory.image import Image
from parambak.vault.vault import Vault

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from parambak.keeping.state.model import Copy, Fleet, Position

MEMORY = 256
WHERE = "grebe/port-thruster/U12"
CHIPS = {
    "t256": Chip(
        bus="parallel",
        name="T256",
        size=MEMORY,
        width=8,
        kind="eeprom",
        source="invented",
        blank=0xFF,
    ),
    "t512": Chip(
        bus="parallel", name="T512", size=512, width=8, kind="eeprom", source="invented", blank=0xFF
    ),
}
# Invented: the parameter block of a thruster controller.
LAYOUT = b"""
[layout]
title = "Thruster controller"
memory = 256
byte-order = "big"

[[field]]
name = "plate"
at = 0x00
type = "bytes"
length = 8
identifies-unit = true

[[field]]
name = "ramp_up_time"
at = 0x10
type = "u16"
scale = 0.1
unit = "s"
low = 2.0
high = 60.0

[[field]]
name = "run_hours"
at = 0x20
type = "u32"
running = true

[[field]]
name = "clock"
at = 0x30
type = "u16"
volatile = true

[[field]]
name = "heartbeat"
at = 0x33
type = "flag"
bit = 0
volatile = true

[[check]]
name = "block sum"
method = "sum-16"
over = [[0x40, 0x7F]]
at = 0x80
"""
_SERIAL = itertools.count(1)


def image(seed: int = 1, changes: dict[int, int] | None = None) -> bytes:
    """Return an invented memory, its check right and its value inside the limits."""
    data = bytearray(random.Random(seed).randbytes(MEMORY))
    data[0x10:0x12] = (150).to_bytes(2, "big")
    for address, value in (changes or {}).items():
        data[address] = value
    data[0x80:0x82] = (sum(data[0x40:0x80]) & 0xFFFF).to_bytes(2, "big")
    return bytes(data)


def layout_file(text: bytes = LAYOUT, name: str = "thruster.toml") -> LayoutFile:
    """Return a layout as the command reads one."""
    return LayoutFile(name, text, load(text, name=name))


def incoming(content: bytes | Image, **entry: Any) -> Incoming:
    """Return a dump as the command reads one: a file of its own, of a time of its own."""
    serial = next(_SERIAL)
    whole = isinstance(content, bytes)
    stands = Image.of(content) if isinstance(content, bytes) else content
    data = stands.content
    described: dict[str, Any] = {
        "sha256": sha256(data),
        "name": f"R{serial}.BIN",
        "format": "raw" if whole else "intel-hex",
        "bytes": len(data),
        "modified": 1_700_000_000_000_000_000 + serial,
        "path_mark": sha256(b"path %d" % serial),
        "file_mark": sha256(b"file %d" % serial),
        **entry,
    }
    return Incoming(data, Dump(described["format"], stands), DumpEntry(**described))


class Laptop:
    """A vault, a user's own folder, and a clock that goes on a second at each look."""

    def __init__(self, folder: Path, start: int = 0) -> None:
        self.root = folder / "vault"
        self.own = folder / "own"
        east = timezone(timedelta(hours=1))
        self.now = datetime(2026, 3, 1, 9, 0, 0, tzinfo=east) + timedelta(minutes=start)
        self._opened: list[Vault] = []

    def clock(self) -> datetime:
        """Return the time, later by a second at each call."""
        self.now += timedelta(seconds=1)
        return self.now

    def on(self, day: str) -> None:
        """Set the clock to nine in the morning of a day."""
        self.now = datetime.fromisoformat(f"{day}T09:00:00+01:00")

    @property
    def vault(self) -> Vault:
        """Return the vault, opened again."""
        vault = Vault.open(self.root, own=self.own, clock=self.clock, create=True)
        self._opened.append(vault)
        return vault

    @property
    def fleet(self) -> Fleet:
        """Return what the vault knows."""
        return fleet(self.vault)

    def close(self) -> None:
        """Close all that was opened."""
        for vault in self._opened:
            vault.close()

    def take(
        self,
        *contents: bytes | Image | Incoming,
        where: str = WHERE,
        layout: bytes | None = None,
        **words: Any,
    ) -> TakenIn:
        """Archive reads at a WHERE; `words` are those of the request and of its target."""
        vessel, holder, position = where.split("/")
        card = holder.removeprefix("card:") if holder.startswith("card:") else None
        named = {key: words.pop(key) for key in ("chip", "new_vessel", "new_unit") if key in words}
        target = TypedPosition(vessel, position, None if card else holder, card, **named)
        dumps = [each if isinstance(each, Incoming) else incoming(each) for each in contents]
        facts = {name: words.pop(name) for name in by_member() if name in words}
        given = layout_file(layout) if layout is not None else None
        words = {"by": "A. Invented", "facts": ReadFacts(**facts), **words}
        request = Request(target, dumps, layout=given, **words)
        return take_in(self.vault, request, CHIPS)

    def verified(self, content: bytes | None = None, **words: Any) -> TakenIn:
        """Archive two reads made separately, with chip and layout."""
        data = image() if content is None else content
        return self.take(data, data, **{"layout": LAYOUT, "chip": "T256", **words})

    def position(self, where: str = WHERE) -> Position:
        """Return what is known of a position."""
        return find_position(self.fleet, where)

    def latest(self, where: str = WHERE) -> Copy:
        """Return the newest copy of a position."""
        copy = self.position(where).latest
        assert copy is not None
        return copy

    def tree(self) -> dict[str, str]:
        """Return every file and folder below the vault's parent, with the files' digests."""
        top = self.root.parent
        return {
            file.relative_to(top).as_posix(): hashlib.sha256(file.read_bytes()).hexdigest()
            if file.is_file()
            else "folder"
            for file in sorted(top.rglob("*"))
            if self.own not in (file, *file.parents)
        }

    def overwrite(self, digest: str, change: int = 0x01) -> None:
        """Flip a bit of an object's first byte on the disk."""
        path = self.root / "objects" / digest[:2] / digest
        data = bytearray(path.read_bytes())
        data[0] ^= change
        path.chmod(0o644)
        path.write_bytes(data)

    def lose(self, digest: str) -> None:
        """Remove an object from the disk."""
        path = self.root / "objects" / digest[:2] / digest
        path.chmod(0o644)
        path.unlink()

    def merge_from(self, other: Laptop) -> None:
        """Copy another vault's objects and records into this one, as a file manager would."""
        for folder in ("objects", "records"):
            for file in sorted((other.root / folder).rglob("*")):
                mine = self.root / file.relative_to(other.root)
                if file.is_file() and not mine.exists():
                    mine.parent.mkdir(parents=True, exist_ok=True)
                    shutil.copyfile(file, mine)

    def copy_to(self, folder: Path) -> Laptop:
        """Return a second laptop with a copy of this vault, and another user's folder."""
        other = Laptop(folder)
        other.now = self.now
        shutil.copytree(self.root, other.root)
        return other


def same_file(one: Incoming, **entry: Any) -> Incoming:
    """Return the dump once more, its entry changed where told."""
    import msgspec

    return replace(one, entry=msgspec.structs.replace(one.entry, **entry))


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[Laptop]:
    """Return a laptop with an empty vault."""
    made = Laptop(tmp_path / "one")
    yield made
    made.close()


def hold_refusals(monkeypatch: pytest.MonkeyPatch, room: str) -> None:
    """Hold every refusal of a room to saying what was expected, and what was found."""
    make = Fault.error

    def error(fault: Fault, **parts: Any) -> ParambakError:
        module = sys._getframe(1).f_globals["__name__"]
        if module.startswith(f"parambak.{room}."):
            assert parts.get("expected"), f"{fault.code} in {module} does not say what it expected"
            assert parts.get("found"), f"{fault.code} in {module} does not say what it found"
        return make(fault, **parts)

    monkeypatch.setattr(Fault, "error", error)


@pytest.fixture(autouse=True)
def _refusals_are_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every refusal says what was expected, and what was found."""
    hold_refusals(monkeypatch, "keeping")


@pytest.fixture(autouse=True)
def _no_flush(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the disk's flushes out: what they are for is tested in the vault's own room."""
    monkeypatch.setattr("os.fsync", lambda _: None)
