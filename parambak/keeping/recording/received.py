"""The input of one `archive`: reads and files as received, and how a record holds them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
from msgspec import Struct

from parambak.keeping.recording.texts import kept_name
from parambak.keeping.state import bodies
from parambak.keeping.state.bodies import LayoutEntry, LayoutPart
from parambak.keeping.state.read_facts import ReadFacts

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from parambak.differences.two_layouts import Renames
    from parambak.dumps.dump import Dump
    from parambak.dumps.profile import Profile
    from parambak.keeping.recording.filing import TypedPosition
    from parambak.keeping.state.bodies import DumpEntry, Normal
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image
    from parambak.vault.vault import Writing


class Incoming(Struct, frozen=True):
    """One read as received: its file, the dump in it, and its entry in the record.

    `on_chip` is the image as the chip holds it, if a reader profile or a pair makes it differ
    from the dump's; `second` is the dump of the other chip of a pair.
    """

    data: bytes
    dump: Dump
    entry: DumpEntry
    on_chip: Image | None = None
    second: Incoming | None = None

    @property
    def image(self) -> Image:
        """Return the image that the read gave."""
        return self.dump.image if self.on_chip is None else self.on_chip

    @property
    def files(self) -> tuple[Incoming, ...]:
        """Return the read's files, two for a pair."""
        return (self,) if self.second is None else (self, self.second)


class ProfileFile(Struct, frozen=True):
    """A reader profile as given: its file name, its bytes, and its model."""

    name: str
    data: bytes
    profile: Profile


class LayoutFile(Struct, frozen=True):
    """A layout as given: its bytes, its checked model, and the files it includes."""

    name: str
    data: bytes
    layout: Layout
    parts: Mapping[str, bytes] = {}


class RenamesFile(Struct, frozen=True):
    """A table of renames between two layouts as given: its file name, its bytes, its model."""

    name: str
    data: bytes
    renames: Renames


class Request(Struct, frozen=True):
    """The request of one `archive`. `dumps` are reads of one memory, in the order given.

    With `vote`, the bytes that most of them give are kept too, as reconstructed. `printed` is
    the number on the chip, `today` the day of a read whose day nobody stated.
    """

    target: TypedPosition
    dumps: Sequence[Incoming]
    layout: LayoutFile | None = None
    by: str | None = None
    read_on: str | None = None
    read_at: str | None = None
    facts: ReadFacts = ReadFacts()
    reader_sum: str | None = None
    normal: Sequence[Normal] = ()
    position_confirmed: bool = False
    blank_confirmed: bool = False
    today: date | None = None
    remark: str | None = None
    visit: str | None = None
    profile: ProfileFile | None = None
    vote: bool = False
    printed: str | None = None


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
    """Return the digest of every object that a layout needs; none without a layout."""
    if layout is None:
        return []
    return [layout.sha256, *(part.sha256 for part in layout.parts)]


def entry_of(file: Incoming) -> bodies.DumpEntry:
    """Return a dump's entry as a record holds it: its name as text."""
    return msgspec.structs.replace(file.entry, name=kept_name(file.entry.name))


def put_profile(writing: Writing, given: ProfileFile | None) -> bodies.ProfileEntry | None:
    """Write the object of a reader profile; return its entry, None without a profile."""
    if given is None:
        return None
    return bodies.ProfileEntry(sha256=writing.put(given.data), name=kept_name(given.name))
