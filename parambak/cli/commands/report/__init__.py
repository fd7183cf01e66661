"""The commands of `report`, and what they print: where the page is that was written."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from parambak.answers.report.pages import PageWritten
    from parambak.cli.screen import Screen


def written(screen: Screen, page: PageWritten) -> None:
    """Print where the page is."""
    screen.good(f"Written: {page.file}. Open it in a browser; it prints on A4.")
