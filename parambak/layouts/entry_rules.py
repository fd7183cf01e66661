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
from parambak.layouts.mistakes import Spot, advice, describe
from parambak.layouts.model import stored_number
from parambak.layouts.parse import LONGEST_NUMBER
from parambak.memory.counted import counted
from parambak.memory.names import folded
from parambak.memory.printable import hidden

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from parambak.layouts.check_methods import CheckMethod
    from parambak.layouts.field_types import FieldType
    from parambak.layouts.mistakes import Path
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


def judge_texts(spot: Spot) -> None:
    """Note every text of a file with a control or hidden character, names and notes too."""
    if _MAY_HIDE.search(spot.source.text) is None:
        return
    waiting: list[tuple[Path, object]] = [((), spot.source.tree)]
    while waiting:
        path, node = waiting.pop()
        if isinstance(node, dict):
            waiting.extend(((*path, key), inner) for key, inner in node.items())
            for key in filter(hidden, node):
                spot.within(*path, key).note(faults.TEXT, found=describe(key), key="a key")
        elif isinstance(node, list):
            waiting.extend(((*path, index), inner) for index, inner in enumerate(node))
        elif isinstance(node, str):
            _judge_text(spot.within(*path), node)


def _judge_text(spot: Spot, text: str) -> None:
    path = spot.path
    lines = path[-1:] in {("note",), ("source",)}
    if hidden(text.replace("\n", " ").replace("\t", " ") if lines else text):
        name = path[-1:] == ("name",)
        where = spot.source.where(path[:-2] if name and len(path) > 2 else path[:-1])
        fault = faults.NAME if name else faults.TEXT
        spot.note(fault, expected="visible characters", found=describe(text), where=where)


def judge_name(spot: Spot, name: str, taken: dict[str, str]) -> None:
    """Note a name that is taken, after folding case and normalising, or cannot be used.

    `taken` is the scope: the names so far; it grows.
    """
    if not _FORBIDDEN_IN_NAMES.isdisjoint(name) or name != name.strip():
        expected = "no dot, bracket or space at an end"
        spot.note(faults.NAME, "name", expected, describe(name))
    judge_taken(spot, name, taken)


def judge_taken(spot: Spot, name: str, taken: dict[str, str]) -> None:
    """Note a name that the scope `taken` has already, after folding and normalising."""
    key = folded(name)
    if key in taken:
        expected = "names that differ by more than case"
        found = f"{describe(name)} and {describe(taken[key])}"
        spot.note(faults.NAME_TWICE, "name", expected, found)
    taken.setdefault(key, name)


def judge_field(spot: Spot, field: Field) -> None:
    """Note what is not valid in one field, except its address and limits by name."""
    for name, goes_with in _TYPES_OF_KEY.items():
        value = getattr(field, name)
        if value is None or value == ():
            continue
        key = name.replace("_", "-")
        if not goes_with(field.type):
            expected = f"no such key with type {field.type}"
            spot.note(faults.NOT_FOR_TYPE, key, expected, describe(value))
        elif isinstance(value, Decimal):
            _judge_number(spot, key, value)
    _judge_length(spot, field)
    if field.type.takes_bits:
        _judge_bits(spot, field)
    if field.type.kind == "date-time":
        _judge_parts(spot, field)
    if field.curve:
        _judge_points(spot, field)
    if field.values is not None and field.type.is_whole:
        _judge_values(spot, field, field.values)
    _judge_limits(spot, field)


def finite(value: Decimal) -> bool:
    """Return whether `value` is a number that exact arithmetic can take."""
    return (
        value.is_finite()
        and len(value.as_tuple().digits) <= LONGEST_NUMBER
        and value.adjusted() < 400
        and int(value.as_tuple().exponent) > -400
    )


def _judge_number(spot: Spot, key: str, value: Decimal) -> None:
    if not finite(value):
        spot.note(faults.NUMBER, key, "a finite number", str(value)[:50])
    elif key == "scale" and value == 0:
        spot.note(faults.SCALE, key, "not zero", plain(value))
    elif key == "tolerance" and value < 0:
        spot.note(faults.OUT_OF_BOUNDS, key, "0 or more", plain(value))


