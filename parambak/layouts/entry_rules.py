"""Whether each entry of a layout, field by field and check by check, is valid.

Addresses, and entries compared with each other, are judged in `judge.py`.
"""

from __future__ import annotations

import re
from decimal import Decimal
from itertools import pairwise
from operator import attrgetter
from types import MappingProxyType
from typing import TYPE_CHECKING

from parambak.layouts import check_methods, faults
from parambak.layouts.check_methods import stored_length, width
from parambak.layouts.decimals import plain
from parambak.layouts.mistakes import advice, describe
from parambak.layouts.model import stored_number
from parambak.layouts.parse import LONGEST_NUMBER
from parambak.memory.counted import counted
from parambak.memory.names import folded
from parambak.memory.printable import hidden

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from parambak.layouts.check_methods import CheckMethod
    from parambak.layouts.field_types import FieldType
    from parambak.layouts.mistakes import Ledger, Path, Source
    from parambak.layouts.model import Check, Field, Group, Mirrored, Reserved

_MEANING_KEY = re.compile(r"-?(?:0x[0-9A-Fa-f]{1,16}|[0-9]{1,20})")
_FORBIDDEN_IN_NAMES = frozenset(".[]")
# A backslash may write a hidden character; else only one that is in the text itself.
_MAY_HIDE = re.compile(
    r"[\\\u007f-\u00a0\u00ad\u0600-\u0605\u061c\u06dd\u070f\u180e\u200b-\u200f"
    r"\u2028-\u202e\u2060-\u206f\ue000-\uf8ff\ufeff\ufff9-\ufffb"
    r"\U00010000-\U0010ffff]"
)
# With which types each key goes; keys not named here go with all.
_BITS = attrgetter("takes_bits")
_NUMBER = attrgetter("is_number")
_WHOLE = attrgetter("is_whole")
_TYPES_OF_KEY: Mapping[str, Callable[[FieldType], bool]] = MappingProxyType(
    {
        "bit": _BITS,
        "width": _BITS,
        "scale": _NUMBER,
        "offset": _NUMBER,
        "fraction": _WHOLE,
        "curve": _NUMBER,
        "decimals": _NUMBER,
        "low": _NUMBER,
        "high": _NUMBER,
        "low_from": _NUMBER,
        "high_from": _NUMBER,
        "tolerance": _NUMBER,
        "values": _WHOLE,
        "encoding": lambda field_type: field_type.kind == "text",
        "padding": lambda field_type: field_type.kind == "text",
        "parts": lambda field_type: field_type.kind == "date-time",
        "century": lambda field_type: field_type.kind == "date-time",
    }
)


def judge_texts(source: Source, ledger: Ledger) -> None:
    """Note every text with a control or hidden character, names and notes too."""
    if _MAY_HIDE.search(source.text) is None:
        return
    waiting: list[tuple[Path, object]] = [((), source.tree)]
    while waiting:
        path, node = waiting.pop()
        if isinstance(node, dict):
            waiting.extend(((*path, key), inner) for key, inner in node.items())
            for key in node:
                if hidden(key):
                    ledger.note(faults.TEXT, source, (*path, key), found=describe(key), key="a key")
        elif isinstance(node, list):
            waiting.extend(((*path, index), inner) for index, inner in enumerate(node))
        elif isinstance(node, str):
            _judge_text(source, path, node, ledger)


def _judge_text(source: Source, path: Path, text: str, ledger: Ledger) -> None:
    lines = path[-1:] in {("note",), ("source",)}
    if hidden(text.replace("\n", " ").replace("\t", " ") if lines else text):
        name = path[-1:] == ("name",)
        fault = faults.NAME if name else faults.TEXT
        where = source.where(path[:-2] if name and len(path) > 2 else path[:-1])
        ledger.note(
            fault, source, path, where=where, expected="visible characters", found=describe(text)
        )


def judge_names(
    source: Source, named: Iterable[tuple[Path, str]], taken: dict[str, str], ledger: Ledger
) -> None:
    """Note names that are taken, after folding case and normalising, or cannot be used.

    `taken` is the scope: the names so far; it grows.
    """
    for path, name in named:
        if not _FORBIDDEN_IN_NAMES.isdisjoint(name) or name != name.strip():
            ledger.note(
                faults.NAME,
                source,
                (*path, "name"),
                expected="no dot, bracket or space at an end",
                found=describe(name),
            )
        judge_taken(source, path, name, taken, ledger)


