"""What is unsettled about a vessel: records that are lost, and facts that conflict.

A lost record may state anything, so nothing of its vessel is verified or ready until it is fetched
back, or a person accepts the loss for a position. A conflict ends by a record that is after both.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from msgspec import Struct

from parambak.vault.records import file_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date


# Facts that another command than `correct` states.
COMMANDS = {
    "layout": "parambak layout attach {where} FILE",
    "rules": "parambak rules record {where} FILE --by NAME",
    "sheet": "parambak card record {where} FILE --by NAME",
}


class Conflict(Struct, frozen=True, gc=False):
    """A fact with different values in two records that do not know of each other.

    `where` is what the fact is about: a vessel, a unit, a card, a position or a COPY. `settled_by`
    is the command that settles it, if neither `correct` nor one of `COMMANDS` does.
    """

    fact: str
    values: tuple[str, ...]
    where: str = ""
    settled_by: str = ""

    @property
    def command(self) -> str:
        """Return the command that settles it."""
        if self.settled_by:
            return self.settled_by.format(where=self.where)
        if self.fact in COMMANDS:
            return COMMANDS[self.fact].format(where=self.where)
        option = self.fact.replace("_", "-") + ("-name" if self.fact in NAMES else "")
        return f"parambak correct {self.where} --{option} VALUE --by NAME --reason TEXT"


NAMES = frozenset({"short", "display"})


class LostRecord(NamedTuple):
    """A record that is missing or damaged, by its digest, and how that is seen.

    With `path`, it is that file of the vault, with this digest now: it does not prove its records.
    """

    digest: str
    why: str
    path: str | None = None

    @property
    def file(self) -> str:
        """Return its file within the vault."""
        return self.path or file_of(self.digest)

    @property
    def text(self) -> str:
        """Return the file and how its loss is seen, in words."""
        return f"{self.file} {self.why}"


class AcceptedLoss(Struct, frozen=True, gc=False):
    """A loss that a person accepted for some positions; `by` is the person's mark."""

    record: str
    positions: frozenset[str]
    records: tuple[str, ...]
    objects: tuple[str, ...]
    reason: str
    by: str | None
    on: date


class Unsettled(Struct, frozen=True, gc=False):
    """What is unsettled about a vessel, or about one position of it.

    `accepted` are the losses that a person accepted, and that still are losses.
    """

    lost: tuple[LostRecord, ...] = ()
    conflicts: tuple[Conflict, ...] = ()
    accepted: tuple[AcceptedLoss, ...] = ()

    def with_more(self, conflicts: Sequence[Conflict]) -> Unsettled:
        """Return it with further conflicts."""
        if not conflicts:
            return self
        return Unsettled(self.lost, (*self.conflicts, *conflicts), self.accepted)

    def at(self, position: frozenset[str], conflicts: Iterable[Conflict]) -> Unsettled:
        """Return what is unsettled at a position; `conflicts` are those of its own facts."""
        accepted = tuple(loss for loss in self.accepted if loss.positions & position)
        named = {digest for loss in accepted for digest in loss.records}
        return Unsettled(
            tuple(record for record in self.lost if record.digest not in named),
            (*self.conflicts, *conflicts),
            accepted,
        )