def _judge_length(spot: Spot, field: Field) -> None:
    fixed = len(field.parts) if field.type.kind == "date-time" else field.type.length
    if field.length is None:
        if fixed is None and not field.type.takes_bits:
            spot.note_missing("length")
        return
    if fixed is not None and field.length != fixed:
        expected = f"{fixed} with type {field.type}, or no length"
    elif not 1 <= field.length <= field.type.longest:
        expected = f"1 to {field.type.longest} bytes with type {field.type}"
    elif (field.encoding or "").startswith("utf-16") and field.length % 2:
        expected = "an even number of bytes"
    else:
        return
    spot.note(faults.LENGTH, "length", expected, str(field.length))


def _judge_bits(spot: Spot, field: Field) -> None:
    width = field.stored_width
    if field.bit is None or width is None:
        spot.note_missing("bit" if field.bit is None else "width")
        return
    if field.type.width is not None and field.width not in {None, field.type.width}:
        expected = f"{field.type.width} for a {field.type}"
        spot.note(faults.BITS, "width", expected, str(field.width))
    room = 8 * field.stored_length
    bits = "1 bit" if width == 1 else f"{describe(width)} bits"
    if field.bit < 0 or width < 1 or field.bit + width > room:
        expected = f"bits 0 to {room - 1} of {counted(room // 8, 'byte')}"
        spot.note(faults.BITS, "bit", expected, f"{bits} from bit {describe(field.bit)}")


def _judge_parts(spot: Spot, field: Field) -> None:
    read = [part for part in field.parts if part not in {"weekday", "skip"}]
    has = set(read)
    dated, timed = {"year", "month", "day"}, {"hour", "minute", "second"}
    whole_date = not has & dated or dated <= has
    whole_time = not has & timed or {"hour", "minute"} <= has
    if not read or len(read) != len(has) or not whole_date or not whole_time:
        expected = "year, month, day or hour, minute(, second) or both"
        spot.note(faults.PARTS, "parts", expected, ", ".join(field.parts) or "no parts")


def _judge_points(spot: Spot, field: Field) -> None:
    raws = [raw for raw, _ in field.curve]
    for key in ("scale", "offset", "fraction"):
        if getattr(field, key) is not None:
            spot.note(faults.CURVE, key, f"`curve` without `{key}`", key)
    if not all(finite(value) for _, value in field.curve):
        spot.note(faults.NUMBER, "curve", "finite numbers", "another number")
    elif len(raws) < 2 or any(low >= high for low, high in pairwise(raws)):
        expected = "two or more points, raw numbers in rising order"
        spot.note(faults.CURVE, "curve", expected, ", ".join(map(describe, raws[:8])))
    elif len({value for _, value in field.curve}) == 1:
        found = f"every value {plain(field.curve[0][1])}"
        spot.note(faults.SCALE, "curve", "points with different values", found)


def _judge_values(spot: Spot, field: Field, meaning: dict[str, str]) -> None:
    sound = 1 <= field.stored_length <= 16 and 0 <= (field.stored_width or 1) <= 64
    bounds = field.bounds if sound else None
    if bounds is None:
        return  # noted already; its bounds cannot be computed
    low, high = bounds
    inside = spot.within("values")
    seen: dict[int, str] = {}
    for key in meaning:
        number = _meaning_number(key)
        if number is None or not low <= number <= high:
            expected = f"whole numbers from {low} to {high}"
            inside.note(faults.VALUES, key, expected, describe(key), where=spot.where)
        elif number in seen:
            expected = "one name for each stored number"
            found = f"{describe(seen[number])} and {describe(key)}"
            inside.note(faults.VALUES_TWICE, key, expected, found, where=spot.where)
        else:
            seen[number] = key


def _meaning_number(key: str) -> int | None:
    if _MEANING_KEY.fullmatch(key) is None:
        return None
    return stored_number(key)


