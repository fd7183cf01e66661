"""A small TOML file of a user's: read strictly and bounded, and its mistakes given their line.

For limits, rules and sheets. A layout has a reader of its own (parse.py), which gathers all
of its mistakes at once.
"""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import msgspec

from parambak.layouts.positions import lines_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.errors import Fault

    T = TypeVar("T")

Path = tuple[str | int, ...]
MAX_BYTES = 256 * 1024
MAX_LINE = 2000  # bytes; the TOML parser's time grows with the square of a dotted name
_AT_LINE = re.compile(r"\(at line (\d+), column \d+\)")
_PATH = re.compile(r"`\$([^`]*)`")
_UNKNOWN = re.compile(r"unknown field `([^`]*)`")


class TomlFile(NamedTuple):
    """A file's text and what it holds; numbers with a point are exact."""

    text: str
    tree: dict[str, Any]

    def line(self, path: Path) -> int | None:
        """Return the line of the key at `path`, or of the nearest table around it."""
        lines = lines_of(self.text)
        ends = range(len(path), 0, -1)
        return next((lines[path[:end]] for end in ends if path[:end] in lines), None)


def read_toml(
    data: bytes, fault: Fault, *, parse_float: Callable[[str], Any] = Decimal
) -> TomlFile:
    """Return what a TOML file holds; raise `fault` where it is none, or larger than a page."""
    if len(data) > MAX_BYTES:
        raise fault.error(expected=f"at most {MAX_BYTES} bytes", found=f"{len(data)} bytes")
    lengths = [len(line) for line in data.split(b"\n")]
    if max(lengths) > MAX_LINE:
        line = lengths.index(max(lengths)) + 1
        expected, found = f"lines of at most {MAX_LINE} bytes", f"{max(lengths)} bytes"
        raise fault.error(line=line, expected=expected, found=found)
    try:
        text = data.decode("utf-8")
        return TomlFile(text, tomllib.loads(text, parse_float=parse_float))
    except InvalidOperation as error:
        raise fault.error(expected="numbers of a few digits", found="a larger one") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        place = _AT_LINE.search(str(error))
        said = _AT_LINE.sub("", str(error)).strip()[:200]
        line_or_none = int(place[1]) if place else None
        raise fault.error(line=line_or_none, expected="TOML text in UTF-8", found=said) from error


def as_model(file: TomlFile, model: type[T], fault: Fault, page: str) -> T:
    """Return the file as a model; raise `fault`, whose text takes `{why}`, at its first mistake.

    `page` names the specification that lists the keys.
    """
    try:
        return msgspec.convert(file.tree, model)
    except (msgspec.ValidationError, RecursionError, OverflowError) as error:
        said = str(error)
        path = _path_of(said)
        unknown = _UNKNOWN.search(said)
        if unknown:
            path = (*path, unknown[1])
        raise mistake(file, path, _PATH.sub("", said).removesuffix(" - at "), fault, page) from None


def mistake(file: TomlFile, path: Path, why: str, fault: Fault, page: str) -> Exception:
    """Return the error for the key at `path`."""
    safe = why[:200].replace("{", "(").replace("}", ")")
    name = ".".join(str(each + 1) if isinstance(each, int) else each for each in path)[:100]
    text = f"{name}: {safe}" if name else safe
    return fault.error(why=text, line=file.line(path), expected=f"the keys of {page}", found=safe)


def _path_of(message: str) -> Path:
    """Return the path that a message of the model names, as in `$.measurement[0].low`."""
    found = _PATH.search(message)
    if found is None:
        return ()
    parts = re.findall(r"\.([A-Za-z0-9_-]+)|\[([0-9]+)\]", found[1])
    return tuple(int(row) if row else name for name, row in parts)
