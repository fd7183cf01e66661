"""`export`: a copy as a file in any format that is read."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from parambak.cli import store
from parambak.cli.command import FORMATS
from parambak.cli.command import command as parambak_command
from parambak.cli.file_out import write_dump_file
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.cli.screen import Screen


@parambak_command(
    "export", example="parambak export grebe/port-thruster/U12 --as s-record --out U12.S19"
)
@click.argument("copy", metavar="COPY")
@click.option("--as", "format_name", type=click.Choice(FORMATS), required=True, help="The format.")
@click.option("--out", metavar="FILE", required=True, help="The file to write.")
@click.option("--fill", metavar="HH", help="Write absent bytes as this, such as FF (raw).")
@click.option(
    "--record-length", type=click.IntRange(1, 255), metavar="BYTES", help="Data bytes in a record."
)
@click.option("--replace", is_flag=True, help="Write over a file that stands there.")
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    copy: str,
    format_name: str,
    out: str,
    fill: str | None,
    record_length: int | None,
    replace: bool,
) -> Answer:
    """Write COPY as a file, and read it back before it is called written."""
    from parambak.dumps.dump import Style  # noqa: PLC0415 - only for writing

    given = store.given(settings, copy)
    style = Style(record_length=record_length, fill=_byte(fill))
    data, digest = write_dump_file(
        given.image, out, format_name, style, vault=settings.vault_folder, replace=replace
    )
    return Answer(
        {"file": out, "sha256": digest, "format": format_name},
        lambda screen: _page(screen, given.name, out, len(data), digest),
    )


def _byte(text: str | None) -> int | None:
    if text is None:
        return None
    try:
        value = int(text, 16)
    except ValueError as error:
        raise click.BadParameter("--fill takes two hexadecimal digits, such as FF") from error
    if not 0 <= value <= 0xFF:
        raise click.BadParameter("--fill takes two hexadecimal digits, such as FF")
    return value


def _page(screen: Screen, name: str, out: str, size: int, digest: str) -> None:
    screen.facts(
        [
            ("copy", name),
            ("file", Path(out).name),
            ("size", f"{size} bytes"),
            ("SHA-256 of the file", digest),
        ],
        indent=0,
    )
    screen.good("Written, and read back as the same image.")
