"""formats/ships-rules.md: its table of conditions, from the conditions themselves."""

from __future__ import annotations

from parambak.keeping.state import conditions

HEAD = "| condition | met when | required |\n|---|---|---|\n"


def table() -> str:
    """Return a row for each condition, in the order of the work."""
    return "".join(
        f"| `{condition.name}` | {condition.met_when} | {condition.required.words} |\n"
        for condition in conditions.CONDITIONS
    )


def page(old: str) -> str:
    """Return the page with its table of conditions as they are now."""
    before, head, behind = old.partition(HEAD)
    rows = behind.partition("\n\n")[0] + "\n"
    return before + head + table() + behind.removeprefix(rows)
