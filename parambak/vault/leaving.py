"""Which vessels left a vault, told by its own records. formats/vault.md, "A vessel leaves"."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.vault.records import Stored
    from parambak.vault.vault import Vault

LEFT = "vessel-left"  # kinds of records about the vault itself
RETURNED = "vessel-returned"


def left(vault: Vault) -> dict[str, Stored]:
    """Return the vessels that left this vault and did not return: identity to the record.

    A leaving counts in the vault that it names, and in copies of that vault.
    """
    return standing(vault.records(None), vault.identity)


def standing(about_vault: Iterable[Stored], identity: str) -> dict[str, Stored]:
    """Return the same from the records about a vault, in causal order; never raises."""
    gone: dict[str, Stored] = {}
    for stored in about_vault:
        body = stored.record.body
        vessels = body.get("vessels")
        if stored.record.kind not in (LEFT, RETURNED) or body.get("vault") != identity:
            continue
        for vessel in vessels if isinstance(vessels, list) else ():
            if stored.record.kind == RETURNED:
                gone.pop(str(vessel), None)
            else:
                gone[str(vessel)] = stored
    return gone
