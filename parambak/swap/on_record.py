"""What a swap puts on record: the file released for loading, and each read-back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from parambak.keeping.recording.filing import new_identity
from parambak.keeping.recording.received import entry_of, objects_of, put_layout
from parambak.keeping.recording.texts import kept_name
from parambak.keeping.state import select
from parambak.keeping.state.bodies import (
    ImageEntry,
    LayoutEntry,
    LoadFileBody,
    ReadBackBody,
    RenamesEntry,
)
from parambak.keeping.state.fold import fleet
from parambak.memory.digests import sha256, sum16

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.recording.received import Incoming, LayoutFile, RenamesFile
    from parambak.keeping.state.model import Copy, Position
    from parambak.memory.image import Image
    from parambak.swap.read_back import ReadBack, ValuesReadBack
    from parambak.vault.vault import Vault, Writing


class ToldBy(NamedTuple):
    """What told values apart: the layout of the copy meant, the card's, the renames between.

    `old` is an entry where it is the position's own layout, which the vault holds already.
    """

    old: LayoutFile | LayoutEntry
    new: LayoutFile
    renames: RenamesFile | None = None


class Release(NamedTuple):
    """A file that was written for loading; of a pair, `digests` are both files' in order.

    `swap` is the open swap that it is for; `reason` why a copy that is not verified was
    released, None where it is verified.
    """

    format: str
    digests: tuple[str, ...]
    swap: str | None = None
    reason: str | None = None
    by: str | None = None


def record_load_file(
    vault: Vault, position: Position, copy: Copy, image: Image, release: Release
) -> None:
    """Put on record that a copy was written for loading."""
    body = LoadFileBody(
        position=position.id,
        image=copy.image,
        format=release.format,
        file_sha256=release.digests[0],
        sum16=sum16(image.content),
        second_sha256=release.digests[1] if len(release.digests) > 1 else None,
        swap=release.swap,
        unverified=release.reason is not None,
        reason=release.reason,
    )
    with vault.writing() as writing:
        vessel = _vessel(vault, position)
        mark = writing.person(release.by, vessel) if release.by else None
        writing.add("load-file", vessel, body.members(), by=mark, relies_on=[copy.sha256])


def record_read_back(  # noqa: PLR0913 - who said it and what told it, by keyword
    vault: Vault,
    position: Position,
    copy: Copy,
    reads: Sequence[tuple[Incoming, ReadBack | ValuesReadBack]],
    *,
    by: str | None,
    told_by: ToldBy | None = None,
    swap: str | None = None,
) -> None:
    """Put what was read from the card on record, one record a dump, with the answer.

    `swap` is the open swap that it is part of.

    `told_by` are the layouts where values were compared: kept in full, so that the answer
    can be worked out again.
    """
    with vault.writing() as writing:
        vessel = _vessel(vault, position)
        mark = writing.person(by, vessel) if by else None
        kept, needed = _kept(writing, told_by)
        call = new_identity()
        for incoming, found in reads:
            image = incoming.image
            relies_on = [writing.put(image.content), copy.sha256, *needed]
            relies_on += [writing.put(file.data) for file in incoming.files]
            body = ReadBackBody(
                position=position.id,
                meant=copy.image,
                image=ImageEntry.of(image, sha256(image.content)),
                dumps=tuple(entry_of(file) for file in incoming.files),
                stage=found.stage,
                loaded_correctly=found.loaded_correctly,
                swap=swap,
                call=call,
                **found.counts,
                **kept,
            )
            writing.add("read-back", vessel, body.members(), by=mark, relies_on=relies_on)


def _kept(writing: Writing, told_by: ToldBy | None) -> tuple[dict[str, Any], list[str]]:
    """Write the layouts and the renames; return the body's members, and every object's digest."""
    if told_by is None:
        return {}, []
    old = told_by.old
    before = old if isinstance(old, LayoutEntry) else put_layout(writing, old)
    behind = put_layout(writing, told_by.new)
    members: dict[str, Any] = {"old_layout": before, "layout": behind}
    objects = [*objects_of(before), *objects_of(behind)]
    if told_by.renames is not None:
        table = writing.put(told_by.renames.data)
        members["renames"] = RenamesEntry(sha256=table, name=kept_name(told_by.renames.name))
        objects.append(table)
    return members, objects


def released_files(vault: Vault, position: Position) -> frozenset[str]:
    """Return the digests of the files that were released for loading at this position."""
    bodies = [
        stored.record.body
        for stored in vault.records(_vessel(vault, position))
        if stored.record.kind == "load-file" and stored.record.body.get("position") in position.ids
    ]
    names = ("file_sha256", "second_sha256")
    return frozenset(str(body[name]) for body in bodies for name in names if name in body)


def _vessel(vault: Vault, position: Position) -> str:
    parts = select.parse_where(position.where)
    return select.find_vessel(fleet(vault), parts.vessel).home(position.id)
