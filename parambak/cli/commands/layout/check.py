"""`layout check`: every mistake of a layout at once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from parambak.answers import given_files
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer
from parambak.memory.counted import counted
from parambak.vault.files.given import read_beside, read_given

if TYPE_CHECKING:
    from parambak.cli.screen import Screen


@parambak_command(
    "check", example="parambak layout check shared/layouts/thruster.toml", vault=False
)
@click.argument("file", metavar="FILE")
def command(file: str) -> Answer:
    """List every mistake in a layout FILE, with its line; exit 1 where there is one."""
    from parambak.layouts import coverage  # noqa: PLC0415 - once the call is right
    from parambak.layouts.load import check, load  # noqa: PLC0415 - the same

    data = read_given(file, given_files.TEXT_BYTES).data
    name = Path(file).name

    def include(part: str) -> bytes:
        return read_beside(file, part, given_files.TEXT_BYTES)

    mistakes = check(data, name=name, include=include)
    problems: list[dict[str, Any]] = [
        {
            "code": each.code,
            "text": each.text,
            "file": each.file or file,
            "line": each.line,
            "key": each.key,
            "expected": each.expected,
            "found": each.found,
            "next": each.next,
        }
        for each in mistakes
    ]
    document: dict[str, Any] = {"problems": problems, "covered_bytes": None, "gaps": []}
    if not problems:
        layout = load(data, name=name, include=include)
        document["covered_bytes"] = sum(r.length for r in coverage.covered(layout))
        document["size"] = layout.memory
        document["gaps"] = [{"start": r.start, "length": r.length} for r in coverage.gaps(layout)]
    return Answer(document, lambda screen: _page(screen, document), exit_code=1 if problems else 0)


def _page(screen: Screen, document: dict[str, Any]) -> None:
    for each in document["problems"]:
        at = f", line {each['line']}" if each["line"] else ""
        key = f" ({each['key']})" if each["key"] else ""
        screen.say(f"{each['file']}{at}{key}: {each['text']}")
        parts = [(part, each[part]) for part in ("expected", "found") if each[part]]
        screen.facts([*parts, ("do next", each["next"] or "Mend the line named.")])
    number = len(document["problems"])
    if number:
        word = counted(number, "mistake")
        screen.bad(f"{word}. The layout cannot be used until they are mended.")
        return
    covered, size = document["covered_bytes"], document["size"]
    gaps = counted(len(document["gaps"]), "gap")
    screen.say(f"{covered} of {size} bytes are covered, {gaps}.")
    screen.good("No mistakes.")
