"""`inspect`: what a dump holds, without a vault."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.inspect import InspectQuestion
from parambak.cli.command import FORMAT_HELP, FormatName, asks
from parambak.cli.parts.chip import chip_option
from parambak.cli.parts.disagreement import explanation_page
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.answers.inspect import DumpShown, InspectAnswer, RefusedShown
    from parambak.cli.screen import Screen


@asks(InspectQuestion, example="parambak inspect THRUST1.HEX THRUST2.HEX", vault=False)
@click.argument("dumps", metavar="DUMP…", nargs=-1, required=True)
@click.option("--format", type=FormatName(), help=FORMAT_HELP)
@click.option(
    "--accept", multiple=True, metavar="NAME", help="Allow one named irregularity, and note it."
)
@click.option("--memory", type=click.IntRange(1), metavar="BYTES", help="The memory's size.")
@chip_option
@click.option("--profile", metavar="FILE", help="The reader's profile: how its files are read.")
@click.option("--second-opinion", is_flag=True, help="Decode again by unrelated code.")
def command(screen: Screen, inspected: InspectAnswer) -> None:
    """Show what each DUMP holds: addresses, SHA-256, sums, findings.

    With two or more, show how they relate, and the likely cause of a difference.
    """
    for dump in inspected.dumps:
        screen.heading(dump.file)
        screen.facts(_facts(dump))
        for finding in dump.findings:
            word = "AGAINST IT" if finding.against else "noted"
            screen.say(f"{word}: {finding.text} ({finding.code})", indent=2)
        screen.say()
    for refused in inspected.refused:
        screen.heading(refused.file)
        screen.facts(_refusal(refused))
        screen.say()
    _relations(screen, inspected)
    for note in inspected.pair:
        screen.say(f"The two dumps look like a pair: {note.text}.")
        screen.say("If they are a pair, archive them with --pair.")
        screen.say()
    explanation = inspected.explanation
    if explanation is not None:
        explanation_page(screen, explanation)
    against = sum(finding.against for dump in inspected.dumps for finding in dump.findings)
    gaps = sum(not dump.complete for dump in inspected.dumps)
    verdict = _verdict(len(inspected.dumps), against, gaps, differ=explanation is not None)
    if inspected.dumps:
        (screen.warn if against or explanation else screen.good)(verdict)
    if inspected.refused:
        files = counted(len(inspected.refused), "file")
        screen.bad(f"REFUSED: {files} of {len(inspected.refused) + len(inspected.dumps)}.")


def _refusal(refused: RefusedShown) -> Iterator[tuple[str, str]]:
    """Yield the parts of a refusal that are there."""
    yield "refused", f"{refused.text} ({refused.code})"
    for label, value in (
        ("line", refused.line),
        ("offset", refused.offset),
        ("expected", refused.expected),
        ("found", refused.found),
        ("do next", refused.next),
    ):
        if value is not None:
            yield label, str(value)


def _verdict(number: int, against: int, gaps: int, *, differ: bool) -> str:
    names = {1: "The dump is", 2: "Both dumps are"}
    complete = f"{names.get(number, f'All {number} dumps are')} complete"
    it = "it" if number == 1 else "them"
    if gaps:
        lines = "A line may be missing" if gaps == 1 else f"Lines may be missing in {gaps} dumps"
        return f"{lines}: read each finding AGAINST {it.upper()} before use."
    if against:
        findings = counted(against, "finding")
        return f"{complete}, with {findings} AGAINST {it.upper()}. Read each one before use."
    if differ:
        return f"{complete}, but they differ: they are not reads of one unchanged memory."
    return f"{complete}; no finding is against {it}."


def _facts(dump: DumpShown) -> list[tuple[str, str]]:
    from parambak.dumps.registry import format_named  # noqa: PLC0415 - once a dump was read

    shown = ", ".join(
        f"0x{part.start:04X}-0x{part.start + part.length - 1:04X}" for part in dump.ranges[:8]
    )
    more = f" and {len(dump.ranges) - 8} more" if len(dump.ranges) > 8 else ""
    return [
        ("format", format_named(dump.format).label),
        ("size", f"{dump.size} bytes"),
        ("addresses", shown + more),
        ("SHA-256", dump.sha256),
        ("CRC-32", dump.crc32),
        ("sum of bytes", f"{dump.sum8} (8 bits), {dump.sum16} (16 bits)"),
        *([("opinion", dump.second_opinion)] if dump.second_opinion else []),
    ]


def _relations(screen: Screen, inspected: InspectAnswer) -> None:
    """Say how each further dump relates to the first."""
    first = inspected.dumps[0].file
    for relation in inspected.relations:
        if relation.first_at is None:
            screen.say(f"{relation.file} holds the same bytes as {first}.")
            continue
        screen.say(
            f"{relation.file} differs from {first} in {counted(relation.changed_bytes, 'byte')}, "
            f"the first at 0x{relation.first_at:04X}."
        )
    if inspected.relations:
        screen.say()
