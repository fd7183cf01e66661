"""The layout that bytes are decoded by, and the decoded values."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers import faults
from parambak.answers.given_files import layout_file

if TYPE_CHECKING:
    from parambak.answers.copies import GivenCopy
    from parambak.layouts.decode import Decoded
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image


def layout_for(copy: GivenCopy, path: str | None) -> Layout:
    """Return the layout file named, else the position's own; refuse if there is none."""
    if path is not None:
        return layout_file(path).layout
    if copy.layout is None:
        raise faults.LAYOUT_NEEDED.error(expected="--layout FILE", found="no layout")
    return copy.layout


def decoded_by(layout: Layout, image: Image) -> Decoded:
    """Return the image's fields; refuse a layout for another size of memory."""
    from parambak.layouts.decode import decode, require_fit  # noqa: PLC0415 - with a layout only

    require_fit(layout, image)
    return decode(layout, image)
