"""What to write in place of a line that is not TOML, of an unknown key, or of a wrong value.

Those who write layouts know controllers, not TOML. The parser names what stopped it; these
sentences name the typing mistake, if the line shows it.
"""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal
from types import MappingProxyType
from typing import TYPE_CHECKING

from parambak.layouts.mistakes import advice
from parambak.memory.names import nearest

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

LONGEST_LINE = 400  # a longer one was not written by hand
_PAGE = "formats/writing-a-layout.md shows how to write each part."
_ELSE = "Correct the line; " + _PAGE

_QUOTED = re.compile(r'"[^"]*"' + "|'[^']*'")
_VALUE = re.compile(r"^[\w-]+\s*=\s*(?P<value>.*)$")
_HEX = re.compile(r"^(?:\$[0-9A-Fa-f]{1,8}|[0-9][0-9A-Fa-f]{0,7}[hH]?)$")
_NUMBER = re.compile(r"^-?(?:0x[0-9A-Fa-f]+|[0-9]+(?:\.[0-9]+)?)$")
_HEX_INSIDE = re.compile(
    r"[\[,]\s*(?:\$[0-9A-Fa-f]+|0[0-9A-Fa-f]+|[0-9]+[A-Fa-f][0-9A-Fa-f]*)[hH]?\s*[,\]]"
)
_ADDRESS = re.compile(
    r"^(?:at|length|memory|row-size|mirror-at)\s*=\s*[0-9A-Fa-f]{1,8}[hH]?\s*(?:#.*)?$"
)
# Of the whole line without its texts. The first that fits counts.
_LINES = (
    (
        re.compile("[\u2018\u2019\u201a\u201c\u201d\u201e\u00ab\u00bb]"),
        'Write straight quotes, "…", not the curved quotes of a word processor.',
    ),
    (re.compile(r"^[\w-]+\s*:"), "Write = between a name and its value, not a colon."),
    (re.compile('^[^#]*"'), "Close the quotes in the line where they begin."),
)
# Of the value after the equals sign, without its texts. The first that fits counts.
_ADVICES = (
    (re.compile(r"^(?:true|yes|on)$", re.IGNORECASE), "Write true, in small letters."),
    (re.compile(r"^(?:false|no|off)$", re.IGNORECASE), "Write false, in small letters."),
    (re.compile(r"^-?[0-9]+,[0-9]+$"), "Write a point in a number, not a comma: 0.1."),
    (re.compile(r"^-?\.[0-9]+$"), "Write a digit before the point: 0.1."),
    (re.compile(r"^.*(?://|;)"), "Write a comment after a #."),
    (
        re.compile(r"^-?[0-9][0-9.,]*\s*[^\W\d_][^{}\[\]]*$"),
        'Write the number alone. Write the unit on a separate line: unit = "s".',
    ),
    (
        _HEX_INSIDE,
        "Begin a hexadecimal number with 0x, and a decimal number without 0: [[0x0040, 0x007D]].",
    ),
    (
        re.compile(r"^\{.*=\s*[^\W\d]"),
        'Write text in quotes: { 0 = "local", 1 = "remote" }.',
    ),
    (
        re.compile(r"^\{"),
        'Write it on one line, with a comma between the entries: { 0 = "local", 1 = "remote" }.',
    ),
    (re.compile(r"^[^\W\d]|^[°%]"), 'Write text in quotes: "…".'),
)

_FOREIGN_TYPES: Mapping[str, str] = MappingProxyType(
    {
        "byte": "u8",
        "word": "u16",
        "uint": "u16",
        "dword": "u32",
        "long": "s32",
        "ulong": "u32",
        "short": "s16",
        "int": "s16",
        "integer": "s16",
        "float": "f32",
        "real": "f32",
        "double": "f64",
        "string": "text",
        "str": "text",
        "char": "text",
        "ascii": "text",
        "bool": "flag",
        "boolean": "flag",
        "bit": "flag",
        "date": "date-time",
        "time": "date-time",
        "hex": "bytes",
        "raw": "bytes",
    }
)
# What people type for a key, and the keys that they intend: the first that the table has.
_INTENDED_KEYS: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("address", "addr", "start", "location", "pos", "position"), "at"),
        **dict.fromkeys(("size", "len", "bytes", "length"), "length row-size memory"),
        **dict.fromkeys(("step", "stride", "pitch", "row-length"), "row-size"),
        **dict.fromkeys(("gain", "factor", "multiplier", "resolution", "slope"), "scale"),
        **dict.fromkeys(("bias", "add", "zero", "intercept"), "offset"),
        **dict.fromkeys(("min", "minimum", "lowest"), "low"),
        **dict.fromkeys(("max", "maximum", "highest"), "high"),
        **dict.fromkeys(("meaning", "meanings", "enum", "choices"), "values"),
        **dict.fromkeys(("names", "labels"), "values rows"),
        **dict.fromkeys(("endian", "endianness", "order"), "byte-order"),
        **dict.fromkeys(("points", "lookup", "interpolation"), "curve"),
        **dict.fromkeys(("kept-twice", "also-at", "duplicate-at", "mirror"), "mirror-at mirrored"),
        **dict.fromkeys(("duplicate", "copy", "backup"), "mirror-at mirrored"),
        **dict.fromkeys(("table", "array", "groups"), "curve group"),
        **dict.fromkeys(("expected-to-change", "counter"), "running"),
        "live": "volatile",
        **dict.fromkeys(("algorithm", "kind", "type"), "method type"),
        **dict.fromkeys(("crc", "checksum"), "method check"),
        **dict.fromkeys(("range", "ranges", "covers"), "over low"),
        **dict.fromkeys(("polynomial", "generator"), "poly"),
        **dict.fromkeys(("seed", "initial"), "init"),
        **dict.fromkeys(("final-xor", "xorout"), "xor-out"),
        **dict.fromkeys(("comment", "description", "remark", "comments"), "note"),
        **dict.fromkeys(("label", "id", "parameter", "name"), "name title"),
        **dict.fromkeys(("repeat", "number", "times"), "count"),
        **dict.fromkeys(("bits", "bit-count"), "width"),
        **dict.fromkeys(("digits", "precision"), "decimals"),
        **dict.fromkeys(("charset", "codepage"), "encoding"),
        **dict.fromkeys(("erased", "fill"), "blank padding"),
        **dict.fromkeys(("unused", "spare", "gap"), "reserved"),
        **dict.fromkeys(("head", "header"), "layout"),
        "version": "revision",
    }
)
_INTENDED_ORDERS: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("be", "msb", "msb-first", "motorola"), "big"),
        **dict.fromkeys(("le", "lsb", "lsb-first", "intel"), "little"),
    }
)
_SIZED = re.compile(r"^(?P<kind>u|i|s|uint|int|sint|float|real)_?(?P<bits>8|16|24|32|64)(_t)?$")


