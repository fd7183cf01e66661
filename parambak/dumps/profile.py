"""A reader profile: how this reader's files are to be read.

The file is TOML with one table, `[reader]`; `formats/reader-profile.md` is its
specification. Pure: text in, values out.
"""

from __future__ import annotations

import tomllib
from typing import Annotated, Any

import msgspec
from msgspec import Meta, Struct

from parambak.dumps import registry
from parambak.errors import Fault, SheetRefused
from parambak.memory.findings import Finding
from parambak.memory.image import Block, Image
from parambak.memory.relations import swapped

MOST_BYTES = 64 * 1024

PROFILE_TEXT = Fault(
    "profile-text",
    SheetRefused,
    "the reader profile is not TOML text",
    "Save it as UTF-8. formats/reader-profile.md has an example.",
)
PROFILE_ENTRY = Fault(
    "profile-entry",
    SheetRefused,
    "the reader profile is wrong: {why}",
    "Correct that key. formats/reader-profile.md lists all keys.",
)

Byte = Annotated[int, Meta(ge=0, le=0xFF)]
Address = Annotated[int, Meta(ge=0, le=0xFFFF_FFFF)]
Text = Annotated[str, Meta(max_length=200)]


class Profile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, rename="kebab"):
    """The properties of a reader.

    `base` is the address that its files give the chip's first byte; `left_out`
    the value of bytes that it leaves out; `swapped_words` whether its files
    hold the two bytes of each word exchanged; `sum` what its screen shows, as
    `archive` names it; `file_times` whether its files carry the time of the
    read; `format` the name of the format of its files; `record_length` the data
    bytes of a record that it loads; `short_names` whether it takes names of
    eight letters, a point and three alone.
    """

    name: Text
    device: Text | None = None
    base: Address = 0
    left_out: Byte | None = None
    swapped_words: bool = False
    sum: Text | None = None
    file_times: bool = True
    format: str | None = None
    record_length: Annotated[int, Meta(ge=1, le=255)] | None = None
    short_names: bool = False
    note: Annotated[str, Meta(max_length=4000)] | None = None


class _File(Struct, frozen=True, forbid_unknown_fields=True):
    reader: Profile


def load_profile(data: bytes) -> Profile:
    """Return the profile that a file describes; raise SheetRefused where it is none."""
    if len(data) > MOST_BYTES:
        raise PROFILE_TEXT.error(expected=f"at most {MOST_BYTES} bytes", found=f"{len(data)} bytes")
    try:
        tree: dict[str, Any] = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise PROFILE_TEXT.error(expected="TOML text in UTF-8", found=str(error)[:200]) from error
    try:
        return _checked(msgspec.convert(tree, _File).reader)
    except (msgspec.ValidationError, RecursionError) as error:
        why = str(error)[:200].replace("{", "(").replace("}", ")")
        raise PROFILE_ENTRY.error(
            why=why, expected="the keys of formats/reader-profile.md", found=why
        ) from error


def _checked(profile: Profile) -> Profile:
    if profile.format not in (None, *registry.FORMATS):
        why = f"Invalid enum value {profile.format!r} - at `$.reader.format`"
        raise msgspec.ValidationError(why)
    return profile


def as_on_chip(
    image: Image, profile: Profile, memory_size: int | None
) -> tuple[Image, tuple[Finding, ...]]:
    """Return the image as it is on the chip, from address 0, and what was done to it.

    Raise SheetRefused where the profile cannot be right for this dump.
    """
    notes = []
    if profile.base:
        image = _moved(image, profile.base)
        notes.append(Finding("profile-base", f"addresses count from 0x{profile.base:04X}"))
    if profile.left_out is not None and memory_size is not None:
        absent = memory_size - image.part(0, memory_size).size
        if absent > 0 and image.end <= memory_size:
            image = Image.of(image.filled(0, memory_size, profile.left_out))
            text = f"{absent} bytes that the reader left out are {profile.left_out:02X}"
            notes.append(Finding("profile-left-out", text))
    if profile.swapped_words:
        image = Image(tuple(Block(b.start, _swapped(b)) for b in image.blocks))
        notes.append(Finding("profile-swapped", "the bytes of each word were exchanged back"))
    return image, tuple(notes)


def _moved(image: Image, base: int) -> Image:
    if image.start < base:
        raise PROFILE_ENTRY.error(
            why=f"base is 0x{base:04X}, and the dump begins before it",
            offset=image.start,
            expected=f"addresses from 0x{base:04X}",
            found=f"a byte at 0x{image.start:04X}",
        )
    return Image(tuple(Block(block.start - base, block.data) for block in image.blocks))


def _swapped(block: Block) -> bytes:
    if block.start % 2 or len(block.data) % 2:
        raise PROFILE_ENTRY.error(
            why="swapped-words requires whole words",
            offset=block.start,
            expected="an even address and length",
            found=f"{len(block.data)} bytes from 0x{block.start:04X}",
        )
    return swapped(block.data, 2)
