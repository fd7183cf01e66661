"""Whether a lost record may be one that states which copy is selected."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from parambak.errors import Fault, VaultDamaged
from parambak.swap.swaps import in_order
from parambak.vault.faults import RECORD_SKIPPED

if TYPE_CHECKING:
    from parambak.keeping.state.model import Vessel
    from parambak.swap.swaps import Swap
    from parambak.vault.vault import Vault

SELECTION_UNSURE = Fault(
    "swap-selection-unsure",
    VaultDamaged,
    "which copy is selected at {where} is not certain: a record that may state it is damaged or "
    "missing",
    "Run `parambak recheck`, and fetch the record from another copy of the vault. If that is not "
    "possible, {way}; or write the right copy with `parambak export`.",
)
_DIGEST = re.compile(r"[0-9a-f]{64}")


def refuse_unsure(vault: Vault, vessel: Vessel, where: str, swap: Swap | None) -> None:
    """Raise VaultDamaged if a lost record about the vessel may state which copy is selected.

    Records lost before the selection in the open swap, or else before its opening, do not count.
    """
    lost = lost_since(vault, vessel, swap)
    if lost:
        select = "select the copy again with `parambak swap select`"
        way = select if swap is not None else f"open a swap; if one is open, {select}"
        raise SELECTION_UNSURE.error(
            where=where,
            way=way,
            expected="every record about the vessel",
            found=f"without {', '.join(f'records/{d[:2]}/{d[:12]}…' for d in lost[:3])}",
        )


def lost_since(vault: Vault, vessel: Vessel, swap: Swap | None) -> tuple[str, ...]:
    """Return the digests of lost records, except those certainly before the selection."""
    after = {stored.digest: stored.record.after for stored in in_order(vault, vessel)}
    before: set[str] = set()
    if swap is not None:
        settled = [swap.selection.record if swap.selection is not None else swap.opened.record]
        while settled:
            parents = set(after.get(settled.pop(), ())) - before
            before |= parents
            settled += parents
    lost = {digest for named in after.values() for digest in named} - after.keys() - before
    if swap is None or swap.selection is None:
        lost |= _unnamed(vault) - before
    return tuple(sorted(lost))


def _unnamed(vault: Vault) -> set[str]:
    """Return the digests of files that cannot be read and that no record names.

    They may be about any vessel; those that a record names are about that record's vessel.
    """
    texts = [warning.text for warning in vault.warnings if warning.code == RECORD_SKIPPED]
    skipped = {digest for text in texts for digest in _DIGEST.findall(text)[:1]}
    if skipped:
        for vessel in (None, *vault.vessels()):
            for stored in vault.records(vessel):
                skipped.difference_update(stored.record.after)
    return skipped
