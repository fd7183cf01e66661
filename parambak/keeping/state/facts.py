"""Facts recorded and corrected: the later wins; two unaware of each other conflict."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, Protocol

from parambak.dumps.limits import MAX_IMAGE
from parambak.keeping.state.unsettled import Conflict

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from parambak.keeping.state.bodies import Facts


_DIGITS = 10
"""Digits of a size on record: more are no size."""


class FactHolder(Protocol):
    """A holder of the facts recorded under one vessel identity."""

    facts: FactHistory


class _Statement(NamedTuple):
    """The value of a fact, and the record that states it."""

    record: str
    value: str | list[str]


class FactHistory:
    """What the records of one vessel state of each entity.

    `after` gives for each record those before it. Add the records in causal order; `current`
    then gives each fact of an entity as stated last.
    """

    def __init__(self, after: Mapping[str, Iterable[str]]) -> None:
        self._after = after
        self._latest: dict[str, dict[str, list[_Statement]]] = {}
        self._earlier: dict[str, dict[str, list[str]]] = {}

    def add(self, entity: str, facts: Facts, record: str) -> None:
        """Take in what a record states of an entity."""
        latest = self._latest.setdefault(entity, {})
        for name, value in facts.items():
            before = latest.get(name, [])
            for old in before:
                if isinstance(old.value, str) and old.value != value:
                    self._earlier.setdefault(entity, {}).setdefault(name, []).append(old.value)
            unaware = [old for old in before if not self._is_after(record, old.record)]
            latest[name] = [*unaware, _Statement(record, value)]

    def __contains__(self, entity: str) -> bool:
        return entity in self._latest

    def current(self, entity: str) -> dict[str, tuple[str, ...]]:
        """Return for each fact that is a text its current values, the one to show first.

        There are several values if records state them unaware of each other.
        """
        current = {}
        for name, statements in self._latest.get(entity, {}).items():
            values = [s.value for s in reversed(statements) if isinstance(s.value, str)]
            if values:
                current[name] = tuple(dict.fromkeys(values))
        return current

    def texts(self, entity: str) -> dict[str, str]:
        """Return each fact of the entity that is one text."""
        return {name: values[0] for name, values in self.current(entity).items() if values[0]}

    def listed(self, entity: str, name: str) -> tuple[str, ...]:
        """Return a fact that is a list of texts: all current ones, empty if none is stated."""
        texts: list[str] = []
        for statement in self._latest.get(entity, {}).get(name, []):
            value = statement.value
            texts += [value] if isinstance(value, str) else value
        return tuple(dict.fromkeys(texts))

    def earlier(self, entity: str, name: str) -> tuple[str, ...]:
        """Return the values a fact had before, oldest first."""
        return tuple(dict.fromkeys(self._earlier.get(entity, {}).get(name, [])))

    def _is_after(self, record: str, earlier: str) -> bool:
        """Return whether a record is after an earlier one, or is that one."""
        seen = {record}
        waiting = [record]
        while waiting:
            for parent in self._after.get(waiting.pop(), ()):
                if parent == earlier:
                    return True
                if parent not in seen:
                    seen.add(parent)
                    waiting.append(parent)
        return record == earlier


def size_in(text: str | None) -> int | None:
    """Return the bytes that a fact states, None if it states none that a chip may have."""
    if text is None or not (text.isascii() and text.isdecimal() and len(text) < _DIGITS):
        return None
    return int(text) if 1 <= int(text) <= MAX_IMAGE else None


def conflicts(current: Mapping[str, tuple[str, ...]], where: str) -> tuple[Conflict, ...]:
    """Return the facts that have more than one current value; case alone is no conflict.

    `where` is what they are about.
    """
    against = []
    for name, values in sorted(current.items()):
        different = {value.casefold(): value for value in reversed(values)}
        if len(different) > 1:
            kept = tuple(v for v in values if v in different.values())
            against.append(Conflict(name, kept, where))
    return tuple(against)


def merged_facts(
    members: Iterable[tuple[FactHolder, str]],
) -> tuple[dict[str, str], dict[str, tuple[str, ...]]]:
    """Return the facts of one thing under its identities, and all current values of each."""
    current: dict[str, tuple[str, ...]] = {}
    for holder, entity in members:
        for name, values in holder.facts.current(entity).items():
            current[name] = tuple(dict.fromkeys((*current.get(name, ()), *values)))
    first = {name: next((v for v in values if v), "") for name, values in current.items()}
    return {name: value for name, value in first.items() if value}, current
