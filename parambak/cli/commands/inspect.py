"""`inspect`: what a dump holds, without a vault."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from parambak.cli.command import FORMAT_HELP, FormatName
from parambak.cli.command import command as parambak_command
from parambak.cli.parts import files_in
from parambak.cli.parts.why import explained, explanation_document, explanation_page
from parambak.cli.settings import Answer
from parambak.errors import ParambakError
from parambak.memory import digests
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.cli.screen import Screen
    from parambak.dumps.dump import Dump
    from parambak.memory.findings import Finding
    from parambak.memory.image import Image
    from parambak.reads.agreement.model import Explanation


@dataclass(frozen=True)
class _Words:
    """The command's options, as typed."""

    format_name: str | None
    accept: tuple[str, ...]
    memory: int | None
    chip: str | None
    profile: str | None
    second_opinion: bool

    @property
    def size(self) -> int | None:
        """Return the memory's size in bytes, where it was given."""
        if self.chip is None:
            return self.memory
        from parambak.cli import store  # noqa: PLC0415 - where a chip is named

        return store.chip_named(store.chip_table(), self.chip).size


@dataclass(frozen=True)
class _Shown:
    """A dump that was read: its image as on the chip, and what was noted on the way."""

    path: str
    data: bytes
    dump: Dump
    image: Image
    notes: tuple[Finding, ...]


@parambak_command("inspect", example="parambak inspect THRUST1.HEX THRUST2.HEX", vault=False)
@click.argument("dumps", metavar="DUMP…", nargs=-1, required=True)
@click.option("--format", "format_name", type=FormatName(), help=FORMAT_HELP)
@click.option(
    "--accept", multiple=True, metavar="NAME", help="Let one named irregularity pass, and note it."
)
@click.option("--memory", type=click.IntRange(1), metavar="BYTES", help="The memory's size.")
@click.option("--chip", metavar="PART", help="The memory's part number, such as 28C16.")
@click.option("--profile", metavar="FILE", help="How this reader's files are to be taken.")
@click.option("--second-opinion", is_flag=True, help="Decode once more by unrelated code.")
def command(dumps: tuple[str, ...], **options: Any) -> Answer:
    """Show what each DUMP holds: addresses, digests, sums, findings.

    With more than one, how they relate, and what a difference most looks like.
    """
    words = _Words(**options)
    shown = [_shown(path, words) for path in dumps]
    documents = [_document(each, words) for each in shown]
    images = [each.image for each in shown]
    paired = _paired(images)
    found = None if paired else explained(images, dumps)
    return Answer(
        {
            "dumps": documents,
            "explanation": explanation_document(found),
            "pair": [{"code": each.code, "text": each.text} for each in paired],
        },
        lambda screen: _page(screen, documents, images, found, paired),
    )


def _shown(path: str, words: _Words) -> _Shown:
    """Return a dump as its reader's profile says that it is to be taken."""
    profile = files_in.profile_file(words.profile).profile if words.profile else None
    terms = files_in.terms_of(words.accept, words.size, profile)
    named = words.format_name or (profile.format if profile else None)
    data = files_in.read_whole(path, files_in.DUMP_BYTES)[0]
    dump = files_in.dump_of(path, data, named, terms)
    image, notes = dump.image, dump.findings
    if profile is not None:
        from parambak.dumps.profile import as_on_chip  # noqa: PLC0415 - with a profile only

        image, more = as_on_chip(image, profile, words.size)
        notes += more
    return _Shown(path, data, dump, image, notes)


def _paired(images: list[Image]) -> tuple[Finding, ...]:
    """Return whether two dumps look like the two chips of one memory."""
    if len(images) != 2:
        return ()
    from parambak.reads.half_dumps import looks_paired  # noqa: PLC0415 - for two dumps only

    return looks_paired(images[0], images[1])


def _document(each: _Shown, words: _Words) -> dict[str, Any]:
    content = each.image.content
    return {
        "file": each.path,
        "format": each.dump.format,
        "size": len(content),
        "ranges": [{"start": r.start, "length": r.length} for r in each.image.ranges],
        "sha256": digests.sha256(content),
        "crc32": digests.crc32(content),
        "sum8": digests.sum8(content),
        "sum16": digests.sum16(content),
        "findings": [
            {"code": finding.code, "text": finding.text, "against": against}
            for finding, against in _findings(each, words.size)
        ],
        "second_opinion": _opinion(each) if words.second_opinion else None,
    }