def judge_taken(
    source: Source, path: Path, name: str, taken: dict[str, str], ledger: Ledger
) -> None:
    """Note a name that the scope `taken` has already, after folding and normalising."""
    key = folded(name)
    if key in taken:
        ledger.note(
            faults.NAME_TWICE,
            source,
            (*path, "name"),
            expected="names that differ by more than case",
            found=f"{describe(name)} and {describe(taken[key])}",
        )
    taken.setdefault(key, name)


def judge_field(source: Source, path: Path, field: Field, ledger: Ledger) -> None:
    """Note what is not valid in one field, except its address and limits by name."""
    for name, goes_with in _TYPES_OF_KEY.items():
        value = getattr(field, name)
        if value is None or value == ():
            continue
        if not goes_with(field.type):
            ledger.note(
                faults.NOT_FOR_TYPE,
                source,
                (*path, name.replace("_", "-")),
                expected=f"no such key with type {field.type}",
                found=describe(value),
            )
        elif isinstance(value, Decimal):
            _judge_number(source, (*path, name.replace("_", "-")), value, ledger)
    _judge_length(source, path, field, ledger)
    if field.type.takes_bits:
        _judge_bits(source, path, field, ledger)
    if field.type.kind == "date-time":
        _judge_parts(source, path, field, ledger)
    if field.curve:
        _judge_points(source, path, field, ledger)
    if field.values is not None and field.type.is_whole:
        _judge_values(source, path, field, field.values, ledger)
    _judge_limits(source, path, field, ledger)


def finite(value: Decimal) -> bool:
    """Return whether `value` is a number that exact arithmetic can take."""
    return (
        value.is_finite()
        and len(value.as_tuple().digits) <= LONGEST_NUMBER
        and value.adjusted() < 400
        and int(value.as_tuple().exponent) > -400
    )


def _judge_number(source: Source, path: Path, value: Decimal, ledger: Ledger) -> None:
    if not finite(value):
        ledger.note(faults.NUMBER, source, path, expected="a finite number", found=str(value)[:50])
    elif path[-1] == "scale" and value == 0:
        ledger.note(faults.SCALE, source, path, expected="not zero", found=plain(value))
    elif path[-1] == "tolerance" and value < 0:
        ledger.note(faults.OUT_OF_BOUNDS, source, path, expected="0 or more", found=plain(value))


def _judge_length(source: Source, path: Path, field: Field, ledger: Ledger) -> None:
    fixed = len(field.parts) if field.type.kind == "date-time" else field.type.length
    if field.length is None:
        if fixed is None and not field.type.takes_bits:
            ledger.note(faults.KEY_MISSING, source, path, key="length", expected="`length`")
        return
    if fixed is not None and field.length != fixed:
        expected = f"{fixed} with type {field.type}, or no length"
    elif not 1 <= field.length <= field.type.longest:
        expected = f"1 to {field.type.longest} bytes with type {field.type}"
    elif (field.encoding or "").startswith("utf-16") and field.length % 2:
        expected = "an even number of bytes"
    else:
        return
    ledger.note(
        faults.LENGTH, source, (*path, "length"), expected=expected, found=str(field.length)
    )


def _judge_bits(source: Source, path: Path, field: Field, ledger: Ledger) -> None:
    if field.bit is None:
        ledger.note(faults.KEY_MISSING, source, path, key="bit", expected="`bit`")
        return
    width = field.stored_width
    if width is None:
        ledger.note(faults.KEY_MISSING, source, path, key="width", expected="`width`")
        return
    if field.type.width is not None and field.width not in {None, field.type.width}:
        expected = f"{field.type.width} for a {field.type}"
        ledger.note(
            faults.BITS, source, (*path, "width"), expected=expected, found=str(field.width)
        )
    room = 8 * field.stored_length
    bits = "1 bit" if width == 1 else f"{describe(width)} bits"
    if field.bit < 0 or width < 1 or field.bit + width > room:
        ledger.note(
            faults.BITS,
            source,
            (*path, "bit"),
            expected=f"bits 0 to {room - 1} of {counted(room // 8, 'byte')}",
            found=f"{bits} from bit {describe(field.bit)}",
        )


def _judge_parts(source: Source, path: Path, field: Field, ledger: Ledger) -> None:
    read = [part for part in field.parts if part not in {"weekday", "skip"}]
    has = set(read)
    dated, timed = {"year", "month", "day"}, {"hour", "minute", "second"}
    whole_date = not has & dated or dated <= has
    whole_time = not has & timed or {"hour", "minute"} <= has
    if not read or len(read) != len(has) or not whole_date or not whole_time:
        ledger.note(
            faults.PARTS,
            source,
            (*path, "parts"),
            expected="year, month, day or hour, minute(, second) or both",
            found=", ".join(field.parts) or "no parts",
        )


