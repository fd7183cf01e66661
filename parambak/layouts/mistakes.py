"""A mistake in a layout, and the ledger that gathers all of them with their lines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from parambak.layouts.faults import KEY_MISSING
from parambak.layouts.toml_text import lines_of
from parambak.memory.names import nearest
from parambak.memory.printable import printable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.errors import Fault, ParambakError

MOST_MISTAKES = 100
LONGEST_FOUND = 60
Path = tuple[str | int, ...]


class Mistake(NamedTuple):
    """One mistake in a layout.

    `line` counts from 1; `key` is written like `field[3].at`, entries counted from 1;
    `file` is the included file that holds it, None for the layout itself.
    """

    code: str
    text: str
    line: int | None
    key: str | None
    expected: str | None
    found: str | None
    next: str
    file: str | None = None


class Source:
    """One file of a layout: its text, its parsed tree, and which entries were kept.

    `kept` maps the path of a list to the original places of its entries, if entries
    that cannot be read were left out.
    """

    def __init__(self, file: str | None, text: str, tree: dict[str, Any]) -> None:
        self.file = file
        self.text = text
        self.tree = tree
        self.kept: dict[Path, list[int]] = {}
        self._lines: dict[Path, int] | None = None

    def entry(self, path: Path, index: int) -> Path:
        """Return the path, in the file, of the `index`-th kept entry of the list at `path`."""
        kept = self.kept.get(path)
        return (*path, index if kept is None else kept[index])

    def line(self, path: Path) -> int:
        """Return the line of the key at `path`, or of the nearest table around it.

        The first line if the file has no such table.
        """
        if self._lines is None:
            self._lines = lines_of(self.text)
        while path:
            for place in (path, (*path, 0)):  # a list of tables begins with its first
                if place in self._lines:
                    return self._lines[place]
            path = path[:-1]
        return 1

    def where(self, path: Path) -> str:
        """Return a name for the entry that `path` lies in: `field "ramp_up_time"`."""
        node: Any = self.tree
        name_of_entry = "the layout"
        for depth, step in enumerate(path):
            if isinstance(node, dict):
                node = node.get(step)
            elif isinstance(node, list) and isinstance(step, int) and step < len(node):
                node = node[step]
            else:
                break
            if isinstance(node, dict):
                kind = next(part for part in reversed(path[: depth + 1]) if isinstance(part, str))
                name = node.get("name")
                name_of_entry = (
                    f"{kind} {describe(name)}"
                    if isinstance(name, str)
                    else key_text(path[: depth + 1])
                )
        return name_of_entry


def key_text(path: Path) -> str:
    """Return a path as people count: ("field", 2, "at") gives `field[3].at`."""
    text = ""
    for step in path:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{step}"
    return text.removeprefix(".")


def describe(value: object) -> str:
    """Return a short, safe description of any value of a TOML file."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        bits = value.bit_length()
        return str(value) if bits <= 64 else f"a whole number of {bits} bits"
    if isinstance(value, str):
        short = value[:LONGEST_FOUND]
        safe = printable(short)
        return f'"{safe}"' if len(value) <= LONGEST_FOUND else f'"{safe}…"'
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if isinstance(value, dict):
        return "a table"
    return str(value)[:LONGEST_FOUND]


def kind_of(value: object) -> str:
    """Return what kind of TOML value `value` is."""
    names = {bool: "a boolean", int: "a whole number", str: "text", dict: "a table", list: "a list"}
    if type(value).__name__ == "Decimal":
        return "a number with a point"
    return names.get(type(value), "a date or time")


def advice(word: str, names: Sequence[str]) -> str:
    """Return what to write instead of `word`."""
    near = nearest(word, names, most=1)
    if near:
        return f"Did you mean `{near[0]}`?"
    return "Choose one of: " + ", ".join(names[:40]) + (" …" if len(names) > 40 else "") + "."


def _mistake(error: ParambakError, text: str, key: str | None, file: str | None) -> Mistake:
    parts = (error.line, key, error.expected, error.found)
    return Mistake(error.code, text, *parts, error.next or "", file)


class Ledger:
    """All mistakes so far; `mistakes` gives them by file and line."""

    def __init__(self) -> None:
        self._mistakes: list[Mistake] = []

    @property
    def full(self) -> bool:
        """Return whether no more mistakes are noted."""
        return len(self._mistakes) >= MOST_MISTAKES

    def note(
        self,
        fault: Fault,
        source: Source,
        path: Path,
        *,
        expected: str | None = None,
        found: str | None = None,
        **names: object,
    ) -> None:
        """Note a mistake at `path` of `source`; `{where}` and `{key}` are filled in."""
        if self.full:
            return
        keys = [step for step in path if isinstance(step, str)]
        filled = {"where": source.where(path), "key": keys[-1] if keys else "", **names}
        error = fault.error(
            file=None, line=None, offset=None, expected=expected, found=found, **filled
        )
        error.line = source.line(path)
        text = error.text[:1].upper() + error.text[1:]
        self._mistakes.append(_mistake(error, text, key_text(path) or None, source.file))

    def note_refusal(self, error: ParambakError, file: str | None) -> None:
        """Note why a file could not be parsed."""
        self._mistakes.append(_mistake(error, error.text, None, file))

    @property
    def mistakes(self) -> tuple[Mistake, ...]:
        """Return all mistakes, the layout's own first, in the order of their lines."""
        return tuple(
            sorted(
                self._mistakes,
                key=lambda mistake: (mistake.file or "", mistake.line or 0, mistake.key or ""),
            )
        )


class Spot(NamedTuple):
    """An entry of a layout's file, or what is in it, and the ledger of its mistakes."""

    ledger: Ledger
    source: Source
    path: Path = ()

    def within(self, *steps: str | int) -> Spot:
        """Return what is within the entry, by its path from there."""
        return self._replace(path=(*self.path, *steps))

    def entry(self, key: str, index: int) -> Spot:
        """Return the `index`-th kept entry of the list `key`."""
        return self._replace(path=self.source.entry((*self.path, key), index))

    @property
    def where(self) -> str:
        """Return a name for the entry."""
        return self.source.where(self.path)

    def note(
        self,
        fault: Fault,
        step: str | int | None = None,
        expected: str | None = None,
        found: str | None = None,
        **names: object,
    ) -> None:
        """Note what is wrong with the entry, or with one key or number of it."""
        path = self.path if step is None else (*self.path, step)
        self.ledger.note(fault, self.source, path, expected=expected, found=found, **names)

    def note_missing(self, key: str) -> None:
        """Note a key that the entry must have."""
        self.note(KEY_MISSING, expected=f"`{key}`", key=key)
