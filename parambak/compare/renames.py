"""The user's table of renames between two layouts: old name = new name, in TOML.

A name is that of one field, rows and all (`"channel[3].limit" = "input[3].high"`); or without
row numbers, which then means every row (`channel.limit = "input.high"`); or that of a group,
which means all that is in it (`channel = "input"`). `false` in place of a new name says that
the field is left out on purpose.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from parambak.compare.faults import RENAMES_SHAPE, RENAMES_TWICE, RENAMES_UNKNOWN
from parambak.errors import LayoutRefused
from parambak.layouts.mistakes import Ledger, advice, describe
from parambak.layouts.parse import parse

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from parambak.layouts.mistakes import Source

Path = tuple[str, ...]
_ROW = re.compile(r"\[(\d+)\]")


class Renames:
    """New names by old ones; None for a field that is left out on purpose."""

    def __init__(self, table: Mapping[str, str | None], lines: Mapping[str, int]) -> None:
        self._table = table
        self._lines = lines

    def new_name(self, name: str) -> str | None:
        """Return the name in the new layout of the old one's `name`; None where it is left out."""
        key = self._key(name)
        if key is None:
            return name
        new = self._table[key]
        if new is None or key == name:
            return new
        rows = _ROW.findall(name)
        parts = new.split(".") + _ROW.sub("", name).split(".")[len(key.split(".")) :]
        numbered = [f"{part}[{row}]" for part, row in zip(parts[:-1], rows, strict=False)]
        return ".".join([*numbered, *parts[len(numbered) :]])

    def _key(self, name: str) -> str | None:
        """Return the entry that is for `name`: its own, that of all rows, of its groups."""
        if name in self._table:
            return name
        parts = _ROW.sub("", name).split(".")
        keys = (".".join(parts[:count]) for count in range(len(parts), 0, -1))
        return next((key for key in keys if key in self._table), None)

    def paired(self, old: Iterable[str], new: Iterable[str]) -> dict[str, str | None]:
        """Return the new name of each old one that has one, None where it is left out.

        Raise LayoutRefused for an entry that names no field, and where two old fields would
        be one new field.
        """
        before, behind = tuple(old), frozenset(new)
        used: set[str] = set()
        pairs: dict[str, str | None] = {}
        taken: set[str] = set()
        for name in before:
            key = self._key(name)
            wanted = self.new_name(name)
            if key is not None and wanted is not None and wanted not in behind:
                raise self._unknown("new", wanted, sorted(behind), key)
            if wanted in taken:
                raise RENAMES_TWICE.error(
                    line=self._lines.get(key or ""), expected="one each", found=name, key=wanted
                )
            used |= {key} if key is not None else set()
            if wanted is None or wanted in behind:
                pairs[name] = wanted
                taken |= {wanted} if wanted is not None else set()
        for key in self._table:
            if key not in used:
                raise self._unknown("old", key, before, key)
        return pairs

    def _unknown(self, side: str, name: str, known: Iterable[str], key: str) -> Exception:
        return RENAMES_UNKNOWN.error(
            line=self._lines.get(key),
            expected=f"a field of the {side} layout",
            found=describe(name),
            side=side,
            key=describe(name).strip('"'),
            advice=advice(name, tuple(known)),
        )


NONE = Renames({}, {})


def read_renames(data: bytes) -> Renames:
    """Return the table that a TOML text holds; raise LayoutRefused where it is none."""
    ledger = Ledger()
    source = parse(data, None, ledger)
    if source is None:
        first = ledger.mistakes[0]
        raise LayoutRefused(
            first.code,
            first.text,
            line=first.line,
            expected=first.expected,
            found=first.found,
            next=first.next,
        )
    table, lines = {}, {}
    for path, value in _leaves(source):
        key = ".".join(path)
        if value is not False and not isinstance(value, str):
            raise RENAMES_SHAPE.error(
                line=source.line(path),
                expected="text, or false",
                found=describe(value),
                key=describe(key).strip('"'),
            )
        table[key] = value or None
        lines[key] = source.line(path)
    return Renames(table, lines)


def _leaves(source: Source) -> Iterator[tuple[Path, object]]:
    """Yield every key that holds no table, its path from the top."""
    waiting: list[tuple[Path, object]] = [((), source.tree)]
    while waiting:
        path, node = waiting.pop()
        if isinstance(node, dict):
            waiting += [((*path, key), value) for key, value in node.items()]
        else:
            yield path, node
