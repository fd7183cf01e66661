"""What the `recheck` records say of this very folder; formats/vault.md, "Recheck"."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from parambak.errors import VaultDamaged
from parambak.keeping.state.bodies import RecheckBody, body_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.vault.records import Stored

RECHECK = "recheck"


def last_full(stored: Iterable[Stored], folder: str | None, *, sound: bool) -> datetime | None:
    """Return since when every file of this folder had been read, by the newest such record.

    `folder` is the folder's mark: what was read in another copy of the vault does not count.
    With `sound`, only where nothing was damaged.
    """
    newest = None
    for each in stored:
        if each.record.kind != RECHECK:
            continue
        try:
            body = body_of(each.record, each.digest, RecheckBody)
            told = datetime.fromisoformat(body.since or each.record.clock.utc)
            since = told.astimezone(UTC)
        except (VaultDamaged, ValueError, OverflowError):
            continue  # what it says cannot be told
        if told.tzinfo is None:
            continue
        if folder is not None and body.folder == folder and not (sound and body.damaged):
            newest = max(since, newest) if newest else since
    return newest
