"""Facts told and told again: the causally later wins, two unaware of each other conflict."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, Protocol

from parambak.keeping.state.known import Conflict

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from parambak.keeping.state.bodies import Facts


class Teller(Protocol):
    """What holds the facts that are told under one vessel identity."""

    facts: FactBook


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

    def __contains__(self, entity: str) -> bool:
        return entity in self._tips

    def standing(self, entity: str) -> dict[str, tuple[str, ...]]:
        """Return for each fact that is a text what stands, the one to show first.

        More than one stands where records told it unaware of each other.
        """
        found = {}
        for name, tips in self._tips.get(entity, {}).items():
            values = [told.value for told in reversed(tips) if isinstance(told.value, str)]
            if values:
                found[name] = tuple(dict.fromkeys(values))
        return found

    def texts(self, entity: str) -> dict[str, str]:
        """Return each fact of the entity that is one text."""
        return {name: values[0] for name, values in self.standing(entity).items() if values[0]}

    def listed(self, entity: str, name: str) -> tuple[str, ...]:
        """Return a fact that is a list of texts: all that stand, empty where nobody told it."""
        found: list[str] = []
        for told in self._tips.get(entity, {}).get(name, []):
            found += [told.value] if isinstance(told.value, str) else told.value
        return tuple(dict.fromkeys(found))

    def earlier(self, entity: str, name: str) -> tuple[str, ...]:
        """Return the values a fact had before, oldest first."""
        return tuple(dict.fromkeys(self._earlier.get(entity, {}).get(name, [])))

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


def conflicts(standing: Mapping[str, tuple[str, ...]]) -> tuple[Conflict, ...]:
    """Return the facts of which more than one value stands; case alone is no conflict."""
    found = []
    for name, values in sorted(standing.items()):
        different = {value.casefold(): value for value in reversed(values)}
        if len(different) > 1:
            found.append(Conflict(name, tuple(v for v in values if v in different.values())))
    return tuple(found)


def told(
    members: Iterable[tuple[Teller, str]],
) -> tuple[dict[str, str], tuple[Conflict, ...]]:
    """Return the facts of one thing under its identities, and those told differently."""
    standing: dict[str, tuple[str, ...]] = {}
    for book, entity in members:
        for name, values in book.facts.standing(entity).items():
            standing[name] = tuple(dict.fromkeys((*standing.get(name, ()), *values)))
    first = {name: next((v for v in values if v), "") for name, values in standing.items()}
    return {name: value for name, value in first.items() if value}, conflicts(standing)
