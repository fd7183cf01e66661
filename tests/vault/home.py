from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from pathlib import Path

from parambak.vault.records import Clock, Record, encode, file_of
from parambak.vault.vault import Vault

# The copy of the first vault that every later version must open.
FIRST = Path(__file__).parents[2] / "fixtures" / "vaults" / "first"
GREBE = "3fa2c0de3fa2c0de3fa2c0de3fa2c0de"
AVOCET = "a70ce7a70ce7a70ce7a70ce7a70ce7a7"


@dataclass
class Home:
    """A vault's folder, a user's own folder and a clock that a test can set."""

    root: Path
    own: Path
    now: datetime = field(
        default_factory=lambda: datetime(
            2026, 11, 25, 14, 49, 40, tzinfo=timezone(timedelta(hours=1))
        )
    )
    opened: list[Vault] = field(default_factory=list)

    def clock(self) -> datetime:
        """Return the time that the test has set."""
        return self.now

    def open(self, *, create: bool = False) -> Vault:
        """Open the vault; it is closed again when the test ends."""
        vault = Vault.open(self.root, own=self.own, clock=self.clock, create=create)
        self.opened.append(vault)
        return vault

    def made(self) -> Vault:
        """Open a vault that has been written to once."""
        vault = self.open(create=True)
        with vault.writing():
            pass
        return vault

    def note(self, text: str, vessel: str | None = GREBE) -> str:
        """Open the vault and add one small record; return its digest."""
        with self.open(create=True).writing() as writing:
            return writing.add("note", vessel, {"text": text})

    def files(self) -> dict[str, bytes]:
        """Return every file of the vault but the lock: name to bytes."""
        return {
            file.relative_to(self.root).as_posix(): file.read_bytes()
            for file in sorted(self.root.rglob("*"))
            if file.is_file() and file.name != "lock"
        }

    def overwrite(self, file: str, data: bytes) -> None:
        """Change a file's bytes in place, read-only or not."""
        path = self.root / file
        path.chmod(0o644)
        path.write_bytes(data)


def copied_in(root: Path, count: int, vessel: str = GREBE, kind: str = "note") -> list[str]:
    """Put records into a vault's folder as plain copying does; return their digests."""
    digests: list[str] = []
    for n in range(count):
        record = Record(
            format=1,
            kind=kind,
            vessel=vessel,
            after=tuple(digests[-1:]),
            clock=Clock(utc="2026-11-25T13:49:40Z", offset=0),
            writer="0" * 32,
            objects=(),
            body={"n": n},
        )
        digest, data = encode(record)
        path = root / file_of(digest)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        digests.append(digest)
    return digests
