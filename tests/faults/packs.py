"""A pack with one damaged byte, and one cut short: its sound members are recovered.

One bit of one byte at a time, and every shorter length. Reading strictly refuses the pack, or
names the member, or the flip did not matter; what is salvaged is never a wrong byte, and except
the member that was hit, all there was.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from parambak.errors import PackRefused
from parambak.memory.digests import sha256
from parambak.vault.packs import salvage
from parambak.vault.packs.reading import Pack
from parambak.vault.packs.zip_form import MANIFEST, content, read_members

if TYPE_CHECKING:
    from parambak.vault.packs.zip_form import Member

KEPT = Path(__file__).parents[2] / "fixtures" / "packs" / "grebe.zip"


@dataclass
class Figures:
    """How many packs were damaged in which way, what came of it, and what went wrong."""

    flipped: int = 0
    cut: int = 0
    refused: int = 0
    most_lost: int = 0
    wrong: list[str] = field(default_factory=list)


class _Sound:
    """A pack as it was: its bytes, its members, and the digests of their content."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        stream = io.BytesIO(data)
        self.members = read_members(stream)
        self.digests = {
            member.name: sha256(b"".join(content(stream, member))) for member in self.members
        }
        # If its name is damaged, it comes in as a file that no record names, which does no harm.
        self.manifest = self.digests.pop(MANIFEST)

    def hit(self, at: int) -> Member | None:
        """Return the member that holds a byte in its data."""
        return next((m for m in self.members if m.data_at <= at < m.end), None)


def run(_base: Path, *, share: float = 1.0) -> Figures:
    """Damage the pack that is kept in every way; `share` of the places, evenly."""
    found = Figures()
    sound = _Sound(KEPT.read_bytes())
    step = max(1, round(1 / share))
    for at in range(0, len(sound.data), step):
        found.flipped += 1
        data = bytearray(sound.data)
        data[at] ^= 1 << at % 8
        _flipped(sound, bytes(data), at, found)
    for length in range(0, len(sound.data), step):
        found.cut += 1
        _cut(sound, length, found)
    return found


def _flipped(sound: _Sound, data: bytes, at: int, found: Figures) -> None:
    strictly = _strictly(data)
    if strictly is None:
        found.refused += 1
    elif not strictly <= {*sound.digests.values()}:
        found.wrong.append(f"a strict reading gives wrong bytes at {at}")
    had = _salvaged(data, at, found)
    expected = {*sound.digests.values()}
    lost = expected - had
    found.most_lost = max(found.most_lost, len(lost))
    if had - expected - {sound.manifest}:
        found.wrong.append(f"wrong bytes are salvaged at {at}")
    hit = sound.hit(at)
    allowed = {sound.digests[hit.name]} if hit is not None and hit.name != MANIFEST else set()
    if not lost <= allowed:
        found.wrong.append(f"{len(lost)} members are lost at {at}")


def _cut(sound: _Sound, length: int, found: Figures) -> None:
    had = _salvaged(sound.data[:length], length, found)
    before = {sound.digests[m.name] for m in sound.members[1:] if m.end <= length}
    if not before <= had <= {*sound.digests.values()}:
        found.wrong.append(f"cut at {length}: {len(before - had)} members are lost")


def _strictly(data: bytes) -> set[str] | None:
    """Return the digests that a strict reading gives; None if it refuses the pack."""
    try:
        pack = Pack(io.BytesIO(data), "a pack")
        pack.check(lambda _done, _of: None)
    except PackRefused:
        return None
    return {sha256(piece.read()) for piece in pack.pieces()}


def _salvaged(data: bytes, at: int, found: Figures) -> set[str]:
    stream = io.BytesIO(data)
    had: set[str] = set()
    for member in salvage.members(stream):
        if member.data is not None and member.hint.name != MANIFEST:
            had.add(sha256(member.data))
            if salvage.read(stream, member.hint) != member.data:
                found.wrong.append(f"read again, a member is another at {at}")
    return had
