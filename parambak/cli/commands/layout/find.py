"""`layout find`: where values as shown may be stored, and which bytes may be checks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.screen import MARKS
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.errors import ParambakError
from parambak.memory.counted import counted
from parambak.vault.files.given import read_given

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.find.checks import CheckFound
    from parambak.find.panel_values import Values
    from parambak.find.search import Candidate, FoundValue, Result

VALUES_BYTES = 1024 * 1024
UNSEEN = "?"
GUESSES = 3


@parambak_command(
    "find", example="parambak layout find U12-2031.HEX U12-2033.HEX --values PANEL.TXT"
)
@click.argument("copies", metavar="COPY…", nargs=-1, required=True)
@click.option(
    "--values",
    "values_file",
    metavar="FILE",
    required=True,
    help="What the panel showed: `name = 12.5 s | 9.0 s`, one a line.",
)
@click.option("--out", metavar="LAYOUT", help="Write what was found as a layout to confirm.")
@click.option("--replace", is_flag=True, help="Write over a file that stands there.")
@pass_settings
def command(
    settings: Settings,
    /,
    *,
    copies: tuple[str, ...],
    values_file: str,
    out: str | None,
    replace: bool,
) -> Answer:
    """Say where in each COPY the values of a text file may be stored.

    Give the copies in the order of the file's values. Exit 0 where at least
    one value or check was found with confidence, 1 where none was. A guess
    is never taken for known: confirm each one.
    """
    from parambak.find.panel_values import parse  # noqa: PLC0415 - the same
    from parambak.find.search import search  # noqa: PLC0415 - once the call is right

    data = read_given(values_file, VALUES_BYTES).data
    try:
        values = parse(data, len(copies))
    except ParambakError as error:
        raise error.in_file(values_file) from error
    given = store.every_given(settings, copies)
    result = search(values.wanted, [each.image for each in given])
    if out is not None:
        _write(out, result, [each.name for each in given], replace=replace)
    sure = any(each.confident for each in result.values)
    certain = sure or any(each.confident for each in result.checks)
    return Answer(
        _document(values, result, out),
        lambda screen: _page(screen, values, result, out),
        exit_code=0 if certain else 1,
    )


def _write(out: str, result: Result, names: list[str], *, replace: bool) -> None:
    from parambak.find.draft import draft  # noqa: PLC0415 - where one is asked for
    from parambak.vault.files.disk import write_export  # noqa: PLC0415 - the same

    write_export(Path(out), draft(result, names).encode("utf-8"), replace=replace)


def _document(values: Values, result: Result, out: str | None) -> dict[str, Any]:
    return {
        "found": [_found_document(each) for each in result.values],
        "checks": [_check_document(each) for each in result.checks],
        "notes": [*values.notes, *result.notes],
        "layout": out,
    }


def _found_document(found: FoundValue) -> dict[str, Any]:
    return {
        "name": found.wanted.name,
        "confident": found.confident,
        "crowded": found.crowded,
        "candidates": [_candidate_document(each) for each in found.candidates],
    }


def _candidate_document(candidate: Candidate) -> dict[str, Any]:
    from parambak.find.search import scale_text  # noqa: PLC0415 - once there is one

    interpretation = candidate.interpretation
    return {
        "at": candidate.at,
        "length": candidate.length,
        "type": interpretation.type.name,
        "byte_order": interpretation.order,
        "scale": scale_text(interpretation),
        "fraction": interpretation.fraction or None,
        "encoding": interpretation.encoding,
        "also_at": list(candidate.also_at),
        "odds": candidate.odds,
        "evidence": list(candidate.evidence),
    }


def _check_document(check: CheckFound) -> dict[str, Any]:
    return {
        "method": check.method,
        "at": check.at,
        "length": check.length,
        "byte_order": check.byte_order,
        "over": [check.over[0], check.over[1]],
        "confident": check.confident,
        "odds": check.odds,
        "evidence": list(check.evidence),
    }


def _page(screen: Screen, values: Values, result: Result, out: str | None) -> None:
    for note in (*values.notes, *result.notes):
        screen.say(f"note: {note}")
    rows = [row for each in result.values for row in _rows(each)]
    screen.table(("value", "address", "stored as", "odds", "sure"), rows, right=(3,))
    screen.say()
    for check in result.checks:
        sure = "CHECK" if check.confident else "perhaps a check"
        screen.say(
            f"{sure} at 0x{check.at:04X}: {check.method} over 0x{check.over[0]:04X} to "
            f"0x{check.over[1]:04X}, {check.odds}:1; {'; '.join(check.evidence)}",
            indent=2,
        )
    if out:
        screen.say(f"Written to {out} with the evidence: confirm each entry, remove its guess.")
    _verdict(screen, result)


def _rows(found: FoundValue) -> list[tuple[str, ...]]:
    name = f"{found.wanted.name} = {_as_shown(found)}"
    if not found.candidates:
        why = "in too many places" if found.crowded else "nowhere, in any form tried"
        return [(name, "", why, "", MARKS[False])]
    shown = found.candidates[: 1 if found.confident else GUESSES]
    return [
        (
            "" if number else name,
            f"0x{each.at:04X}",
            _stored_as(each),
            f"{each.odds}:1" if each.odds else "below 1:1",
            "" if number else MARKS[found.confident],
        )
        for number, each in enumerate(shown)
    ]


def _as_shown(found: FoundValue) -> str:
    texts = [UNSEEN if each is None else each.text for each in found.wanted.shown]
    text = " | ".join(texts if found.wanted.changed else dict.fromkeys(texts))
    return f"{text} {found.wanted.unit}" if found.wanted.unit else text


def _stored_as(candidate: Candidate) -> str:
    from parambak.find.search import scale_text  # noqa: PLC0415 - once there is one

    interpretation = candidate.interpretation
    words = [interpretation.type.name]
    if interpretation.type.length is None:
        words.append(str(candidate.length))
    words += [str(each) for each in (interpretation.order, interpretation.encoding) if each]
    scale = scale_text(interpretation)
    if scale:
        words.append(f"x {scale}")
    if interpretation.fraction:
        words.append(f"/ 2^{interpretation.fraction}")
    return " ".join(words)


def _verdict(screen: Screen, result: Result) -> None:
    certain = sum(each.confident for each in result.values)
    checks = sum(each.confident for each in result.checks)
    text = (
        f"{certain} of {counted(len(result.values), 'value')} and {counted(checks, 'check')} "
        "found with confidence."
    )
    if certain or checks:
        screen.good(f"{text} Each is a guess until a person confirms it.")
    else:
        screen.mind(f"{text} More values, and a visit at which they differ, sharpen the search.")
