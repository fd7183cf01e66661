"""`layout find`: where values as shown may be stored, and which bytes may be checks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.layout.find import LayoutFindQuestion
from parambak.cli.command import asks
from parambak.cli.screen import MARKS
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.layout.find import CandidateShown, LayoutFindAnswer, ValueShown
    from parambak.cli.screen import Screen

NOT_SEEN = "?"
GUESSES = 3


@asks(
    LayoutFindQuestion, example="parambak layout find U12-2031.HEX U12-2033.HEX --values PANEL.TXT"
)
@click.argument("copies", metavar="COPY…", nargs=-1, required=True)
@click.option(
    "--values",
    metavar="FILE",
    required=True,
    help="What the panel showed: `name = 12.5 s | 9.0 s`, one value on each line.",
)
@click.option("--out", metavar="LAYOUT", help="Write the results as a layout to confirm.")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
def command(screen: Screen, answered: LayoutFindAnswer) -> None:
    """Search each COPY for values of a text file, and show where they may be stored.

    Give the copies in the order of the file's values. The exit code is 0 if at least one value
    or check was located with confidence, else 1. Every result is a guess: confirm each one.
    """
    for note in answered.notes:
        screen.say(f"note: {note}")
    rows = [row for value in answered.values for row in _rows(value)]
    screen.table(("value", "address", "stored as", "likelier right", "sure"), rows, right=(3,))
    screen.say()
    for check in answered.checks:
        sure = "CHECK" if check.confident else "perhaps a check"
        screen.say(
            f"{sure} at 0x{check.at:04X}: {check.method} over 0x{check.over[0]:04X} to "
            f"0x{check.over[1]:04X}, {_likelier(check.odds)}; {'; '.join(check.evidence)}",
            indent=2,
        )
    if answered.layout:
        screen.say(
            f"Written: {answered.layout}, with the evidence. Confirm each entry, remove its guess."
        )
    _verdict(screen, answered)


def _rows(value: ValueShown) -> list[tuple[str, ...]]:
    name = f"{value.name} = {_as_shown(value)}"
    if not value.candidates:
        why = "at too many addresses" if value.crowded else "nowhere, in any form tried"
        return [(name, "", why, "", MARKS[False])]
    shown = value.candidates[: 1 if value.confident else GUESSES]
    return [
        (
            "" if number else name,
            f"0x{candidate.at:04X}",
            _stored_as(candidate),
            _likelier(candidate.odds),
            "" if number else MARKS[value.confident],
        )
        for number, candidate in enumerate(shown)
    ]


def _likelier(odds: int) -> str:
    """Return how many times likelier a guess is right than wrong."""
    return counted(odds, "time") if odds else "no"


def _as_shown(value: ValueShown) -> str:
    texts = [NOT_SEEN if text is None else text for text in value.shown]
    changed = len({text for text in value.shown if text is not None}) > 1
    joined = " | ".join(texts if changed else dict.fromkeys(texts))
    return f"{joined} {value.unit}" if value.unit else joined


def _stored_as(candidate: CandidateShown) -> str:
    from parambak.layouts.field_types import TYPES  # noqa: PLC0415 - once there is one

    words = [candidate.type]
    if TYPES[candidate.type].length is None:
        words.append(str(candidate.length))
    words += [word for word in (candidate.byte_order, candidate.encoding) if word]
    if candidate.scale:
        words.append(f"x {candidate.scale}")
    if candidate.fraction:
        words.append(f"/ 2^{candidate.fraction}")
    return " ".join(words)


def _verdict(screen: Screen, answered: LayoutFindAnswer) -> None:
    certain = sum(value.confident for value in answered.values)
    checks = sum(check.confident for check in answered.checks)
    text = (
        f"Located with confidence: {certain} of {counted(len(answered.values), 'value')} and "
        f"{counted(checks, 'check')}."
    )
    if certain or checks:
        screen.good(f"{text} Each is a guess until a person confirms it.")
    else:
        screen.warn(f"{text} Give more values, or copies in which the values differ.")
