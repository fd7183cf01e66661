"""What every body is, and the parts that several kinds share; `bodies.py` has the kinds."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

import msgspec

from parambak.errors import Fault, VaultDamaged
from parambak.memory.image import Image, Range
from parambak.vault.records import Clock  # noqa: TC001 - msgspec needs the type

BODY = Fault(
    "vault-body",
    VaultDamaged,
    "a record's body does not have the shape of its kind",
    "Run `parambak recheck`; a newer version of the program may have written it.",
)
Count = Annotated[int, msgspec.Meta(ge=0)]
Facts = dict[str, str | list[str]]
Digest = str
Identity = str


class Body(msgspec.Struct, frozen=True, omit_defaults=True, kw_only=True, gc=False):
    """What every body has in common: members at their default are left out.

    `kind` is the kind of a record with this body; empty for a part of a body. A record that is
    `about_records` states something of other records: alone it shows that nothing is aboard.
    """

    kind: ClassVar[str] = ""
    about_records: ClassVar[bool] = False

    def members(self) -> dict[str, Any]:
        """Return the body as plain JSON values."""
        plain: dict[str, Any] = msgspec.to_builtins(self)
        return plain


class Entity(Body, frozen=True):
    """A vessel, unit, card or position that a record brings in.

    `inside` is the identity of its holder: of a unit or card its vessel, of a position its unit
    or card.
    """

    what: str
    id: Identity
    facts: Facts
    inside: Identity | None = None


class ImageEntry(Body, frozen=True):
    """An image object and the addresses of its bytes: `ranges` as [start, length]."""

    sha256: Digest
    ranges: tuple[tuple[Count, Count], ...]

    @classmethod
    def of(cls, image: Image, digest: str) -> ImageEntry:
        """Return the entry of an image whose object has this digest."""
        return cls(sha256=digest, ranges=tuple((r.start, r.length) for r in image.ranges))

    def image(self, content: bytes) -> Image:
        """Return the image of the object's content.

        Raises VaultDamaged if the ranges do not fit it.
        """
        try:
            return Image.from_content(content, [Range(*stretch) for stretch in self.ranges])
        except ValueError as error:
            raise BODY.error(
                file=f"objects/{self.sha256[:2]}/{self.sha256}",
                expected=f"separate ranges of {len(content)} bytes in all",
                found=str(error),
            ) from error


class FindingEntry(Body, frozen=True):
    """A finding made when the dump was taken in."""

    code: str
    text: str


class DumpEntry(Body, frozen=True):
    """A dump as received: its object, and the facts of its file.

    `modified` is the file's time in nanoseconds since 1970 UTC; `path_mark` and `file_mark` are
    digests of its path and of its place on the disk. They show that a file was given twice,
    without keeping the laptop's paths. `opinion` names the unrelated code that decoded it to the
    same bytes.
    """

    sha256: Digest
    name: str
    format: str
    bytes: int
    modified: int | None = None
    path_mark: str | None = None
    file_mark: str | None = None
    accepted: tuple[str, ...] = ()
    findings: tuple[FindingEntry, ...] = ()
    opinion: str | None = None


class ReaderSum(Body, frozen=True):
    """A sum typed in from the reader's screen, and the sum that matches it."""

    shown: str
    matched: str


class Normal(Body, frozen=True):
    """A finding declared normal for this memory, and the reason."""

    code: str
    reason: str


class SizeEntry(Body, frozen=True):
    """The size of the whole memory that a read was judged by.

    `by` is its source: "chip" (the table of chips), "person" or "layout". `chip` is the part,
    `chips` how many of it share the memory, `printed` the number as it is on the chip.
    """

    bytes: int
    by: str
    chip: str | None = None
    chips: int = 1
    printed: str | None = None


class LayoutPart(Body, frozen=True):
    """A file that a layout includes, by its name in the layout."""

    name: str
    sha256: Digest


class LayoutEntry(Body, frozen=True):
    """A layout as given: its object, its file name, and the files it includes."""

    sha256: Digest
    name: str
    parts: tuple[LayoutPart, ...] = ()


class ProfileEntry(Body, frozen=True):
    """A reader profile as given: its object and its file name."""

    sha256: Digest
    name: str


class RenamesEntry(Body, frozen=True):
    """A table of renames between two layouts as given: its object and its file name."""

    sha256: Digest
    name: str


class MovedFrom(Body, frozen=True):
    """Where a read was put on record first: the vessel's identity, and its record there.

    `clock` is that record's, `writer` its writer, `by` the person who read.
    """

    vessel: Identity
    record: Digest
    clock: Clock
    writer: Identity
    by: Digest | None = None
