"""Whole vessels in and out of the vault, by pack."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.recording.losses import LeftOut, note_left_out
from parambak.keeping.state import select
from parambak.keeping.state.fold import fleet
from parambak.vault.joining import Joined, join
from parambak.vault.records import record_in

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from os import PathLike

    from parambak.keeping.state.model import Vessel
    from parambak.vault.joining import Piece
    from parambak.vault.packs.reading import Pack, WrittenPack
    from parambak.vault.vault import Vault

    Progress = Callable[[int, int], None]


def pack(
    vault: Vault,
    names: Iterable[str],
    file: str | PathLike[str],
    progress: Progress,
    *,
    replace: bool,
) -> tuple[WrittenPack, tuple[str, ...]]:
    """Write a pack of the vessels of these names; return it, and the vessels' handles.

    Raises NotFound or CallRefused for a name, and what `pack_to_file` raises.
    """
    from parambak.vault.packs.reading import pack_to_file  # noqa: PLC0415 - for packs alone

    vessels = fleet(vault)
    ships = {ship.handle: ship for ship in (select.find_vessel(vessels, name) for name in names)}
    identities = identities_of(ships.values())
    written = pack_to_file(vault, identities, file, progress, replace=replace)
    return written, tuple(ships)


def identities_of(ships: Iterable[Vessel]) -> dict[str, str]:
    """Return every identity of these ships, with the short name."""
    return {identity: ship.short for ship in ships for identity in ship.ids}


class TakenPack(NamedTuple):
    """The result of a pack: its vessels (identity to short name), and what the merge did."""

    vessels: dict[str, str]
    joined: Joined


def take_pack(vault: Vault, file: str | PathLike[str], progress: Progress) -> TakenPack:
    """Check the whole pack, then merge it into the vault.

    Raises PackRefused if the pack is of another form: then the vault is as it was.
    """
    from parambak.vault.packs.reading import opened  # noqa: PLC0415 - for packs alone

    with opened(file) as packed:
        damaged = packed.check(progress)
        with vault.writing() as writing:
            joined = join(vault, writing, _watched(packed, progress))
            damaged_records = filter(None, (record_in(file.file) for file in damaged))
            lost = {digest: joined.left_out.get(digest) for digest in damaged_records}
            left = LeftOut(PurePath(file).name, {**joined.left_out, **lost})
            note_left_out(vault, writing, left, packed.vessels)
        refused = tuple(sorted({*damaged, *joined.refused}))
        return TakenPack(packed.vessels, joined._replace(refused=refused))


def _watched(pack: Pack, progress: Progress) -> Iterator[Piece]:
    """Yield a pack's pieces, and report each that is read; a record is read twice."""
    pieces = list(pack.pieces())
    total = sum(2 if piece.is_record else 1 for piece in pieces)
    done = 0

    def reading(read: Callable[[], bytes]) -> Callable[[], bytes]:
        def counted() -> bytes:
            nonlocal done
            done += 1
            progress(min(done, total), total)
            return read()

        return counted

    for piece in pieces:
        yield piece._replace(read=reading(piece.read))
