"""`inspect`: what a dump holds, without a vault."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.cli import files_in
from parambak.cli.command import FORMAT_HELP, FORMATS
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer
from parambak.memory import digests

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.cli.screen import Screen
    from parambak.dumps.dump import Dump
    from parambak.memory.findings import Finding

FORMAT_NAMES = dict(zip(FORMATS, ("Intel HEX", "S-record", "raw"), strict=True))


@parambak_command("inspect", example="parambak inspect THRUST1.HEX THRUST2.HEX", vault=False)
@click.argument("dumps", metavar="DUMP…", nargs=-1, required=True)
@click.option("--format", "format_name", type=click.Choice(FORMATS), help=FORMAT_HELP)
@click.option(
    "--accept", multiple=True, metavar="NAME", help="Let one named irregularity pass, and note it."
)
@click.option("--memory", type=click.IntRange(1), metavar="BYTES", help="The memory's size.")
def command(
    dumps: tuple[str, ...], format_name: str | None, accept: tuple[str, ...], memory: int | None
) -> Answer:
    """Show what each DUMP holds: addresses, digests, sums, findings."""
    terms = files_in.terms_of(accept, memory)
    shown = [(path, files_in.read_dump_file(path, format_name, terms)) for path in dumps]
    documents = [_document(path, dump, memory) for path, dump in shown]
    return Answer(
        {"dumps": documents},
        lambda screen: _page(screen, documents, [dump for _, dump in shown]),
    )


def _document(path: str, dump: Dump, memory: int | None) -> dict[str, Any]:
    content = dump.image.content
    return {
        "file": path,
        "format": dump.format,
        "size": len(content),
        "ranges": [{"start": r.start, "length": r.length} for r in dump.image.ranges],
        "sha256": digests.sha256(content),
        "crc32": digests.crc32(content),
        "sum8": digests.sum8(content),
        "sum16": digests.sum16(content),
        "findings": [
            {"code": finding.code, "text": finding.text, "against": against}
            for finding, against in _findings(dump, memory)
        ],
    }


def _findings(dump: Dump, memory: int | None) -> Iterator[tuple[Finding, bool]]:
    """Yield what was noted of the file, and what speaks against the image."""
    from parambak.reads.plausibility import judge  # noqa: PLC0415 - after the dump is accepted

    yield from ((finding, False) for finding in dump.findings)
    yield from ((each.finding, True) for each in judge(dump.image, memory_size=memory))


def _page(screen: Screen, documents: list[dict[str, Any]], dumps: list[Dump]) -> None:
    for document in documents:
        screen.heading(document["file"])
        screen.facts(_facts(document))
        for finding in document["findings"]:
            word = "AGAINST IT" if finding["against"] else "noted"
            screen.say(f"{word}: {finding['text']} ({finding['code']})", indent=2)
        screen.say()
    _relations(screen, documents, dumps)
    against = sum(f["against"] for document in documents for f in document["findings"])
    (screen.mind if against else screen.good)(_verdict(len(documents), against))


def _verdict(number: int, against: int) -> str:
    from parambak.cli.screen import counted  # noqa: PLC0415 - not needed for JSON

    read = "The dump was read whole" if number == 1 else f"All {number} dumps were read whole"
    if not against:
        return f"{read}; nothing speaks against {'it' if number == 1 else 'them'}."
    findings = counted(against, "finding")
    return f"{read}, but {findings} against: look at each before you rely on the read."


def _facts(document: dict[str, Any]) -> list[tuple[str, str]]:
    ranges = document["ranges"]
    shown = ", ".join(
        f"0x{r['start']:04X}-0x{r['start'] + r['length'] - 1:04X}" for r in ranges[:8]
    )
    more = f" and {len(ranges) - 8} more" if len(ranges) > 8 else ""
    return [
        ("format", FORMAT_NAMES[document["format"]]),
        ("size", f"{document['size']} bytes"),
        ("addresses", shown + more),
        ("SHA-256", document["sha256"]),
        ("CRC-32", document["crc32"]),
        ("sum of bytes", f"{document['sum8']} (8 bits), {document['sum16']} (16 bits)"),
    ]


def _relations(screen: Screen, documents: list[dict[str, Any]], dumps: list[Dump]) -> None:
    """Say how each further dump relates to the first."""
    if len(dumps) < 2:
        return
    from parambak.cli.screen import counted  # noqa: PLC0415 - the same
    from parambak.compare.bytes import runs  # noqa: PLC0415 - only for two dumps or more

    first = documents[0]["file"]
    for document, dump in zip(documents[1:], dumps[1:], strict=True):
        found = runs(dumps[0].image, dump.image)
        if not found:
            screen.say(f"{document['file']} holds the same bytes as {first}.")
            continue
        changed = sum(run.length for run in found)
        screen.say(
            f"{document['file']} differs from {first} in {counted(changed, 'byte')}, "
            f"the first at 0x{found[0].start:04X}."
        )
    screen.say()
