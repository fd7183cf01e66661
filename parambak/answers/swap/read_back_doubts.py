"""Reasons why a read-back may not prove the contents."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault, ParambakError
from parambak.keeping.state import select
from parambak.keeping.state.bodies import ImageEntry
from parambak.memory.digests import sha256
from parambak.swap.recording import released_files

if TYPE_CHECKING:
    from parambak.keeping.recording.received import Incoming
    from parambak.keeping.state.model import Copy, Position, Vessel
    from parambak.memory.image import Image
    from parambak.reads.pairs import PairScheme
    from parambak.swap.swaps import Swap
    from parambak.vault.vault import Vault

OLD_FILE = Fault(
    "read-back-archived",
    CallRefused,
    "that file was archived before: it proves nothing of the new card",
    "Read the chip of the new card, and give that dump.",
)


LOAD_FILE = Fault(
    "read-back-load-file",
    CallRefused,
    "that file is the one that was written for loading, not a read of the card",
    "Read the chip of the new card, and give that dump. If the reader has no clock, state "
    "`file-times = false` in its profile.",
)
CLOCK_TICK = 2  # seconds: the times of some file systems are no finer


class Compared(NamedTuple):
    """What was read back, and what it was compared with.

    `times` states that the files' times mean something.
    """

    vessel: Vessel
    position: Position
    copy: Copy
    image: Image
    incoming: list[Incoming]
    pair: PairScheme | None
    times: bool


def doubts_of(vault: Vault, what: Compared) -> tuple[str, ...]:
    """Return each reason to doubt a read-back, except that there are too few."""
    doubts = _released(vault, what.position, what.incoming)
    doubts += _resembles(what.vessel, what.copy, what.incoming)
    return doubts + _halves(what.incoming, what.image, what.pair)


def _released(vault: Vault, position: Position, incoming: list[Incoming]) -> tuple[str, ...]:
    """Return a doubt if a file is byte for byte one that was released for loading."""
    released = released_files(vault, position)
    return tuple(
        f"{file.entry.name} has the same bytes as the file released for loading: make sure that "
        "the chip itself was read"
        for read in incoming
        for file in read.files
        if file.entry.sha256 in released
    )


def refuse_load_files(vault: Vault, what: Compared) -> None:
    """Raise CallRefused if a file has the bytes of a load file, and is no newer than that.

    A read of a card that holds exactly these bytes may give the same file, but only later.
    """
    released = released_files(vault, what.position)
    for read in what.incoming if what.times else ():
        for file in read.files:
            written, modified = released.get(file.entry.sha256), file.entry.modified
            if written is None or modified is None:
                continue
            if modified / 10**9 <= written.timestamp() + CLOCK_TICK:
                raise LOAD_FILE.error(
                    file=file.entry.name,
                    expected="a file that was read from the new card after loading",
                    found="the same bytes as the load file, and no later time",
                )


def refuse_old_files(what: Compared) -> None:
    """Raise CallRefused if a file is one that is on record as a read of this position."""
    archived = {(d.sha256, d.modified) for read in what.position.reads for d in read.dumps}
    for read in what.incoming if what.times else ():
        for file in read.files:
            if (file.entry.sha256, file.entry.modified) in archived:
                raise OLD_FILE.error(
                    file=file.entry.name,
                    expected="a file that was read from the new card",
                    found="the same bytes and the same time as a read on record",
                )


def _resembles(vessel: Vessel, selected: Copy, incoming: list[Incoming]) -> tuple[str, ...]:
    """Return a doubt if what was read is another copy aboard, byte for byte."""
    held = {
        copy.image: select.copy_name(position, copy)
        for unit in vessel.units
        for position in unit.positions
        for copy in position.copies
    }
    doubts = []
    for read in incoming:
        image = ImageEntry.of(read.image, sha256(read.image.content))
        if image != selected.image and image in held:
            doubts.append(
                f"{read.entry.name} holds the same bytes as {held[image]}: that file was loaded, "
                "or that chip was read"
            )
    return tuple(doubts)


def _halves(incoming: list[Incoming], selected: Image, pair: PairScheme | None) -> tuple[str, ...]:
    """Return a doubt if two chips are crossed over, or where half of a pair was given alone."""
    if pair is None:
        halves = [read for read in incoming if 2 * len(read.image.content) == len(selected.content)]
        return tuple(
            f"{read.entry.name} is half as large as the selected copy: where two chips hold the "
            "memory, give the dumps of both with --pair"
            for read in halves
        )
    from parambak.reads.pairs import split  # noqa: PLC0415 - for a pair only

    doubts = []
    for read in incoming:
        with suppress(ParambakError):
            expected, chips = split(selected, pair), split(read.image, pair)
            contents = [chip.content for chip in chips]
            if contents == [chip.content for chip in reversed(expected)] != contents[::-1]:
                doubts.append(
                    f"the two chips of {read.entry.name} hold each other's half: each file went "
                    "into the other chip, or the dumps are named in the other order"
                )
    return tuple(doubts)


def not_enough(swap: Swap | None, given: int, *, loaded: bool) -> tuple[str, ...]:
    """Return a doubt that what was read back so far does not prove the contents yet."""
    if not loaded:
        return ()
    if swap is None:
        one = "one read alone may be wrong: read the chip again, as a separate read"
        return (one,) if given == 1 else ()
    if swap.unproven is None:
        return ()
    return (f"`swap close` needs more proof ({swap.unproven}): read it again, as a separate read",)


def older(position: Position, copy: Copy, swap: Swap | None) -> tuple[str, ...]:
    """Return a doubt that the selected copy is not the newest, and why."""
    if position.latest is None or position.latest.image == copy.image:
        return ()
    newer = select.copy_name(position, position.latest)
    if swap is not None and swap.selection is not None and swap.selection.image == copy.image:
        return (f"an older copy than {newer} is selected in this swap: {swap.selection.why}",)
    if swap is not None and swap.released:
        return (
            (
                f"a newer copy, {newer}, was archived since the file was released: the card is "
                "compared with the released file. To use the newer copy, load that one"
            ),
        )
    return (f"the newest copy, {newer}, is not verified: the one before it is selected",)


def others(swaps: tuple[Swap, ...], swap: Swap | None) -> tuple[Swap, ...]:
    """Return the open swaps except this one."""
    this = swap.id if swap is not None else None
    return tuple(other for other in swaps if other.end is None and other.id != this)
