"""On which line of a TOML text each key stands.

The parser of the standard library gives values without lines. This small scanner walks
a text that the parser has already accepted, so it need not judge, only count.
"""

from __future__ import annotations

import re

Path = tuple[str | int, ...]

_TOKEN = re.compile(
    r"""
    (?P<space>[ \t\r]+)
  | (?P<comment>\#[^\n]*)
  | (?P<newline>\n)
  | (?P<text>\"\"\"(?:[^\\]|\\.)*?\"{3,5}|'''.*?'{3,5}|"(?:[^"\\\n]|\\.)*"|'[^'\n]*')
  | (?P<word>[A-Za-z0-9_+:-]+)
  | (?P<mark>[\[\]{}=,.])
    """,
    re.VERBOSE | re.DOTALL,
)


def _tokens(text: str) -> list[tuple[str, str, int]]:
    """Return (kind, text, line) of every token but spaces and comments."""
    found = []
    line = 1
    position = 0
    while position < len(text):
        match = _TOKEN.match(text, position)
        if match is None:  # a character that only a date or a bad text has
            position += 1
            continue
        kind = match.lastgroup or ""
        if kind not in {"space", "comment"}:
            found.append((kind, match.group(), line))
        line += match.group().count("\n")
        position = match.end()
    return found


class _Scanner:
    def __init__(self, text: str) -> None:
        self.tokens = _tokens(text)
        self.index = 0
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}

    def peek(self) -> str:
        return self.tokens[self.index][1] if self.index < len(self.tokens) else ""

    def at_newline(self) -> bool:
        return self.index < len(self.tokens) and self.tokens[self.index][0] == "newline"

    def key(self) -> tuple[tuple[str, ...], int]:
        """Read a dotted key; return its parts and its line."""
        parts: list[str] = []
        line = self.tokens[self.index][2]
        while self.index < len(self.tokens):
            kind, text, _ = self.tokens[self.index]
            if kind == "text":
                parts.append(text[1:-1])
            elif kind == "word":
                parts.append(text)
            elif text != ".":
                break
            self.index += 1
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
        is_list = (
            self.tokens[self.index + 1 : self.index + 2] and self.tokens[self.index + 1][1] == "["
        )
        self.index += 2 if is_list else 1
        parts, line = self.key()
        self.index += 2 if is_list else 1
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
        while self.index < len(self.tokens):
            kind, text, line = self.tokens[self.index]
            if kind == "newline" and not stack:
                return
            self.index += 1
            if text == "[":
                stack.append((here, 0))
                here = (*here, 0)
            elif text == "{":
                stack.append((here, None))
                here = self.inner_key(here)
            elif text in {"]", "}"}:
                here = stack.pop()[0] if stack else path
            elif text == "," and stack:
                base, entry = stack[-1]
                if entry is None:
                    here = self.inner_key(base)
                else:
                    stack[-1] = (base, entry + 1)
                    here = (*base, entry + 1)
            elif kind != "newline":
                self.lines.setdefault(here, line)

    def inner_key(self, base: Path) -> Path:
        """Read the key of an inline table's entry, up to and with its equals sign."""
        while self.at_newline():
            self.index += 1
        if self.peek() == "}":
            return base
        parts, line = self.key()
        path = (*base, *parts)
        self.lines.setdefault(path, line)
        if self.peek() == "=":
            self.index += 1
        return path

    def run(self) -> dict[Path, int]:
        table: Path = ()
        while self.index < len(self.tokens):
            kind, text, _ = self.tokens[self.index]
            if kind == "newline":
                self.index += 1
            elif text == "[":
                table = self.header()
            elif kind in {"word", "text"}:
                parts, line = self.key()
                path = (*table, *parts)
                for depth in range(len(table) + 1, len(path) + 1):
                    self.lines.setdefault(path[:depth], line)
                self.index += 1
                self.value(path)
            else:
                self.index += 1
        return self.lines


def lines_of(text: str) -> dict[Path, int]:
    """Return the line, from 1, of each key and table of a valid TOML `text`, by its path.

    Rows of lists are counted from 0: ("field", 2, "at").
    """
    return _Scanner(text).run()
