"""`card program`: the sums of a program memory, as lines for a card sheet."""

from __future__ import annotations

import json

import click

from parambak.answers import given_files
from parambak.cli.command import FORMAT_HELP, FormatName
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer
from parambak.keeping.recording.texts import NAME, check_texts
from parambak.memory.counted import counted
from parambak.memory.digests import crc32, sha256, sum8, sum16


@parambak_command("program", example="parambak card program U7.BIN --place U7", vault=False)
@click.argument("dump", metavar="DUMP")
@click.option("--place", metavar="TEXT", help="Its place on the card, such as U7.")
@click.option("--format", "format_name", type=FormatName(), help=FORMAT_HELP)
@click.option("--accept", multiple=True, metavar="NAME", help="Let one irregularity pass.")
def command(
    dump: str, place: str | None, format_name: str | None, accept: tuple[str, ...]
) -> Answer:
    """Print what tells a program memory from another, as lines for a card sheet.

    DUMP itself is kept nowhere: where a maker's bytes may not be kept, the digest alone
    tells whether two memories hold the same.
    """
    check_texts([("place", place, NAME)])
    image = given_files.read_dump_file(dump, format_name, given_files.terms_of(accept)).image
    data = image.content
    size = len(data)
    sums = {
        "size": str(size),
        "sum-8": sum8(data),
        "sum-16": sum16(data),
        "crc-32": crc32(data),
        "sha-256": sha256(data),
    }
    lines = ["[[program]]", f"place = {_quoted(place)}" if place else '#place = "U7"']
    lines += [f"{key} = {text if key == 'size' else _quoted(text)}" for key, text in sums.items()]
    ranges = image.ranges
    gaps = (
        (f"the dump has gaps: the sums are over {counted(size, 'byte')} present in it",)
        if len(ranges) > 1
        else ()
    )
    return Answer(
        {"place": place, **sums, "size": size, "lines": lines},
        lambda _: click.echo("\n".join(lines)),
        warnings=gaps,
    )


def _quoted(text: str) -> str:
    """Return a text as TOML writes it: its basic strings take JSON's escapes."""
    return json.dumps(text, ensure_ascii=False)
