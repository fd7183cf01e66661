"""The layout that bytes are decoded by, and the decoded values."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers import faults
from parambak.answers.forms import Part
from parambak.answers.given_files import layout_file
from parambak.memory.digests import sha256

if TYPE_CHECKING:
    from parambak.answers.copies import GivenCopy
    from parambak.layouts.decode import Decoded
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image


class LayoutUsed(Part, frozen=True):
    """The layout that the values were read by: its file's name and SHA-256.

    `attached_on` is the day on which it was attached to the position, null for a file that the
    call names. `newer` is the file of the layout attached last, null if it is this one.
    """

    name: str
    sha256: str
    attached_on: str | None
    newer: str | None


def layout_for(copy: GivenCopy, path: str | None) -> tuple[Layout, LayoutUsed]:
    """Return the layout file named, else that of the copy; refuse if there is none."""
    named = layout_named(copy, path)
    if named is None:
        raise faults.LAYOUT_NEEDED.error(expected="--layout FILE", found="no layout")
    return named


def layout_named(copy: GivenCopy, path: str | None) -> tuple[Layout, LayoutUsed] | None:
    """Return the layout file named, else that of the copy; None without either."""
    if path is not None:
        given = layout_file(path)
        return given.layout, LayoutUsed(given.name, sha256(given.data), None, None)
    if copy.layout is None or copy.attached is None:
        return None
    entry, newer = copy.attached.entry, copy.newer
    on = copy.attached.at.date().isoformat()
    return copy.layout, LayoutUsed(
        entry.name, entry.sha256, on, newer.entry.name if newer is not None else None
    )


def decoded_by(layout: Layout, image: Image) -> Decoded:
    """Return the image's fields; refuse a layout for another size of memory."""
    from parambak.layouts.decode import decode, require_fit  # noqa: PLC0415 - with a layout only

    require_fit(layout, image)
    return decode(layout, image)
