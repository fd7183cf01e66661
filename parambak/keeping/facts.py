"""Facts told and told again: the causally later wins, two unaware of each other conflict."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.known import Conflict

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from parambak.keeping.bodies import Facts


class _Told(NamedTuple):
    record: str
    value: str | list[str]


class FactBook:
    """What the records of one vessel tell of each entity.

    `after` gives for each record those it knew of. Tell the records in causal
    order; of the entity `id`, `facts` then gives each fact as told last.
    """

    def __init__(self, after: Mapping[str, Iterable[str]]) -> None:
        self._after = after
        self._tips: dict[str, dict[str, list[_Told]]] = {}
        self._earlier: dict[str, dict[str, list[str]]] = {}

    def tell(self, entity: str, facts: Facts, record: str) -> None:
        """Take in what a record tells of an entity."""
        tips = self._tips.setdefault(entity, {})
        for name, value in facts.items():
            standing = tips.get(name, [])
            for told in standing:
                if isinstance(told.value, str) and told.value != value:
                    self._earlier.setdefault(entity, {}).setdefault(name, []).append(told.value)
            unaware = [told for told in standing if not self._knew(record, told.record)]
            tips[name] = [*unaware, _Told(record, value)]

    def texts(self, entity: str) -> dict[str, str]:
        """Return each fact of the entity that is one text."""
        told = {name: tips[-1].value for name, tips in self._tips.get(entity, {}).items()}
        return {name: value for name, value in told.items() if isinstance(value, str) and value}

    def listed(self, entity: str, name: str) -> tuple[str, ...]:
        """Return a fact that is a list of texts, empty where nobody told it."""
        tips = self._tips.get(entity, {}).get(name, [])
        value = tips[-1].value if tips else []
        return (value,) if isinstance(value, str) else tuple(value)

    def earlier(self, entity: str, name: str) -> tuple[str, ...]:
        """Return the values a fact had before, oldest first."""
        return tuple(dict.fromkeys(self._earlier.get(entity, {}).get(name, [])))

    def conflicts(self, entity: str) -> tuple[Conflict, ...]:
        """Return the facts that unaware records tell differently."""
        found = []
        for name, tips in sorted(self._tips.get(entity, {}).items()):
            values = tuple(dict.fromkeys(str(told.value) for told in tips))
            if len(values) > 1:
                found.append(Conflict(name, values))
        return tuple(found)

    def _knew(self, record: str, earlier: str) -> bool:
        seen = {record}
        waiting = [record]
        while waiting:
            for known in self._after.get(waiting.pop(), ()):
                if known == earlier:
                    return True
                if known not in seen:
                    seen.add(known)
                    waiting.append(known)
        return record == earlier
