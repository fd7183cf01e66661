"""Closing lines on the command line: read, written, and held against a vault."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.keeping.state import closing_line, select
from parambak.keeping.state.fold import fleet

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.keeping.state.closing_line import ClosingLine, LineVerdict
    from parambak.keeping.state.model import Fleet, Vessel
    from parambak.vault.vault import Vault


def read_lines(texts: Iterable[str]) -> tuple[ClosingLine, ...]:
    """Return the lines of these texts; raises `closing-line-mistyped`."""
    return tuple(line for text in texts for line in closing_line.read(text))


def line_of(vault: Vault, vessel: Vessel) -> ClosingLine:
    """Return the closing line of a vessel as it stands now."""
    histories = (vault.records(identity) for identity in sorted(vessel.ids))
    return closing_line.line_of(vessel.handle, histories)


def judged(vault: Vault, lines: tuple[ClosingLine, ...]) -> tuple[LineVerdict, ...]:
    """Return what is known of each history that a line closed."""
    if not lines:
        return ()
    known = fleet(vault)
    sizes: dict[str, int] = {}
    seen: list[dict[str, closing_line.LineMatch]] = [{} for _ in lines]
    for identity in vault.vessels():
        stored = vault.records(identity)
        sizes[identity] = len(stored)
        for line, found in zip(lines, seen, strict=True):
            look = closing_line.match_line(line, stored)
            if look.ends:
                found[identity] = look
    verdicts = []
    for line, found in zip(lines, seen, strict=True):
        ids = _identities(known, line, frozenset(found))
        now = sum(sizes.get(identity, 0) for identity in ids)
        verdicts.append(closing_line.judge(line, found.values(), now))
    return tuple(verdicts)


def _identities(known: Fleet, line: ClosingLine, found: frozenset[str]) -> frozenset[str]:
    """Return the identities of the ship that a line is of: by its records, else by its name."""
    ships = [vessel for vessel in known.vessels if vessel.ids & found]
    ships = ships or select.vessels_named(known, line.name)
    return found.union(*(vessel.ids for vessel in ships))
