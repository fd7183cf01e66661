"""How far a recheck that is limited in time has come: kept in the user's own folder.

It speaks of one folder on one computer: the records travel to other copies of the vault, and
what was read on a stick is not read on the disk. Whoever loses it begins anew; nothing else
depends on it.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated

import msgspec
from msgspec import Meta, Struct

from parambak.vault.files import disk
from parambak.vault.records import Utc, canonical

if TYPE_CHECKING:
    from pathlib import Path

_MAX = 16 << 20
_MARK = re.compile(r"[0-9a-f]{64}")


class Cycle(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What has been read since `began` (UTC).

    `folders` gives for each folder read through, such as `objects/ab`, how many files it
    held; `damaged` what was found wrong there, by file, and is looked at again each time.
    """

    began: Utc
    folders: dict[str, Annotated[int, Meta(ge=0)]] = {}
    damaged: dict[str, str] = {}

    def counted(self, sort: str) -> int:
        """Return how many files of `objects` or of `records` have been read."""
        return sum(n for folder, n in self.folders.items() if folder.startswith(sort + "/"))


_DECODER = msgspec.json.Decoder(Cycle)


def load(own: Path, mark: str) -> Cycle | None:
    """Return the cycle that was begun on the folder of that mark, or None."""
    try:
        return _DECODER.decode(disk.read_file(_file(own, mark), _MAX))
    except (OSError, ValueError, RecursionError, msgspec.MsgspecError):
        return None  # to begin anew is always right


def keep(own: Path, mark: str, cycle: Cycle) -> None:
    """Note how far a cycle has come; raises OSError."""
    disk.write_plain(_file(own, mark), canonical(cycle))


def forget(own: Path, mark: str) -> None:
    """Forget a cycle: it is complete, or another was begun."""
    disk.remove(_file(own, mark))


def _file(own: Path, mark: str) -> Path:
    if not _MARK.fullmatch(mark):
        raise ValueError("a mark is a digest")
    return own / "rechecks" / f"{mark}.json"