def _judge_points(source: Source, path: Path, field: Field, ledger: Ledger) -> None:
    path = (*path, "curve")
    raws = [raw for raw, _ in field.curve]
    for key in ("scale", "offset", "fraction"):
        if getattr(field, key) is not None:
            ledger.note(
                faults.CURVE,
                source,
                (*path[:-1], key),
                expected=f"`curve` without `{key}`",
                found=key,
            )
    if not all(finite(value) for _, value in field.curve):
        ledger.note(faults.NUMBER, source, path, expected="finite numbers", found="another number")
    elif len(raws) < 2 or any(low >= high for low, high in pairwise(raws)):
        ledger.note(
            faults.CURVE,
            source,
            path,
            expected="two or more points, raw numbers in rising order",
            found=", ".join(describe(raw) for raw in raws[:8]),
        )
    elif len({value for _, value in field.curve}) == 1:
        ledger.note(
            faults.SCALE,
            source,
            path,
            expected="points with different values",
            found=f"every value {plain(field.curve[0][1])}",
        )


def _judge_values(
    source: Source, path: Path, field: Field, meaning: dict[str, str], ledger: Ledger
) -> None:
    sound = 1 <= field.stored_length <= 16 and 0 <= (field.stored_width or 1) <= 64
    bounds = field.bounds if sound else None
    if bounds is None:
        return  # noted already; its bounds cannot be computed
    low, high = bounds
    seen: dict[int, str] = {}
    for key in meaning:
        here = (*path, "values", key)
        number = _meaning_number(key)
        if number is None or not low <= number <= high:
            ledger.note(
                faults.VALUES,
                source,
                here,
                where=source.where(path),
                expected=f"whole numbers from {low} to {high}",
                found=describe(key),
            )
        elif number in seen:
            ledger.note(
                faults.VALUES_TWICE,
                source,
                here,
                where=source.where(path),
                expected="one name for each stored number",
                found=f"{describe(seen[number])} and {describe(key)}",
            )
        else:
            seen[number] = key


def _meaning_number(key: str) -> int | None:
    if _MEANING_KEY.fullmatch(key) is None:
        return None
    return stored_number(key)


def _judge_limits(source: Source, path: Path, field: Field, ledger: Ledger) -> None:
    for end in ("low", "high"):
        if getattr(field, end) is not None and getattr(field, f"{end}_from") is not None:
            ledger.note(
                faults.LIMIT_FIELD,
                source,
                (*path, f"{end}-from"),
                expected=f"`{end}` or `{end}-from`, not both",
                found="both",
                advice="Remove one of the two.",
            )
    low, high = field.low, field.high
    if low is None or high is None or not finite(low) or not finite(high):
        return
    if low > high:
        ledger.note(
            faults.LIMITS,
            source,
            (*path, "low"),
            expected=f"at most {plain(high)}",
            found=plain(low),
        )


def judge_group(source: Source, path: Path, group: Group, ledger: Ledger) -> None:
    """Note what is not valid in a group itself, without the entries in it."""
    if group.count > 1 and group.row_size is None:
        ledger.note(
            faults.ROW_SIZE, source, path, expected="`row-size`", found=f"{group.count} rows"
        )
    if group.rows and len(group.rows) != group.count:
        ledger.note(
            faults.ROWS,
            source,
            (*path, "rows"),
            expected=f"{group.count} names",
            found=f"{len(group.rows)}",
        )


def judge_stretch(source: Source, path: Path, area: Reserved | Mirrored, ledger: Ledger) -> None:
    """Note a reserved area or block without any length."""
    if area.length < 1:
        ledger.note(
            faults.LENGTH,
            source,
            (*path, "length"),
            expected="1 byte or more",
            found=describe(area.length),
        )


_PARAMETERS = ("width", "poly", "reflect_in", "reflect_out", "xor_out")


def judge_check(source: Source, path: Path, check: Check, memory: int, ledger: Ledger) -> None:
    """Note an unknown method, parameters that do not fit it, and ranges that cannot be."""
    method = check_methods.method_named(check.method)
    if method is None:
        ledger.note(
            faults.CHECK_METHOD,
            source,
            (*path, "method"),
            expected="a method of formats/field-layout.md",
            found=describe(check.method),
            advice=advice(check.method, tuple(check_methods.METHODS)),
        )
    else:
        _judge_parameters(source, path, check, method, ledger)
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


def _judge_parameters(
    source: Source, path: Path, check: Check, method: CheckMethod, ledger: Ledger
) -> None:
    if method.bits is None:
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
    if not method.takes_init:
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
