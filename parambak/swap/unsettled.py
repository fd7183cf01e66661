"""Nothing is loaded, compared or closed while records about the vessel are lost or in conflict."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from parambak.errors import Fault, NotProven, VaultDamaged

if TYPE_CHECKING:
    from parambak.keeping.state.model import Position, Vessel
    from parambak.keeping.state.unsettled import Conflict
    from parambak.swap.swaps import Swap

RECORDS_LOST = Fault(
    "swap-records-lost",
    VaultDamaged,
    "a record about the vessel of {where} is missing or damaged, and it may state anything",
    "Run `parambak recheck`: it shows from where to fetch it. If nobody has it: `parambak "
    "accept-loss {where} --by NAME --reason TEXT`.",
)
RECORDS_CONFLICT = Fault(
    "swap-records-conflict",
    NotProven,
    "{fact} of {about} is undecided: two records state it differently, neither after the other",
    "Settle it: `{command}`.",
)


def refuse_unsettled(vessel: Vessel, position: Position, swap: Swap | None) -> None:
    """Raise VaultDamaged for a lost record, NotProven for a conflict, about a swap's vessel."""
    unsettled = position.unsettled.with_more(of_swap(vessel, position, swap))
    if unsettled.lost:
        raise RECORDS_LOST.error(
            where=position.where,
            file=unsettled.lost[0].file,
            expected="every record about the vessel",
            found="; ".join(record.text for record in unsettled.lost[:3]),
        )
    for conflict in unsettled.conflicts[:1]:
        raise RECORDS_CONFLICT.error(
            fact=conflict.fact,
            about=conflict.where,
            command=conflict.command,
            expected="one value",
            found=" and ".join(conflict.values),
        )


def of_swap(vessel: Vessel, position: Position, swap: Swap | None) -> tuple[Conflict, ...]:
    """Return what is in conflict in a swap, and about the cards that it names."""
    if swap is None:
        return ()
    named = {swap.body.old_card, swap.body.new_card}
    cards = (c for card in vessel.cards if card.ids & named for c in card.conflicts)
    own = (msgspec.structs.replace(c, where=position.where) for c in swap.conflicts)
    return (*own, *cards)
