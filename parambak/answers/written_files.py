"""Writing a file for a reader: written, read back by our reader, and by unrelated code."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers import faults
from parambak.answers.given_files import DUMP_BYTES
from parambak.memory.digests import sha256
from parambak.memory.image import Block, Image
from parambak.vault.files.given import read_given, refuse_within, remove_given, write_given

if TYPE_CHECKING:
    from parambak.dumps.dump import Style
    from parambak.vault.files.given import Folder


def write_dump_file(  # noqa: PLR0913 - the parts of one file
    image: Image, path: str, format_name: str, style: Style, *, vault: Folder, replace: bool
) -> tuple[bytes, str]:
    """Write the image as a file, read it back, and return its bytes and digest.

    Raise if the file cannot be written, or does not read back as the image; then no file is
    left.
    """
    from parambak.dumps.dump import Terms  # noqa: PLC0415 - for writing only
    from parambak.dumps.registry import read_dump, write_dump  # noqa: PLC0415 - for writing only
    from parambak.dumps.second_opinion import second_opinion  # noqa: PLC0415 - the same

    refuse_within(path, vault)
    data = write_dump(image, format_name, style)
    write_given(path, data, replace=replace)
    try:
        again = read_given(path, DUMP_BYTES).data
        dump = read_dump("", again, format=format_name, terms=Terms(base=style.base))
        _compare(again == data, dump.image, _expected(image, style, len(data)), path)
        second_opinion(again, dump)
    except BaseException:
        remove_given(path)  # what did not read back must not lie ready to be loaded
        raise
    return again, sha256(again)


def _compare(same: bool, read: Image, expected: Image, path: str) -> None:  # noqa: FBT001 - one of three
    if not same or read != expected:
        raise faults.NOT_THE_SAME.error(
            file=path, expected=sha256(expected.content), found=sha256(read.content)
        )


def _expected(image: Image, style: Style, size: int) -> Image:
    """Return the image that the file must hold: with its gaps filled."""
    if style.fill is not None:
        return Image.of(image.filled(style.base, style.base + size, style.fill), style.base)
    return image


def moved(image: Image, base: int) -> Image:
    """Return the image with every address `base` higher."""
    return Image(tuple(Block(block.start + base, block.data) for block in image.blocks))
