"""The page for people: 80 columns, readable without colour and in a pipe.

Sentences and facts need only the standard library and click. Only tables load rich, which
is slow to import.
"""

from __future__ import annotations

import sys
import textwrap
from typing import TYPE_CHECKING

import click

from parambak.memory.printable import printable

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = ["MARKS", "Screen"]

COLUMNS = 80
NARROWEST, WIDEST = 60, 100

MARKS = {True: "yes", False: "NO", None: "not known"}
"""The words for met, not met and not known."""


def _terminal_columns() -> int:
    import shutil  # noqa: PLC0415 - asked of a terminal alone

    return max(NARROWEST, min(shutil.get_terminal_size().columns, WIDEST))


class Screen:
    """Prints headings, sentences, facts and tables; every text is made printable first."""

    def __init__(self, *, stderr: bool = False) -> None:
        self._stderr = stderr
        stream = sys.stderr if stderr else sys.stdout
        # A program started without a console has no such stream at all.
        terminal = stream is not None and stream.isatty()
        self._columns = _terminal_columns() if terminal else COLUMNS

    def heading(self, text: str) -> None:
        """Print a heading, bold if the terminal can."""
        self._wrapped(text, "", "", bold=True)

    def say(self, text: str = "", *, indent: int = 0) -> None:
        """Print a paragraph, wrapped at words."""
        self._wrapped(text, " " * indent, " " * indent)

    def good(self, text: str) -> None:
        """Print the one clear answer if it is yes; colour is never the only sign."""
        self._wrapped(text, "", "", bold=True, colour="green")

    def bad(self, text: str) -> None:
        """Print the one clear answer if it is no."""
        self._wrapped(text, "", "", bold=True, colour="red")

    def warn(self, text: str) -> None:
        """Print the one clear answer that a person has to judge."""
        self._wrapped(text, "", "", bold=True, colour="yellow")

    def points(self, points: Iterable[str]) -> None:
        """Print a list, each point behind a dash."""
        for point in points:
            self._wrapped(point, " - ", "   ")

    def facts(self, facts: Iterable[tuple[str, str]], *, indent: int = 2) -> None:
        """Print labels and values in two columns; a long value wraps in its own column."""
        shown = [(printable(label), value) for label, value in facts]
        width = indent + max((len(label) for label, _ in shown), default=0) + 2
        for label, value in shown:
            begin = f"{' ' * indent}{label}".ljust(width)
            self._wrapped(value, begin, " " * width)

    def lines(self, lines: Iterable[str]) -> None:
        """Print lines unchanged; they fit the columns already."""
        for line in lines:
            click.echo(printable(line), err=self._stderr)

    def table(
        self, headings: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int] = ()
    ) -> None:
        """Print a table; the columns numbered in `right` are aligned right."""
        from parambak.cli.tables import table_lines  # noqa: PLC0415 - rich is slow to import

        safe = [[printable(cell) for cell in row] for row in rows]
        for line in table_lines(headings, safe, right, self._columns):
            click.echo(line, err=self._stderr)

    def _wrapped(
        self, text: str, begin: str, later: str, *, bold: bool = False, colour: str | None = None
    ) -> None:
        lines = textwrap.wrap(
            printable(text),
            self._columns,
            initial_indent=begin,
            subsequent_indent=later,
            break_on_hyphens=False,
        )
        for line in lines or [begin.rstrip()]:
            styled = click.style(line, bold=bold, fg=colour) if bold else line
            click.echo(styled, err=self._stderr)
