"""`export`: a copy as a file in any format that is read."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, Any

import click

from parambak.answers.export import ExportQuestion, answer
from parambak.cli.command import AddressWidth, FormatName
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.reads.pairs import PAIR_SCHEMES

if TYPE_CHECKING:
    from parambak.answers.export import ExportAnswer
    from parambak.cli.screen import Screen


@parambak_command(
    "export", example="parambak export grebe/port-thruster/U12 --as s-record --out U12.S19"
)
@click.argument("copy", metavar="COPY")
@click.option("--as", "format", type=FormatName(), required=True, help="The format.")
@click.option("--out", metavar="FILE", required=True, help="The file to write.")
@click.option("--fill", metavar="HH", help="Write absent bytes as this value, such as FF (raw).")
@click.option(
    "--record-length", type=click.IntRange(1, 255), metavar="BYTES", help="Data bytes in a record."
)
@click.option(
    "--address-width",
    type=AddressWidth(),
    help="Bits of an address; each format has its own. Default: the fewest that it needs.",
)
@click.option("--header", metavar="TEXT", help="The content of the S0 record (S-record).")
@click.option("--base", metavar="ADDRESS", help="Address of the chip's first byte in the file.")
@click.option("--pair", type=click.Choice(PAIR_SCHEMES), help="Split over two chips: two files.")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Write COPY as a file, and read the file back to prove it.

    With --pair, FILE holds the first chip and FILE.2 the second.
    """
    width = options.pop("address_width")
    question = ExportQuestion(
        fill=_number(options.pop("fill"), "--fill", 16, 0xFF),
        base=_number(options.pop("base"), "--base", 0) or 0,
        address_width=int(width) if width else None,
        **options,
    )
    return settings.ask(answer, question, _page)


def _number(text: str | None, option: str, radix: int, most: int = 0xFFFF_FFFF) -> int | None:
    if text is None:
        return None
    try:
        value = int(text, radix)
    except ValueError as error:
        raise click.BadParameter(
            f"{option} takes a number, and {text!r} is not a number"
        ) from error
    if not 0 <= value <= most:
        raise click.BadParameter(f"{option} is at most 0x{most:X}")
    return value


def _page(screen: Screen, exported: ExportAnswer) -> None:
    screen.facts([("copy", exported.copy)], indent=0)
    for written in exported.files:
        file = f"{PurePath(written.file).name}, {written.size} bytes"
        screen.facts([("file", file), ("SHA-256", written.sha256)], indent=0)
    screen.good("Written, and read back as the same image.")
    if exported.verified is False:
        screen.bad(
            f"The copy is NOT VERIFIED: {', '.join(exported.unmet)}. Do not load it into a card."
        )
