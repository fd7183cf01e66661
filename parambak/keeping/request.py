"""What one `archive` asks for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from parambak.dumps.dump import Dump
    from parambak.keeping.bodies import DumpEntry, Normal
    from parambak.keeping.target import Target
    from parambak.layouts.model import Layout


class Incoming(Struct, frozen=True):
    """One dump as received, what it stands for, and what its file's record will hold."""

    data: bytes
    dump: Dump
    entry: DumpEntry


class LayoutFile(Struct, frozen=True):
    """A layout as given: its bytes, its checked model, and the files it includes."""

    name: str
    data: bytes
    layout: Layout
    parts: Mapping[str, bytes] = {}


class Request(Struct, frozen=True):
    """What one `archive` asks for. `dumps` are reads of one chip, in the order given."""

    target: Target
    dumps: Sequence[Incoming]
    layout: LayoutFile | None = None
    read_by: str | None = None
    read_on: str | None = None
    reader: str | None = None
    reader_sum: str | None = None
    untimed: bool = False
    compared: bool = False
    normal: Sequence[Normal] = ()
    position_confirmed: bool = False
    remark: str | None = None
    visit: str | None = None
