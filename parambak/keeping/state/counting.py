"""Which records count: all except those that a counting record of kind `withdrawn` names.

A withdrawal names only earlier records, by their digests. So the answer is the same in any order
of the records, and after any merge. Everything that is worked out from the records is worked out
from those that count; what the vault stores, checks, packs and sends is all of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.state.bodies import KINDS, WithdrawnBody, of_kind

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from parambak.vault.records import Stored
    from parambak.vault.vault import Vault


class Withdrawal(NamedTuple):
    """A record that withdraws others, and its body."""

    stored: Stored
    body: WithdrawnBody


Withdrawals = dict[str, list[Withdrawal]]


def withdrawals_of(records: Iterable[Stored]) -> Withdrawals:
    """Return, of the records about one vessel or the vault, those that are withdrawn.

    The answer has by a record's digest the withdrawals of it that count, oldest clock first.
    """
    made = {
        stored.digest: Withdrawal(stored, body) for stored, body in of_kind(records, WithdrawnBody)
    }
    naming = dict.fromkeys(made, 0)  # withdrawals of this one that were not looked at yet
    for withdrawal in made.values():
        for digest in set(withdrawal.body.records) & made.keys():
            naming[digest] += 1
    waiting = [digest for digest, count in naming.items() if not count]
    withdrawn: Withdrawals = {}
    while waiting:
        digest = waiting.pop()
        withdrawal = made[digest]
        for named in dict.fromkeys(withdrawal.body.records):
            if digest not in withdrawn:
                withdrawn.setdefault(named, []).append(withdrawal)
            if named in made:
                naming[named] -= 1
                waiting += [] if naming[named] else [named]
    for of_record in withdrawn.values():
        of_record.sort(key=_clock)
    return withdrawn


def _clock(withdrawal: Withdrawal) -> tuple[str, str]:
    return withdrawal.stored.record.clock.utc, withdrawal.stored.digest


def withdrawals_in(vault: Vault, vessel: str | None) -> Withdrawals:
    """Return what is withdrawn of the records about a vessel, or about the vault itself."""
    return withdrawals_of(vault.of_kind(vessel, WithdrawnBody.kind))


def without(records: Sequence[Stored], withdrawn: Mapping[str, object]) -> Sequence[Stored]:
    """Return the records that are not withdrawn: the same sequence if none is."""
    if not withdrawn:
        return records
    return tuple(stored for stored in records if stored.digest not in withdrawn)


def counting(vault: Vault, vessel: str | None) -> Sequence[Stored]:
    """Return the records that count about a vessel, or the vault itself, in causal order."""
    return without(vault.records(vessel), withdrawals_in(vault, vessel))


def counting_of_kind(vault: Vault, vessel: str | None, kind: str) -> Sequence[Stored]:
    """Return the records of one kind that count about a vessel or the vault, in no order."""
    records = vault.of_kind(vessel, kind)
    return without(records, withdrawals_in(vault, vessel)) if records else records


def show_something(records: Iterable[Stored]) -> bool:
    """Return whether records that count show that there is a vessel.

    Corrections, withdrawals and what backup locations hold are about other records alone.
    """
    return any(_shows_something(stored.record.kind) for stored in records)


def _shows_something(kind: str) -> bool:
    return kind not in KINDS or not KINDS[kind].about_records
