"""What a dump format is: one record, from which every list of the formats is derived."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, Protocol

from msgspec import Struct

if TYPE_CHECKING:
    import re
    from collections.abc import Callable, Iterable

    from parambak.dumps.dump import Dump, Style, Terms
    from parambak.dumps.records import RecordParser
    from parambak.memory.image import Image


class Read(Protocol):
    """What reads a whole file of the format."""

    def __call__(self, data: bytes, *, terms: Terms = ...) -> Dump:
        """Return the dump that the file stands for, or raise DumpRefused."""


class Write(Protocol):
    """What writes a whole file of the format."""

    def __call__(self, image: Image, *, style: Style = ...) -> bytes:
        """Return a file that stands for the image, or raise CallRefused."""


class Look(NamedTuple):
    """What a content looks like, and where that was seen: the line from 1, the offset from 0.

    `no_dump`: it is of no dump format, such as a photo.
    """

    what: str
    line: int | None = None
    offset: int | None = None
    no_dump: bool = False


class Judge(NamedTuple):
    """Unrelated code that decodes a dump once more.

    `name` is its name and version; `pieces` are the bytes as it reads them, each piece with
    its first address. Whatever it raises is its refusal.
    """

    name: str
    pieces: Iterable[tuple[int, bytes]]


class Format(Struct, frozen=True):
    """One dump format.

    `name` is the word that options, profiles and records use, `label` what people read, and
    `contents` what its content is called where it is met unexpectedly. `endings` are those of
    its files' names, in lower case without the point. `begins` says whether a content begins
    as a file of the format does; the one format without it takes any content. `trace` is what
    betrays a damaged file of it among other bytes; without it, `begins` does. `has_addresses`
    says whether its files state the addresses of their bytes; `widths` are those of an address, in
    bits. A text format of records has a `parser`. `judge` returns who decodes the
    dump of a file once more, or why nobody is asked.
    """

    name: str
    label: str
    endings: tuple[str, ...]
    contents: str
    read: Read
    write: Write
    judge: Callable[[bytes, Dump], Judge | str]
    begins: Callable[[bytes], bool] | None = None
    trace: re.Pattern[bytes] | None = None
    has_addresses: bool = True
    parser: type[RecordParser] | None = None
    widths: tuple[int, ...] = ()
