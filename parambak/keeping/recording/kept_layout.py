"""Keeping a layout as given: its file and those that it includes, each an object."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.keeping.state.bodies import LayoutEntry, LayoutPart
from parambak.keeping.state.texts import kept_name

if TYPE_CHECKING:
    from parambak.keeping.recording.request import LayoutFile
    from parambak.vault.vault import Writing


def put_layout(writing: Writing, given: LayoutFile) -> LayoutEntry:
    """Write the objects of a layout; return the entry by which a record names them."""
    parts = [
        LayoutPart(name=name, sha256=writing.put(data))
        for name, data in sorted(given.parts.items())
    ]
    return LayoutEntry(
        sha256=writing.put(given.data), name=kept_name(given.name), parts=tuple(parts)
    )


def objects_of(layout: LayoutEntry | None) -> list[str]:
    """Return the digest of every object that a layout needs; none where there is no layout."""
    if layout is None:
        return []
    return [layout.sha256, *(part.sha256 for part in layout.parts)]
