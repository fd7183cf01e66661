"""What a layout says of a check: does it make sense."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.layouts import faults
from parambak.layouts.check_methods import (
    BY_PARAMETERS,
    METHODS,
    PLAIN,
    catalogue_name,
    is_method,
    split,
    stored_length,
    width,
)
from parambak.layouts.mistakes import advice, describe

if TYPE_CHECKING:
    from parambak.layouts.mistakes import Ledger, Path, Source
    from parambak.layouts.model import Check

_PARAMETERS = ("width", "poly", "reflect_in", "reflect_out", "xor_out")


def judge_check(source: Source, path: Path, check: Check, memory: int, ledger: Ledger) -> None:
    """Note an unknown method, parameters that do not fit it, and ranges that cannot be."""
    if not is_method(check.method):
        ledger.note(
            faults.CHECK_METHOD,
            source,
            (*path, "method"),
            expected="a method of formats/field-layout.md",
            found=describe(check.method),
            advice=advice(check.method, METHODS),
        )
    else:
        _judge_parameters(source, path, check, ledger)
    for index, (first, last) in enumerate(check.over):
        if not 0 <= first <= last < memory:
            ledger.note(
                faults.CHECK_RANGE,
                source,
                (*path, "over", index),
                where=source.where(path),
                expected=f"[first, last] inside 0x0000 to 0x{memory - 1:04X}",
                found=f"[{_address(first)}, {_address(last)}]",
            )
        elif first < check.at + stored_length(check) and check.at <= last:
            ledger.note(
                faults.CHECK_OVER_ITSELF,
                source,
                (*path, "over", index),
                where=source.where(path),
                expected=f"a range without 0x{check.at:04X}, where the value is stored",
                found=f"[{_address(first)}, {_address(last)}]",
            )


def _address(value: int) -> str:
    return f"0x{value:04X}" if 0 <= value < 1 << 64 else describe(value)


def _judge_parameters(source: Source, path: Path, check: Check, ledger: Ledger) -> None:
    if check.method.lower() == BY_PARAMETERS:
        _judge_crc(source, path, check, ledger)
        return
    for name in _PARAMETERS:
        if getattr(check, name) is not None:
            ledger.note(
                faults.CHECK_PARAMETERS,
                source,
                (*path, name.replace("_", "-")),
                expected=f"no such key with method {check.method.lower()}",
                found=describe(getattr(check, name)),
            )
    if check.init is None:
        return
    summed = split(check.method)[0]
    takes = summed in PLAIN and summed not in {"fletcher-16", "adler-32"}
    if catalogue_name(check.method) is not None or not takes:
        ledger.note(
            faults.CHECK_PARAMETERS,
            source,
            (*path, "init"),
            expected=f"no start value with method {check.method.lower()}",
            found=describe(check.init),
        )
    elif not 0 <= check.init < 1 << width(check):
        ledger.note(
            faults.CHECK_PARAMETERS,
            source,
            (*path, "init"),
            expected=f"0 to 0x{(1 << width(check)) - 1:X}",
            found=describe(check.init),
        )


def _judge_crc(source: Source, path: Path, check: Check, ledger: Ledger) -> None:
    for name in ("width", "poly"):
        if getattr(check, name) is None:
            ledger.note(faults.KEY_MISSING, source, path, key=name, expected=f"`{name}`")
    if check.width is None:
        return
    if not 3 <= check.width <= 128:
        ledger.note(
            faults.CHECK_PARAMETERS,
            source,
            (*path, "width"),
            expected="3 to 128 bits",
            found=describe(check.width),
        )
        return
    most = (1 << check.width) - 1
    for name in ("poly", "init", "xor_out"):
        value = getattr(check, name)
        if value is not None and not 0 <= value <= most:
            ledger.note(
                faults.CHECK_PARAMETERS,
                source,
                (*path, name.replace("_", "-")),
                expected=f"0 to 0x{most:X}, {check.width} bits",
                found=describe(value),
            )
