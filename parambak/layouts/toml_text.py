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

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from parambak.errors import Fault

    T = TypeVar("T")

Path = tuple[str | int, ...]

Token = tuple[str, str, int]  # kind, text, line

# Possessive quantifiers: a string of a million characters must not fill the memory.
_TOKEN = re.compile(
    r"""
    (?P<space>[ \t\r]++)
  | (?P<comment>\#[^\n]*+)
  | (?P<newline>\n)
  | (?P<text>\"\"\"(?:[^"\\]++|\\.|"{1,2}(?!"))*+"{3,5}
            |'''(?:[^']++|'{1,2}(?!'))*+'{3,5}
            |"(?:[^"\\\n]++|\\.)*+"
            |'[^'\n]*+')
  | (?P<word>[A-Za-z0-9_+:-]++)
  | (?P<mark>[\[\]{}=,.])
    """,
    re.VERBOSE | re.DOTALL,
)
_END: Token = ("end", "", 0)


def _tokens(text: str) -> Iterator[Token]:
    """Yield every token but spaces and comments."""
    line = 1
    position = 0
    while position < len(text):
        match = _TOKEN.match(text, position)
        if match is None:  # a character that only a date or a bad text has
            position += 1
            continue
        kind = match.lastgroup or ""
        if kind not in {"space", "comment"}:
            yield kind, match.group(), line
        line += match.group().count("\n")
        position = match.end()


class _Scanner:
    def __init__(self, text: str) -> None:
        self.tokens = _tokens(text)
        self.token = next(self.tokens, _END)
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}

    def step(self) -> Token:
        """Return the next token, and go to the one after it."""
        taken = self.token
        self.token = next(self.tokens, _END)
        return taken

    def key(self) -> tuple[tuple[str, ...], int]:
        """Read a dotted key; return its parts and its line."""
        parts: list[str] = []
        line = self.token[2]
        while self.token is not _END:
            kind, text, _ = self.token
            if kind == "text":
                parts.append(text[1:-1])
            elif kind == "word":
                parts.append(text)
            elif text != ".":
                break
            self.step()
        return tuple(parts), line

    def resolved(self, parts: tuple[str, ...]) -> Path:
        """Return a header's path with the current row of each list of tables put in."""
        path: Path = ()
        for part in parts:
            path = (*path, part)
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
        return path

    def header(self) -> Path:
        self.step()
        is_list = self.token[1] == "["
        if is_list:
            self.step()
        parts, line = self.key()
        self.step()
        if is_list:
            self.step()
        if not is_list:
            path = self.resolved(parts)
        else:
            base = (*self.resolved(parts[:-1]), parts[-1])
            self.counts[base] = self.counts.get(base, 0) + 1
            path = (*base, self.counts[base] - 1)
        for depth in range(1, len(path) + 1):
            self.lines.setdefault(path[:depth], line)
        return path

    def value(self, path: Path) -> None:
        """Walk one value: lists and inline tables by a stack, all else skipped.

        The stack holds (path, next entry), the next entry None for an inline table.
        """
        stack: list[tuple[Path, int | None]] = []
        here = path
        while self.token is not _END:
            if self.token[0] == "newline" and not stack:
                return
            kind, text, line = self.step()
            if text in {"[", "{"}:
                self.lines.setdefault(here, line)
                stack.append((here, 0 if text == "[" else None))
                here = (*here, 0) if text == "[" else self.inner_key(here)
            elif text in {"]", "}"}:
                here = stack.pop()[0] if stack else path
            elif text == "," and stack:
                here = self.following(stack)
            elif kind != "newline" and stack and self.lines.get(stack[-1][0]) != line:
                self.lines.setdefault(here, line)

    def following(self, stack: list[tuple[Path, int | None]]) -> Path:
        """Return the path of the entry after a comma."""
        base, entry = stack[-1]
        if entry is None:
            return self.inner_key(base)
        stack[-1] = (base, entry + 1)
        return (*base, entry + 1)

    def inner_key(self, base: Path) -> Path:
        """Read the key of an inline table's entry, up to and with its equals sign."""
        while self.token[0] == "newline":
            self.step()
        if self.token[1] == "}":
            return base
        parts, line = self.key()
        path = (*base, *parts)
        self.lines.setdefault(path, line)
        if self.token[1] == "=":
            self.step()
        return path

    def run(self) -> dict[Path, int]:
        table: Path = ()
        while self.token is not _END:
            kind, text, _ = self.token
            if text == "[":
                table = self.header()
            elif kind in {"word", "text"}:
                parts, line = self.key()
                path = (*table, *parts)
                for depth in range(len(table) + 1, len(path) + 1):
                    self.lines.setdefault(path[:depth], line)
                self.step()
                self.value(path)
            else:
                self.step()
        return self.lines


def lines_of(text: str) -> dict[Path, int]:
    """Return the line, from 1, of each key and table of a valid TOML `text`, by its path.

    Rows of lists are counted from 0: ("field", 2, "at"). An entry of a list on the same line as its
    key is left out, because the key has that line.
    """
    return _Scanner(text).run()


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
    """Return what a TOML file holds; raise `fault` if it is not TOML, or too large."""
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
        message = _AT_LINE.sub("", str(error)).strip()[:200]
        line_or_none = int(place[1]) if place else None
        raise fault.error(
            line=line_or_none, expected="TOML text in UTF-8", found=message
        ) from error


def as_model(
    file: TomlFile, model: type[T], fault: Fault, page: str, intended: Mapping[str, str]
) -> T:
    """Return the file as a model; raise `fault`, whose text takes `{why}`, at its first mistake.

    `page` names the specification that lists the keys; `intended` maps keys that people type
    to the key that the file has.
    """
    try:
        return msgspec.convert(file.tree, model)
    except (msgspec.ValidationError, RecursionError, OverflowError) as error:
        message = str(error)
        path = _path_of(message)
        unknown = _UNKNOWN.search(message)
        why = _PATH.sub("", message).removesuffix(" - at ")
        if unknown:
            path = (*path, unknown[1])
            why = "unknown key" + in_its_place(unknown[1], intended)
        raise mistake(file, path, why, fault, page) from None


def in_its_place(word: str, intended: Mapping[str, str]) -> str:
    """Return what to write in place of `word`, to add to a refusal; empty if not listed."""
    name = intended.get(word.lower().replace("_", "-"))
    return "" if name is None else f"; write `{name}` in its place"


def mistake(file: TomlFile, path: Path, why: str, fault: Fault, page: str) -> Exception:
    """Return the error for the key at `path`."""
    safe = why[:200].replace("{", "(").replace("}", ")")
    name = ".".join(str(step + 1) if isinstance(step, int) else step for step in path)[:100]
    text = f"{name}: {safe}" if name else safe
    return fault.error(why=text, line=file.line(path), expected=f"the keys of {page}", found=safe)


def _path_of(message: str) -> Path:
    """Return the path that a message of the model names, as in `$.measurement[0].low`."""
    match = _PATH.search(message)
    if match is None:
        return ()
    parts = re.findall(r"\.([A-Za-z0-9_-]+)|\[([0-9]+)\]", match[1])
    return tuple(int(row) if row else name for name, row in parts)
