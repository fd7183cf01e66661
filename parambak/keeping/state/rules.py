"""The ship's rules: what a vessel's owner requires before a swap.

Where none are given, `CAREFUL` holds.
"""

from __future__ import annotations

from msgspec import Struct


class Rules(Struct, frozen=True):
    """What is required. A condition not required is still shown.

    `reads` is how many reads made apart must agree; `layout` whether a copy without a
    layout may be verified. `required` are conditions of a swap that are asked for beside
    those of the default rules, `waived` those of it that are not. A verified copy older
    than `verified_months`, or in fewer other locations than `backup_locations`, is due. `title` and
    `source` tell whose rules they are; without a title it is the default rules.
    """

    reads: int = 2
    layout: bool = False
    required: frozenset[str] = frozenset()
    waived: frozenset[str] = frozenset()
    verified_months: int | None = None
    backup_locations: int | None = None
    title: str | None = None
    source: str | None = None

    def requires(self, condition: str, *, by_default: bool) -> bool:
        """Return whether a condition is required, where the default rules says `by_default`."""
        from parambak.keeping.state.conditions import always  # noqa: PLC0415 - for a swap only

        if condition in always():
            return True
        return condition in self.required or (by_default and condition not in self.waived)

    @property
    def said(self) -> tuple[str, ...]:
        """Return what has to be said aloud of the rules: that there are none, or weaker ones."""
        if self.title is None:
            return ("no ship's rules are on record: the default rules hold",)
        if not self.waived:
            return ()
        from parambak.keeping.state.conditions import names  # noqa: PLC0415 - the same

        waived = ", ".join(name for name in names() if name in self.waived)
        return (f"the ship's rules ({self.title}) do not require: {waived}",)


CAREFUL = Rules()
