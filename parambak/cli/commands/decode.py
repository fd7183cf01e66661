"""`decode`: what the bytes of a copy mean, by its layout."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.decode import DecodeQuestion
from parambak.cli.command import asks
from parambak.cli.parts.layout import layout_line
from parambak.cli.screen import MARKS

if TYPE_CHECKING:
    from parambak.answers.decode import DecodeAnswer, DecodedCheck, DecodedField
    from parambak.cli.screen import Screen


@asks(DecodeQuestion, example="parambak decode grebe/port-thruster/U12@previous")
@click.argument("copy", metavar="COPY")
@click.option("--layout", metavar="FILE", help="Decode by this layout, not the position's own.")
def command(screen: Screen, decoded: DecodeAnswer) -> None:
    """Show every field and check of COPY: a dump file, or WHERE@WHICH."""
    screen.heading(decoded.copy)
    layout_line(screen, decoded.layout)
    screen.table(("address", "field", "raw", "value"), [_row(field) for field in decoded.fields])
    screen.say()
    if decoded.checks:
        screen.table(
            ("address", "check", "method", "stored", "computed", "holds"),
            [_check_row(check) for check in decoded.checks],
        )
        screen.say()
    screen.say(f"{decoded.covered_bytes} of {decoded.size} bytes are covered by the layout.")
    _verdict(screen, decoded)


def _row(field: DecodedField) -> tuple[str, ...]:
    raw = field.raw if field.raw is not None else "absent"
    value = field.value if field.value is not None else "?"
    shown = f"{value} {field.unit}" if field.unit else value
    remark = _remark(field)
    return (
        f"0x{field.at:04X}",
        field.field,
        _short(raw),
        f"{shown} ({remark})" if remark else shown,
    )


def _short(raw: str) -> str:
    return raw if len(raw) <= 8 else f"{raw[:7]}…"


def _remark(field: DecodedField) -> str:
    words = [field.mark] if field.mark else []
    if field.within_limits is False:
        words.append(f"OUTSIDE {field.low or '…'} to {field.high or '…'}")
    if field.running:
        words.append("running")
    if field.volatile:
        words.append("volatile")
    if field.belongs_to_card:
        words.append("of the card")
    return ", ".join(words)


def _check_row(check: DecodedCheck) -> tuple[str, ...]:
    from parambak.layouts.check_methods import PROMISES  # noqa: PLC0415 - with a layout only

    holds = f"{MARKS[check.holds]} ({check.mark})" if check.mark else MARKS[check.holds]
    stored, computed = check.stored or "absent", check.computed or "not known"
    if check.method in PROMISES:  # nothing of the kind is stored
        stored = computed = "-"
    return (f"0x{check.at:04X}", check.check, check.method, stored, computed, holds)


def _verdict(screen: Screen, decoded: DecodeAnswer) -> None:
    from parambak.layouts.verdicts import OTHER_ORDER  # noqa: PLC0415 - with a layout only

    failing = [check for check in decoded.checks if check.holds is False]
    turned = [check.check for check in failing if check.mark == OTHER_ORDER]
    failed = [check.check for check in failing if check.mark != OTHER_ORDER]
    unjudged = [check.check for check in decoded.checks if check.holds is None]
    outside = [field.field for field in decoded.fields if field.within_limits is False]
    if outside:
        screen.warn(f"Outside its limits: {', '.join(outside)}.")
    if failed:
        screen.bad(f"A stored check fails: {', '.join(failed)}. Read the chip again.")
    elif turned:
        screen.bad(
            f"A stored check holds only in the other byte order: {', '.join(turned)}. Correct its "
            "byte-order in the layout."
        )
    elif unjudged:
        screen.warn(f"Not judged, because bytes are absent: {', '.join(unjudged)}.")
    elif decoded.checks:
        screen.good("Every stored check holds.")
    else:
        screen.warn("The layout has no stored check.")
