"""What a read-back may not prove, and what it looks like besides."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import ParambakError
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


class Compared(NamedTuple):
    """What was read back, and what it was held against.

    `times` tells that the files' times mean something.
    """

    vessel: Vessel
    position: Position
    copy: Copy
    image: Image
    incoming: list[Incoming]
    pair: PairScheme | None
    times: bool


def doubts_of(vault: Vault, what: Compared) -> tuple[str, ...]:
    """Return what speaks against a read-back, but for how many there are."""
    said = _released(vault, what.position, what.incoming)
    said += _resembles(what.vessel, what.copy, what.incoming)
    said += _halves(what.incoming, what.image, what.pair)
    return said + (_old_files(what.position, what.incoming) if what.times else ())


def _released(vault: Vault, position: Position, incoming: list[Incoming]) -> tuple[str, ...]:
    """Say where a file is byte for byte one that was released for loading."""
    known = released_files(vault, position)
    return tuple(
        f"{file.entry.name} is byte for byte the file that was released for loading: make sure "
        "that the chip itself was read"
        for each in incoming
        for file in each.files
        if file.entry.sha256 in known
    )


def _old_files(position: Position, incoming: list[Incoming]) -> tuple[str, ...]:
    """Say where a file is one that was archived from this position before."""
    known = {(d.sha256, d.modified) for read in position.reads for d in read.dumps}
    return tuple(
        f"{file.entry.name} is the very file, of the same time, that was archived before: it "
        "proves nothing of the new card. Read the new card's chip, and give that dump"
        for each in incoming
        for file in each.files
        if (file.entry.sha256, file.entry.modified) in known
    )


def _resembles(vessel: Vessel, selected: Copy, incoming: list[Incoming]) -> tuple[str, ...]:
    """Say where what was read is another copy aboard, byte for byte."""
    held = {
        copy.image: select.copy_name(position, copy)
        for unit in vessel.units
        for position in unit.positions
        for copy in position.copies
    }
    said = []
    for each in incoming:
        image = ImageEntry.of(each.image, sha256(each.image.content))
        if image != selected.image and image in held:
            said.append(
                f"{each.entry.name} is byte for byte {held[image]}: that file was loaded, or that "
                "chip was read"
            )
    return tuple(said)


def _halves(incoming: list[Incoming], selected: Image, pair: PairScheme | None) -> tuple[str, ...]:
    """Say where two chips are crossed over, or where half of a pair was given alone."""
    if pair is None:
        half = [each for each in incoming if 2 * len(each.image.content) == len(selected.content)]
        return tuple(
            f"{each.entry.name} is half as large as the selected copy: where two chips hold the "
            "memory, give the dumps of both with --pair"
            for each in half
        )
    from parambak.reads.pairs import split  # noqa: PLC0415 - for a pair only

    said = []
    for each in incoming:
        with suppress(ParambakError):
            wanted, there = split(selected, pair), split(each.image, pair)
            contents = [chip.content for chip in there]
            if contents == [chip.content for chip in reversed(wanted)] != contents[::-1]:
                said.append(
                    f"the two chips of {each.entry.name} hold each other's half: each file went "
                    "into the other chip, or the dumps are named in the other order"
                )
    return tuple(said)


def not_enough(swap: Swap | None, given: int, *, loaded: bool) -> tuple[str, ...]:
    """Say that what was read back so far does not prove the contents yet."""
    if not loaded:
        return ()
    if swap is None:
        one = "one read alone may be wrong in the same way twice: read the chip once more, apart"
        return (one,) if given == 1 else ()
    if swap.unproven is None:
        return ()
    return (f"that is not yet enough for `swap close` ({swap.unproven}): read it again, apart",)


def older(position: Position, copy: Copy, swap: Swap | None) -> tuple[str, ...]:
    """Say that the selected copy is not the newest, and why."""
    if position.latest is None or position.latest.image == copy.image:
        return ()
    newer = select.copy_name(position, position.latest)
    if swap is not None and swap.choice is not None and swap.choice.image == copy.image:
        return (f"an older copy than {newer} is selected in this swap: {swap.choice.why}",)
    if swap is not None and swap.released:
        return (
            (
                f"a newer copy, {newer}, was archived since the file was released: the card is "
                "compared with the file that was released. If the newer one is selected, load that"
            ),
        )
    return (f"the newest copy, {newer}, is not verified: the one before it is selected",)


def others(every: tuple[Swap, ...], swap: Swap | None) -> tuple[Swap, ...]:
    """Return the open swaps beside the one that is selected."""
    return tuple(each for each in every if each.end is None and each is not swap)