def _judge_limits(spot: Spot, field: Field) -> None:
    for end in ("low", "high"):
        if getattr(field, end) is not None and getattr(field, f"{end}_from") is not None:
            expected, remove = f"`{end}` or `{end}-from`, not both", "Remove one of the two."
            spot.note(faults.LIMIT_FIELD, f"{end}-from", expected, "both", advice=remove)
    low, high = field.low, field.high
    if low is None or high is None or not finite(low) or not finite(high):
        return
    if low > high:
        spot.note(faults.LIMITS, "low", f"at most {plain(high)}", plain(low))


def judge_group(spot: Spot, group: Group) -> None:
    """Note what is not valid in a group itself, without the entries in it."""
    if group.count > 1 and group.row_size is None:
        spot.note(faults.ROW_SIZE, expected="`row-size`", found=f"{group.count} rows")
    if group.rows and len(group.rows) != group.count:
        spot.note(faults.ROWS, "rows", f"{group.count} names", f"{len(group.rows)}")


def judge_stretch(spot: Spot, area: Reserved | Mirrored) -> None:
    """Note a reserved area or block without any length."""
    if area.length < 1:
        spot.note(faults.LENGTH, "length", "1 byte or more", describe(area.length))


_PARAMETERS = ("width", "poly", "reflect_in", "reflect_out", "xor_out")


def judge_check(spot: Spot, check: Check, memory: int) -> None:
    """Note an unknown method, parameters that do not fit it, and ranges that cannot be."""
    method = check_methods.method_named(check.method)
    if method is None:
        expected, found = "a method of formats/field-layout.md", describe(check.method)
        instead = advice(check.method, tuple(check_methods.METHODS))
        spot.note(faults.CHECK_METHOD, "method", expected, found, advice=instead)
    else:
        _judge_parameters(spot, check, method)
    for index, (first, last) in enumerate(check.over):
        found = f"[{_address(first)}, {_address(last)}]"
        if not 0 <= first <= last < memory:
            expected = f"[first, last] inside 0x0000 to 0x{memory - 1:04X}"
            spot.within("over").note(faults.CHECK_RANGE, index, expected, found)
        elif first < check.at + stored_length(check) and check.at <= last:
            expected = f"a range without 0x{check.at:04X}, where the value is stored"
            spot.within("over").note(faults.CHECK_OVER_ITSELF, index, expected, found)


def _address(value: int) -> str:
    return f"0x{value:04X}" if 0 <= value < 1 << 64 else describe(value)


def _judge_parameters(spot: Spot, check: Check, method: CheckMethod) -> None:
    if method.bits is None:
        _judge_crc(spot, check)
        return
    name = check.method.lower()
    for parameter in _PARAMETERS:
        if getattr(check, parameter) is not None:
            _note_parameter(spot, check, parameter, f"no such key with method {name}")
    if check.init is None:
        return
    if not method.takes_init:
        _note_parameter(spot, check, "init", f"no start value with method {name}")
    elif not 0 <= check.init < 1 << width(check):
        _note_parameter(spot, check, "init", f"0 to 0x{(1 << width(check)) - 1:X}")


def _note_parameter(spot: Spot, check: Check, name: str, expected: str) -> None:
    found = describe(getattr(check, name))
    spot.note(faults.CHECK_PARAMETERS, name.replace("_", "-"), expected, found)


def _judge_crc(spot: Spot, check: Check) -> None:
    for name in ("width", "poly"):
        if getattr(check, name) is None:
            spot.note_missing(name)
    if check.width is None:
        return
    if not 3 <= check.width <= 128:
        _note_parameter(spot, check, "width", "3 to 128 bits")
        return
    most = (1 << check.width) - 1
    for name in ("poly", "init", "xor_out"):
        value = getattr(check, name)
        if value is not None and not 0 <= value <= most:
            _note_parameter(spot, check, name, f"0 to 0x{most:X}, {check.width} bits")