def _opinion(each: _Shown) -> str:
    from parambak.dumps.second_opinion import second_opinion  # noqa: PLC0415 - where asked

    try:
        opinion = second_opinion(each.data, each.dump)
    except ParambakError as error:
        raise error.in_file(each.path) from error
    return f"{opinion.judge} agrees" if opinion.agrees else f"not asked: {opinion.why_not}"


def _findings(each: _Shown, memory: int | None) -> Iterator[tuple[Finding, bool]]:
    """Yield what was noted of the file, and what speaks against the image."""
    from parambak.reads.half_dumps import looks_like  # noqa: PLC0415 - once it is accepted
    from parambak.reads.plausibility import judge  # noqa: PLC0415 - the same

    yield from ((finding, False) for finding in each.notes)
    yield from ((s.finding, True) for s in judge(each.image, memory_size=memory))
    yield from ((finding, True) for finding in looks_like(each.image))


def _page(
    screen: Screen,
    documents: list[dict[str, Any]],
    images: list[Image],
    found: Explanation | None,
    paired: tuple[Finding, ...],
) -> None:
    for document in documents:
        screen.heading(document["file"])
        screen.facts(_facts(document))
        for finding in document["findings"]:
            word = "AGAINST IT" if finding["against"] else "noted"
            screen.say(f"{word}: {finding['text']} ({finding['code']})", indent=2)
        screen.say()
    _relations(screen, documents, images)
    for finding in paired:
        screen.say(f"They look like a pair: {finding.text}.")
        screen.say("If they are, archive them with --pair.")
        screen.say()
    if found is not None:
        explanation_page(screen, found)
    against = sum(f["against"] for document in documents for f in document["findings"])
    answer = _verdict(len(documents), against, differ=found is not None)
    (screen.mind if against or found else screen.good)(answer)


def _verdict(number: int, against: int, *, differ: bool) -> str:

    read = "The dump was read whole" if number == 1 else f"All {number} dumps were read whole"
    if against:
        findings = counted(against, "finding")
        return f"{read}, but {findings} against: look at each before you rely on the read."
    if differ:
        return f"{read}, but they differ: they are not reads of one unchanged memory."
    return f"{read}; nothing speaks against {'it' if number == 1 else 'them'}."


def _facts(document: dict[str, Any]) -> list[tuple[str, str]]:
    from parambak.dumps.registry import format_named  # noqa: PLC0415 - once a dump was read

    ranges = document["ranges"]
    shown = ", ".join(
        f"0x{r['start']:04X}-0x{r['start'] + r['length'] - 1:04X}" for r in ranges[:8]
    )
    more = f" and {len(ranges) - 8} more" if len(ranges) > 8 else ""
    return [
        ("format", format_named(document["format"]).label),
        ("size", f"{document['size']} bytes"),
        ("addresses", shown + more),
        ("SHA-256", document["sha256"]),
        ("CRC-32", document["crc32"]),
        ("sum of bytes", f"{document['sum8']} (8 bits), {document['sum16']} (16 bits)"),
        *([("opinion", document["second_opinion"])] if document["second_opinion"] else []),
    ]


def _relations(screen: Screen, documents: list[dict[str, Any]], images: list[Image]) -> None:
    """Say how each further dump relates to the first."""
    if len(images) < 2:
        return
    from parambak.compare.bytes import runs  # noqa: PLC0415 - only for two dumps or more

    first = documents[0]["file"]
    for document, image in zip(documents[1:], images[1:], strict=True):
        found = runs(images[0], image)
        if not found:
            screen.say(f"{document['file']} holds the same bytes as {first}.")
            continue
        changed = sum(run.length for run in found)
        screen.say(
            f"{document['file']} differs from {first} in {counted(changed, 'byte')}, "
            f"the first at 0x{found[0].start:04X}."
        )
    screen.say()
