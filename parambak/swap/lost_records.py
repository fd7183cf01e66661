"""Whether a record that is lost may be one that says which copy is selected."""

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

MEANT_UNSURE = Fault(
    "swap-selection-unsure",
    VaultDamaged,
    "which copy is selected at {where} is not certain: a record is damaged or gone that may say so",
    "Run `parambak recheck`, and fetch the record from another copy of the vault. If that cannot "
    "be: {way}; or write the copy that you mean with `parambak export`.",
)
_DIGEST = re.compile(r"[0-9a-f]{64}")


def refuse_unsure(vault: Vault, vessel: Vessel, where: str, swap: Swap | None) -> None:
    """Raise VaultDamaged where a lost record about the vessel may say which copy is selected.

    A choice made in the open swap, or else its opening, settles what was lost before it.
    """
    lost = lost_since(vault, vessel, swap)
    if lost:
        chosen = "name the copy anew with `parambak swap select`"
        way = chosen if swap is not None else f"open a swap, or where one is open {chosen}"
        raise MEANT_UNSURE.error(
            where=where,
            way=way,
            expected="every record about the vessel",
            found=f"without {', '.join(f'records/{each[:2]}/{each[:12]}…' for each in lost[:3])}",
        )


def lost_since(vault: Vault, vessel: Vessel, swap: Swap | None) -> tuple[str, ...]:
    """Return the digests of records that are lost and not known to come before the choice."""
    after = {stored.digest: stored.record.after for stored in in_order(vault, vessel)}
    before: set[str] = set()
    if swap is not None:
        settled = [swap.choice.record if swap.choice is not None else swap.opened.record]
        while settled:
            known = set(after.get(settled.pop(), ())) - before
            before |= known
            settled += known
    lost = {each for named in after.values() for each in named} - after.keys() - before
    if swap is None or swap.choice is None:
        lost |= _unnamed(vault) - before
    return tuple(sorted(lost))


def _unnamed(vault: Vault) -> set[str]:
    """Return the digests of files that cannot be read and that no record names.

    They may tell of any vessel; those that a record names are of that record's vessel.
    """
    texts = [each.text for each in vault.warnings if each.code == RECORD_SKIPPED]
    skipped = {digest for text in texts for digest in _DIGEST.findall(text)[:1]}
    if skipped:
        for vessel in (None, *vault.vessels()):
            for stored in vault.records(vessel):
                skipped.difference_update(stored.record.after)
    return skipped
