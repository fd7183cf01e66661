"""The layout that the values on the screen were read by."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from parambak.answers.decoded import LayoutUsed
    from parambak.cli.screen import Screen


def layout_line(screen: Screen, used: LayoutUsed | None, label: str = "layout") -> None:
    """Print the name of a layout, and of a newer one; nothing without a layout."""
    if used is None:
        return
    on = f", attached on {used.attached_on}" if used.attached_on is not None else ""
    screen.facts([(label, f"{used.name}{on}")], indent=0)
    if used.newer is not None:
        screen.warn(
            f"A newer layout is attached: {used.newer}. To use it, give its file with --layout."
        )
