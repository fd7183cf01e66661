"""`swap load-file`: the file that goes into the new card."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers.swap.load_file import SwapLoadFileQuestion, answer
from parambak.cli.command import FormatName
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import CAUTION, deviations
from parambak.cli.parts.accept import accept_options
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.memory.counted import counted
from parambak.reads.pairs import PAIR_SCHEMES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.answers.swap.load_file import SwapLoadFileAnswer, ValueToCheck
    from parambak.cli.screen import Screen


@parambak_command(
    "load-file",
    example="parambak swap load-file grebe/port-thruster/U12 --as intel-hex --out LOAD.HEX",
    more=("parambak swap load-file grebe/winch/U3 --as raw --pair even-odd --out LOAD.BIN",),
)
@click.argument("where", metavar="WHERE")
@click.option("--as", "format_name", type=FormatName(), help="The format. Default: the profile's.")
@click.option("--out", metavar="FILE", required=True, help="The file to write.")
@click.option(
    "--profile",
    metavar="FILE",
    help="What the reader takes: format, base address, record length, short names.",
)
@click.option("--pair", type=click.Choice(PAIR_SCHEMES), help="Split over two chips: two files.")
@accept_options(by="Who releases the file.")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
@pass_settings
def command(settings: Settings, /, *, where: str, **options: Any) -> Answer:
    """Write the selected copy of WHERE as a file to load; refuse it if the swap is not ready.

    The conditions are those of `swap check`. The selected copy is that of `swap select`, else the
    newest. Its bytes are never altered.

    With --pair, FILE holds the first chip and FILE.2 the second. If the reader takes only
    short names, the second name ends in 2.
    """
    return settings.ask(answer, SwapLoadFileQuestion(where=where, **options), _page)


def _page(screen: Screen, loaded: SwapLoadFileAnswer) -> None:
    deviations(screen, loaded.accepted)
    screen.facts([("copy", loaded.copy or "")], indent=0)
    for file in loaded.files:
        screen.facts(
            [
                ("file", f"{file.file}, {counted(file.size, 'byte')}"),
                ("SHA-256 of the file", file.sha256),
                ("sums of the bytes", f"{file.sum8} (8 bits), {file.sum16} (16 bits)"),
                ("CRC-32 of the bytes", file.crc32),
            ],
            indent=0,
        )
    screen.say()
    screen.say(CAUTION)
    screen.say()
    if loaded.verified:
        screen.good("Written, and read back as the same image.")
    else:
        _by_hand(screen, loaded.check_by_hand)
        screen.bad("UNVERIFIED: written, but nothing proves that this copy is right.")
    files = "both files, each into its own chip" if len(loaded.files) > 1 else "the file"
    screen.say("Do next, before any power is on:")
    screen.points(
        (
            f"Load {files}.",
            "Compare the sum on the reader's screen with the sums above.",
            (
                "Read the new chip twice. Give both dumps to `parambak swap read-back "
                f"{loaded.where}`."
            ),
        )
    )


def _by_hand(screen: Screen, values: Sequence[ValueToCheck] | None) -> None:
    """List the values that a person has to check at the panel."""
    if values is None:
        screen.warn("There is no layout: check every value that the panel shows.")
        return
    screen.warn("Check each of these values at the panel before the unit is used:")
    screen.table(("field", "value"), [(value.field, value.value) for value in values])
