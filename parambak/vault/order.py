"""The causal order of one vessel's records: by what they are `after`, never by clocks alone."""

from __future__ import annotations

import heapq
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from collections.abc import Set as AbstractSet

    from parambak.vault.records import Link, Stored

    AnyLink = TypeVar("AnyLink", Stored, Link)


def causal_order(records: Iterable[AnyLink]) -> tuple[AnyLink, ...]:
    """Return the records, each behind those it is `after`, in any order of arrival.

    Of two records that are not after each other, the earlier clock goes first, then the
    lower digest. A record named in `after` that is not among them holds nobody up.
    """
    by_digest = {stored.digest: stored for stored in records}
    followers: dict[str, list[str]] = {}
    waiting: dict[str, int] = {}
    ready = []
    for digest, stored in by_digest.items():
        parents = [parent for parent in stored.record.after if parent in by_digest]
        for parent in parents:
            followers.setdefault(parent, []).append(digest)
        waiting[digest] = len(parents)
        if not parents:
            ready.append((stored.record.clock.utc, digest))
    heapq.heapify(ready)
    ordered = []
    while ready:
        _, digest = heapq.heappop(ready)
        ordered.append(by_digest[digest])
        for follower in followers.get(digest, ()):
            waiting[follower] -= 1
            if not waiting[follower]:
                heapq.heappush(ready, (by_digest[follower].record.clock.utc, follower))
    return tuple(ordered)


def behind(newest: Iterable[str], after: Mapping[str, Sequence[str]]) -> set[str]:
    """Return these records and all that they are after, if `after` has them."""
    seen: set[str] = set()
    waiting = list(newest)
    while waiting:
        digest = waiting.pop()
        if digest in after and digest not in seen:
            seen.add(digest)
            waiting += after[digest]
    return seen


def heads(records: Sequence[Stored]) -> tuple[Stored, ...]:
    """Return the newest records: those that no other of them is `after`."""
    followed = {parent for stored in records for parent in stored.record.after}
    return tuple(stored for stored in records if stored.digest not in followed)


def lasting(records: Sequence[Stored], passing: AbstractSet[str]) -> list[str]:
    """Return the newest records, those of passing kinds aside: then those that they are after."""
    by_digest = {stored.digest: stored for stored in records}
    waiting = [stored.digest for stored in heads(records)]
    newest: set[str] = set()
    while waiting:
        digest = waiting.pop()
        if digest in by_digest and by_digest[digest].record.kind in passing:
            waiting += by_digest[digest].record.after
        else:
            newest.add(digest)
    return sorted(newest)