def syntax_advice(line: str) -> str:
    """Return what to write in place of `line`, which the TOML parser did not accept."""
    line = line.strip()
    if len(line) > LONGEST_LINE:
        return _ELSE
    if _is_toml(line):
        return "This line is correct. Close the brackets that a line above it opens."
    bare = _QUOTED.sub("~", line)  # a user's text is not searched for mistakes
    text = next((text for pattern, text in _LINES if pattern.search(bare)), None)
    if text is not None:
        return text
    if _ADDRESS.match(bare):
        return _hexadecimal(bare.split("=")[1].split("#")[0])
    match = _VALUE.match(bare)
    return _ELSE if match is None else _value_advice(match["value"].split("#")[0].strip())


def _is_toml(line: str) -> bool:
    try:
        tomllib.loads(line)
    except (ValueError, RecursionError):
        return False
    return True


def _value_advice(value: str) -> str:
    if _HEX.match(value):
        return _hexadecimal(value)
    fitting = (text for pattern, text in _ADVICES if pattern.search(value))
    return next(fitting, _ELSE)


def _hexadecimal(value: str) -> str:
    digits = value.strip(" \t$hH").lstrip("0") or "0"
    text = f"Begin a hexadecimal number with 0x: 0x{digits.upper().zfill(4)}"
    return text + (f". Write a decimal number without 0: {digits}." if digits.isdecimal() else ".")


def kind_advice(expected: str, value: object) -> str:
    """Return what to write in place of `value`, which is not of the kind `expected`."""
    if isinstance(value, str):
        return _text_advice(expected, value)
    if expected == "text" and isinstance(value, int | float | Decimal):
        return "Write the value in quotes."
    if expected == "a list of 2" and isinstance(value, int):
        return "Write two numbers in brackets, and brackets around all pairs: [[1, 2]]."
    if expected == "a list of 2" and isinstance(value, list) and len(value) > 2:
        return "Write two numbers with a comma between. Write a point in a number, not a comma."
    if expected.startswith("tables, "):
        return "Write the name of the table in double brackets."
    return "Write a value of the kind that is expected."


def _text_advice(expected: str, text: str) -> str:
    """Return what to write in place of `text` if no text is expected."""
    if expected == "true or false":
        return "Write true or false, without quotes."
    if expected not in {"a whole number", "a number"}:
        return "Write a value of the kind that is expected."
    if _NUMBER.match(text.strip()):
        return "Remove the quotes: they make the number a text."
    if re.match(r"^[0-9A-Fa-f]{1,8}$", text.strip()):
        return "Remove the quotes, and write 0x before a hexadecimal number."
    return "Write the number alone, without quotes and without a unit."


def key_advice(key: str, keys: Sequence[str]) -> str:
    """Return which of `keys`, those of its table, to write in place of `key`."""
    plain = key.strip().lower().replace("_", "-").replace(" ", "-")
    intended = [name for name in _INTENDED_KEYS.get(plain, "").split() if name in keys]
    if plain in keys:
        intended = [plain]
    return f"Write `{intended[0]}` in its place." if intended else advice(key, keys)


def word_advice(word: str, words: Sequence[str]) -> str:
    """Return which of `words` to write in place of `word`, a type of another language included."""
    order = _INTENDED_ORDERS.get(word.strip().lower())
    if order in words:
        near = [str(order)]
    else:
        near = _type_words(word, words) if "u8" in words else nearest(word, words, most=1)
    if near:
        return f"Did you mean `{near[0]}`?"
    return "Choose one of those words; formats/field-layout.md explains each."


def _type_words(word: str, words: Sequence[str]) -> list[str]:
    lower = word.strip().lower().removeprefix("unsigned ").removeprefix("signed ")
    sized = _SIZED.match(lower)
    if sized is not None:
        kind = {"u": "u", "f": "f", "r": "f"}.get(sized["kind"][0], "s")
        lower = kind + sized["bits"]
    if lower in words:
        return [lower]
    foreign = _FOREIGN_TYPES.get(lower)
    return [foreign] if foreign else nearest(word, words, most=1)
