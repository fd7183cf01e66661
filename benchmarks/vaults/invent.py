"""Invented vaults of any size, written straight as valid files and without flushes.

A fleet of 200 vessels, each of 25 units with two chips, all invented. The copies go round
the vessels and then round their chips, so that a vault a hundred times as large holds more
chips of each vessel and more years of each chip. Every vessel has its IMO number recorded
later than its name, and every twentieth was renamed.
"""

from __future__ import annotations

import os
import random
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from parambak.memory.digests import sha256
from parambak.vault import objects, persons, records, vault_toml
from parambak.vault.records import Record, clock_of

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

VESSELS = 200
UNITS = 25
POSITIONS = ("U12", "U13")
CHIP = "28c16"
SIZE = 2048
RENAMED_EVERY = 20
BEGUN = datetime(1996, 3, 1, 8, tzinfo=UTC)
WRITER = "0b5e55ed" * 4
UNIT = "unit-00"  # the unit that is asked for: in a vault of any size it has its two chips


def vessel_name(number: int) -> str:
    """Return the short name of a vessel, never one letter from another's."""
    return f"hull-{number:04}-{number * 7919 % 10007:05}"


class Writer:
    """Writes objects and records into a new vault's folder, with no flush and no lock."""

    def __init__(self, root: Path) -> None:
        self._root = root
        for sort in (objects.FOLDER, records.FOLDER):
            for first in range(256):
                (root / sort / f"{first:02x}").mkdir(parents=True)
        self.records = 0

    def put(self, data: bytes) -> str:
        """Write an object; return its digest."""
        digest = sha256(data)
        self._write(objects.file_of(digest), data)
        return digest

    def add(  # noqa: PLR0913 - what a record is made of
        self,
        kind: str,
        vessel: str | None,
        body: dict[str, Any],
        *,
        after: Iterable[str],
        moment: datetime,
        by: str | None = None,
        relies_on: Iterable[str] = (),
    ) -> str:
        """Write a record; return its digest."""
        record = Record(
            format=1,
            kind=kind,
            vessel=vessel,
            after=tuple(sorted(after)),
            clock=clock_of(moment),
            writer=WRITER,
            by=by,
            objects=tuple(sorted({*relies_on, *([by] if by else [])})),
            body=body,
        )
        digest, data = records.encode(record)
        self._write(records.file_of(digest), data)
        self.records += 1
        return digest

    def first(self) -> None:
        """Write vault.toml and the vault's first record."""
        identity = "5ca1ab1e" * 4
        data = vault_toml.encode(identity)
        self._write(vault_toml.FILE, data)
        body = {"vault": identity, "vault_toml": sha256(data)}
        self.add("vault", None, body, after=(), moment=BEGUN)

    def _write(self, file: str, data: bytes) -> None:
        descriptor = os.open(f"{self._root}/{file}", os.O_WRONLY | os.O_CREAT, 0o444)
        try:
            os.write(descriptor, data)
        finally:
            os.close(descriptor)


class Ship:
    """One vessel's history so far: what its next read brings in, and what it is after."""

    def __init__(self, number: int, writer: Writer) -> None:
        self._writer = writer
        self._number = number
        self._random = random.Random(number)
        self._identity = self._random.randbytes(16).hex()
        self._units = [self._random.randbytes(16).hex() for _ in range(UNITS)]
        self._positions = [self._random.randbytes(16).hex() for _ in range(UNITS * len(POSITIONS))]
        person = persons.encode(f"Person {number} Invented")
        self._by = writer.put(person)
        self._heads: list[str] = []
        self._reads = 0

    def read(self) -> None:
        """Read the next chip of the ship; record its number after the first read."""
        at = self._reads % len(self._positions)
        moment = BEGUN + timedelta(days=11 * self._reads, minutes=self._number)
        content = self._random.randbytes(SIZE)
        digest = self._writer.put(content)
        body = self._body(at, digest, moment.date())
        if self._reads < len(self._positions):
            body["new"] = self._new(at)
        self._add("read", body, moment, [digest])
        self._reads += 1
        if self._reads == 1:
            self._tell({"imo": f"{self._number:07}"}, moment)
        elif self._reads == 2 and self._number % RENAMED_EVERY == 0:
            self._tell({"short": vessel_name(self._number + VESSELS)}, moment)

    def _tell(self, facts: dict[str, str], moment: datetime) -> None:
        body = {"facts": facts, "id": self._identity, "what": "vessel", "why": "certificate"}
        self._add("correct", body, moment + timedelta(hours=1), [])

    def _add(self, kind: str, body: dict[str, Any], moment: datetime, relies_on: list[str]) -> None:
        self._heads = [
            self._writer.add(
                kind,
                self._identity,
                body,
                after=self._heads,
                moment=moment,
                by=self._by,
                relies_on=relies_on,
            )
        ]

    def _new(self, at: int) -> list[dict[str, Any]]:
        unit = at // len(POSITIONS)
        facts: dict[str, Any] = {"chip": CHIP, "short": POSITIONS[at % len(POSITIONS)]}
        new = [
            {"facts": facts, "id": self._positions[at], "inside": self._units[unit]}
            | {"what": "position"}
        ]
        if at % len(POSITIONS) == 0:
            facts = {"maker_type": f"TC-{unit}", "short": f"unit-{unit:02}"}
            entity = {"facts": facts, "id": self._units[unit], "inside": self._identity}
            new.insert(0, entity | {"what": "unit"})
        if at == 0:
            name = vessel_name(self._number)
            new.insert(0, {"facts": {"short": name}, "id": self._identity, "what": "vessel"})
        return new

    def _body(self, at: int, digest: str, day: date) -> dict[str, Any]:
        dump = {
            "bytes": SIZE,
            "file_mark": self._random.randbytes(32).hex(),
            "format": "raw",
            "modified": int(BEGUN.timestamp() * 1e9) + self._random.randrange(1 << 50),
            "name": f"R{self._reads}.BIN",
            "path_mark": self._random.randbytes(32).hex(),
            "sha256": digest,
        }
        return {
            "call": self._random.randbytes(16).hex(),
            "dumps": [dump],
            "image": {"ranges": [[0, SIZE]], "sha256": digest},
            "position": self._positions[at],
            "read_on": day.isoformat(),
            "reader": "socket reader of the service case",
            "how": "socket",
        }


def invent(root: Path, copies: int) -> int:
    """Write a vault of that many copies; return the number of its records."""
    writer = Writer(root)
    writer.first()
    ships = [Ship(number, writer) for number in range(VESSELS)]
    for number in range(copies):
        ships[number % VESSELS].read()
    return writer.records
