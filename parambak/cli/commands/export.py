"""`export`: a copy as a file in any format that is read."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from parambak.answers.written_files import moved, write_dump_file
from parambak.cli import store
from parambak.cli.command import FormatName
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.reads.pairs import PAIR_SCHEMES

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.dumps.dump import Style
    from parambak.memory.image import Image
    from parambak.reads.pairs import PairScheme


@dataclass(frozen=True)
class _Words:
    """The command's options, as typed."""

    format_name: str
    out: str
    fill: str | None
    record_length: int | None
    address_width: str | None
    header: str | None
    base: str | None
    pair: PairScheme | None
    replace: bool


@parambak_command(
    "export", example="parambak export grebe/port-thruster/U12 --as s-record --out U12.S19"
)
@click.argument("copy", metavar="COPY")
@click.option("--as", "format_name", type=FormatName(), required=True, help="The format.")
@click.option("--out", metavar="FILE", required=True, help="The file to write.")
@click.option("--fill", metavar="HH", help="Write absent bytes as this, such as FF (raw).")
@click.option(
    "--record-length", type=click.IntRange(1, 255), metavar="BYTES", help="Data bytes in a record."
)
@click.option(
    "--address-width",
    type=click.Choice(["16", "20", "24", "32"]),
    help="Bits of an address: 16, 20, 32 (Intel HEX); 16, 24, 32 (S-record).",
)
@click.option("--header", metavar="TEXT", help="The content of the S0 record (S-record).")
@click.option("--base", metavar="ADDRESS", help="Address of the chip's first byte in the file.")
@click.option("--pair", type=click.Choice(PAIR_SCHEMES), help="Split over two chips: two files.")
@click.option("--replace", is_flag=True, help="Write over a file that stands there.")
@pass_settings
def command(settings: Settings, /, copy: str, **options: Any) -> Answer:
    """Write COPY as a file, and read it back before it is called written.

    With --pair, FILE holds the first chip and FILE.2 the second.
    """
    words = _Words(**options)
    given = store.given(settings, copy)
    base = _number(words.base, "--base", 0) or 0
    style = _style(words, base)
    written = []
    for name, image in _files(given.image, words):
        data, digest = write_dump_file(
            moved(image, base) if base else image,
            name,
            words.format_name,
            style,
            vault=settings.vault_folder,
            replace=words.replace,
        )
        written.append({"file": name, "sha256": digest, "size": len(data)})
    return Answer(
        {**written[0], "format": words.format_name, "files": written},
        lambda screen: _page(screen, given.name, written),
    )


def _files(image: Image, words: _Words) -> list[tuple[str, Image]]:
    """Return the files to write, two for a pair."""
    if words.pair is None:
        return [(words.out, image)]
    from parambak.reads.pairs import split  # noqa: PLC0415 - for a pair only

    first, second = split(image, words.pair)
    return [(words.out, first), (f"{words.out}.2", second)]


def _style(words: _Words, base: int) -> Style:
    from parambak.dumps.dump import Style  # noqa: PLC0415 - only for writing
    from parambak.dumps.registry import format_named  # noqa: PLC0415 - the same

    return Style(
        record_length=words.record_length,
        address_width=int(words.address_width) if words.address_width else None,
        header=(words.header or "").encode("ascii", "replace"),
        fill=_number(words.fill, "--fill", 16, 0xFF),
        base=0 if format_named(words.format_name).has_addresses else base,
    )


def _number(text: str | None, option: str, radix: int, most: int = 0xFFFF_FFFF) -> int | None:
    if text is None:
        return None
    try:
        value = int(text, radix)
    except ValueError as error:
        raise click.BadParameter(f"{option} takes a number, and {text!r} is none") from error
    if not 0 <= value <= most:
        raise click.BadParameter(f"{option} is at most 0x{most:X}")
    return value


def _page(screen: Screen, name: str, written: list[dict[str, Any]]) -> None:
    screen.facts([("copy", name)], indent=0)
    for each in written:
        file = f"{Path(each['file']).name}, {each['size']} bytes"
        screen.facts([("file", file), ("SHA-256", each["sha256"])], indent=0)
    screen.good("Written, and read back as the same image.")
