"""`decode`: what the bytes of a copy mean, by its layout."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers import faults, given_files
from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.screen import MARKS
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.layouts.decode import CheckResult, Decoded, FieldValue
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image


@parambak_command("decode", example="parambak decode grebe/port-thruster/U12@previous")
@click.argument("copy", metavar="COPY")
@click.option("--layout", metavar="FILE", help="Decode by this layout, not the position's own.")
@pass_settings
def command(settings: Settings, copy: str, layout: str | None) -> Answer:
    """Show every field and check of COPY: a dump file, or WHERE@WHICH."""
    given = store.given(settings, copy)
    chosen = layout_for(given, layout)
    decoded = decoded_by(chosen, given.image)
    failed = [check for check in decoded.checks if check.holds is not True]
    return Answer(
        {
            "fields": [field_document(field) for field in decoded.fields],
            "checks": [_check_document(check) for check in decoded.checks],
            "covered_bytes": decoded.covered_bytes,
            "size": decoded.size,
        },
        lambda screen: _page(screen, given.name, decoded),
        exit_code=1 if failed else 0,
    )


def layout_for(given: store.Given, path: str | None) -> Layout:
    """Return the layout named, else the position's own; refuse where there is none."""
    if path is not None:
        return given_files.layout_file(path).layout
    if given.layout is None:
        raise faults.LAYOUT_NEEDED.error(expected="--layout FILE", found="no layout")
    return given.layout


def decoded_by(layout: Layout, image: Image) -> Decoded:
    """Return the image's fields; refuse a layout for another size of memory."""
    from parambak.layouts.decode import decode, require_fit  # noqa: PLC0415 - with a layout only

    require_fit(layout, image)
    return decode(layout, image)


def field_document(field: FieldValue) -> dict[str, Any]:
    """Return a field under the keys of the contract."""
    return {
        "field": field.field,
        "at": field.at,
        "raw": field.raw.hex().upper() if field.raw is not None else None,
        "value": field.value,
        "unit": field.unit,
        "within_limits": field.within_limits,
        "low": field.low,
        "high": field.high,
        "mark": field.mark,
    }


def _check_document(check: CheckResult) -> dict[str, Any]:
    return {
        "check": check.check,
        "at": check.at,
        "method": check.method,
        "holds": check.holds,
        "stored": check.stored,
        "computed": check.computed,
        "mark": check.mark,
    }


def _page(screen: Screen, name: str, decoded: Decoded) -> None:
    screen.heading(name)
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


def _row(field: FieldValue) -> tuple[str, ...]:
    raw = field.raw.hex().upper() if field.raw is not None else "absent"
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


def _remark(field: FieldValue) -> str:
    words = [field.mark] if field.mark else []
    if field.within_limits is False:
        words.append(f"OUTSIDE {field.low or '…'} to {field.high or '…'}")
    if field.expected_to_change:
        words.append("changes")
    if field.live:
        words.append("live")
    if field.belongs_to_card:
        words.append("of the card")
    return ", ".join(words)


def _check_row(check: CheckResult) -> tuple[str, ...]:
    from parambak.layouts.verdicts import PROMISES  # noqa: PLC0415 - with a layout only

    holds = f"{MARKS[check.holds]} ({check.mark})" if check.mark else MARKS[check.holds]
    stored, computed = check.stored or "absent", check.computed or "not known"
    if check.method in PROMISES:  # nothing of the kind is stored
        stored = computed = "-"
    return (f"0x{check.at:04X}", check.check, check.method, stored, computed, holds)


def _verdict(screen: Screen, decoded: Decoded) -> None:
    from parambak.layouts.verdicts import OTHER_ORDER  # noqa: PLC0415 - with a layout only

    wrong = [check for check in decoded.checks if check.holds is False]
    turned = [check.check for check in wrong if check.mark == OTHER_ORDER]
    failed = [check.check for check in wrong if check.mark != OTHER_ORDER]
    unknown = [check.check for check in decoded.checks if check.holds is None]
    outside = [field.field for field in decoded.fields if field.within_limits is False]
    if outside:
        screen.mind(f"Outside its limits: {', '.join(outside)}.")
    if failed:
        screen.bad(f"A check fails: {', '.join(failed)}. Read the chip again.")
    elif turned:
        screen.bad(
            f"A check holds in the other byte order alone: {', '.join(turned)}. Mend its "
            "byte-order in the layout."
        )
    elif unknown:
        screen.mind(f"Not known, since bytes are absent: {', '.join(unknown)}.")
    elif decoded.checks:
        screen.good("Every check holds.")
    else:
        screen.mind("The layout declares no check.")
