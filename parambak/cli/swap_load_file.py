"""`swap load-file`: the file that goes into the new card."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from parambak.cli import faults, store
from parambak.cli.command import FORMATS
from parambak.cli.command import command as parambak_command
from parambak.cli.file_out import write_dump_file
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.cli.swap_check import cautions
from parambak.keeping import select
from parambak.keeping.assess import Assessor
from parambak.keeping.fold import fleet
from parambak.memory import digests
from parambak.swap.on_record import record_load_file

if TYPE_CHECKING:
    from parambak.cli.screen import Screen


@parambak_command(
    "load-file",
    example="parambak swap load-file grebe/port-thruster/U12 --as intel-hex --out LOAD.HEX",
)
@click.argument("where", metavar="WHERE")
@click.option("--as", "format_name", type=click.Choice(FORMATS), required=True, help="The format.")
@click.option("--out", metavar="FILE", required=True, help="The file to write.")
@click.option("--replace", is_flag=True, help="Write over a file that stands there.")
@pass_settings
def command(
    settings: Settings,
    /,
    *,
    where: str,
    format_name: str,
    out: str,
    replace: bool,
) -> Answer:
    """Write the newest copy of WHERE for loading; refuse one that is not verified."""
    from parambak.dumps.dump import Style  # noqa: PLC0415 - only for writing

    vault = store.open_vault(settings)
    position = select.find_position(fleet(vault), where)
    assessor = Assessor(vault, store.chip_table())
    copy = select.choose(position, "latest")
    verdict = assessor.verdict(position, copy)
    if not verdict.verified:
        raise faults.NOT_VERIFIED.at(
            where=position.where,
            unmet=", ".join(each.condition for each in verdict.unmet),
            expected="all four conditions met",
            found="; ".join(each.text for each in verdict.unmet),
        )
    image = assessor.image(copy.image)
    data, digest = write_dump_file(
        image, out, format_name, Style(), vault=vault.root, replace=replace
    )
    try:
        record_load_file(vault, position, copy, image, (format_name, digest))
    except BaseException:  # an interruption too
        Path(out).unlink(missing_ok=True)  # what was refused must not lie ready to be loaded
        raise
    sum16 = digests.sum16(image.content)
    name = select.copy_name(position, copy)
    return Answer(
        {"file": out, "sha256": digest, "sum16": sum16, "copy": name},
        lambda screen: _page(screen, name, f"{out}, {len(data)} bytes", digest, image.content),
        warnings=store.warnings_of(vault),
    )


def _page(screen: Screen, name: str, file: str, digest: str, content: bytes) -> None:
    screen.facts(
        [
            ("copy", name),
            ("file", file),
            ("SHA-256 of the file", digest),
            (
                "sums of the bytes",
                f"{digests.sum8(content)} (8 bits), {digests.sum16(content)} (16 bits)",
            ),
            ("CRC-32 of the bytes", digests.crc32(content)),
        ],
        indent=0,
    )
    screen.say()
    cautions(screen)
    screen.good("Written, and read back as the same image.")
    screen.say(
        "Load it, compare the sum on the reader's screen with those above, read the new chip "
        "back, and give that dump to `parambak swap read-back` before any power goes on."
    )
