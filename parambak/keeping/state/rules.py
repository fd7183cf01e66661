"""The ship's rules: what a vessel's owner requires before a swap.

Without any, `CAREFUL` is in force.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Collection


class Rules(Struct, frozen=True):
    """What is required. A condition not required is still shown.

    - `reads`: how many separate reads must agree; `layout`: a verified copy needs a layout.
    - `required` are conditions of a swap that are required as well as those of the default
      rules, `waived` those of the default rules that are not.
    - A verified copy older than `verified_months`, or in fewer backup locations than
      `backup_locations`, is due.
    - `function_tests` are the function tests to pass before a swap is closed: those of one unit,
      by its short name or maker's type, or of every unit (None).
    - `title` and `source` name the owner of the rules; the default rules have none.
    """

    reads: int = 2
    layout: bool = False
    required: frozenset[str] = frozenset()
    waived: frozenset[str] = frozenset()
    verified_months: int | None = None
    backup_locations: int | None = None
    function_tests: tuple[tuple[str | None, tuple[str, ...]], ...] = ()
    title: str | None = None
    source: str | None = None

    def requires(self, condition: str, *, by_default: bool) -> bool:
        """Return whether a condition is required; `by_default`: the default rules require it."""
        from parambak.keeping.state.conditions import always  # noqa: PLC0415 - for a swap only

        if condition in always():
            return True
        return condition in self.required or (by_default and condition not in self.waived)

    def tests_of(self, names: Collection[str]) -> tuple[str, ...]:
        """Return the function tests of the unit with these names."""
        of_unit = {name.casefold() for name in names}
        return tuple(
            test
            for unit, tests in self.function_tests
            if unit is None or unit.casefold() in of_unit
            for test in tests
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """Return what a person must read of the rules: that there are none, or weaker ones."""
        if self.title is None:
            return ("no ship's rules are on record: the default rules are in force",)
        if not self.waived:
            return ()
        from parambak.keeping.state.conditions import names  # noqa: PLC0415 - the same

        waived = ", ".join(name for name in names() if name in self.waived)
        return (f"the ship's rules ({self.title}) do not require: {waived}",)


CAREFUL = Rules()
