"""Each byte of a small vault is damaged in turn: each is found, named, and repaired.

One bit of one byte at a time, in every object, every record and vault.toml. Recheck must name that
file and no other. Then the file comes back from a place, and recheck finds nothing.
"""

from __future__ import annotations

import random
import shutil
from collections import Counter
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

from parambak.errors import ParambakError
from parambak.memory.digests import sha256
from parambak.vault.check.recheck import recheck
from parambak.vault.joining import Piece, join
from tests.faults import soundness
from tests.faults.commands import begin, call, repeating

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

TOML = "vault.toml"


@dataclass
class Figures:
    """The result of a run: bytes damaged by kind of file, how they were repaired, what failed."""

    damaged: Counter[str] = field(default_factory=Counter)
    repaired: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    @property
    def total(self) -> int:
        """Return the number of bytes that were damaged."""
        return sum(self.damaged.values())


class Vault:
    """A small vault, and a second copy of it from which it is repaired."""

    def __init__(self, base: Path) -> None:
        shutil.rmtree(base, ignore_errors=True)
        with repeating("rot"):
            self.folder = begin(base / "rotting", "visit")
            outcome = call(self.folder, ("recheck",))
        assert outcome.code == 0, outcome.said
        self.root = self.folder / "vault"
        self.sound = soundness.facts(soundness.bytes_of(self.root))

    def places(self) -> Iterator[tuple[str, int]]:
        """Yield each file and each place in it."""
        for name, data in sorted(self.sound.items()):
            yield from ((name, at) for at in range(len(data)))

    def damage(self, name: str, at: int, bit: int) -> None:
        """Flip one bit."""
        data = bytearray(self.sound[name])
        data[at] ^= 1 << bit
        self._write(name, bytes(data))

    def found(self) -> list[str]:
        """Return the files that recheck calls damaged; or the one for which opening is refused."""
        try:
            vault = soundness.open_vault(self.folder)
        except ParambakError as error:
            return [str(error.file).removeprefix(f"{self.root}/")]
        damaged = recheck(vault, lambda _done, _of: None).damaged
        vault.close()
        return [each.file for each in damaged]

    def repair(self, name: str) -> str:
        """Bring the right bytes back: by a merge, or vault.toml by copying; return which."""
        if name == TOML:  # no merge brings it: it is the vault's own
            self._write(name, self.sound[name])
            return "by copying"
        vault = soundness.open_vault(self.folder)
        with vault.writing() as writing:
            joined = join(vault, writing, self._pieces())
        vault.close()
        return "by a merge" if joined.repaired == (name,) else f"not at all: {joined}"

    def _pieces(self) -> Iterator[Piece]:
        for name, data in self.sound.items():
            if name != TOML:
                digest = sha256(data)
                yield Piece(name, digest, name.startswith("records/"), partial(bytes, data))

    def _write(self, name: str, data: bytes) -> None:
        path = self.root / name
        path.chmod(0o644)
        path.write_bytes(data)


def run(base: Path, *, seed: int = 0, share: float = 1.0) -> Figures:
    """Damage every byte, or a share of them by chance."""
    chance, figures, vault = random.Random(seed), Figures(), Vault(base)
    with repeating("rotting"):
        for name, at in vault.places():
            if chance.random() >= share:
                continue
            figures.damaged[name.partition("/")[0]] += 1
            vault.damage(name, at, chance.randrange(8))
            found = vault.found()
            if found != [name]:
                figures.wrong.append(f"byte {at} of {name}: found {found}")
            figures.repaired[vault.repair(name)] += 1
            if wrong := soundness.faults_of(vault.folder):
                figures.wrong.append(f"byte {at} of {name}, repaired: {wrong}")
    return figures
