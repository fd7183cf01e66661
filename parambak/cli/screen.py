"""The page for people: 80 columns, readable without colour and in a pipe."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING

import click
from rich.console import Console
from rich.text import Text

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rich.console import RenderableType

COLUMNS = 80
_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def printable(text: str) -> str:
    """Return the text with control, format and bidirectional characters spelled out."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        f"\\u{{{ord(each):04X}}}" if unicodedata.category(each) in _HIDDEN else each
        for each in text
    )


class Screen:
    """Prints headings, sentences, facts and tables; every text is made printable first."""

    def __init__(self, *, stderr: bool = False) -> None:
        console = Console(stderr=stderr, highlight=False, markup=False, emoji=False, safe_box=True)
        console.width = COLUMNS if not console.is_terminal else max(60, min(console.width, 100))
        self._console = console
        self._stderr = stderr

    def _print(self, shown: RenderableType) -> None:
        """Print without the spaces that pad each line to the full width."""
        with self._console.capture() as captured:
            self._console.print(shown)
        for line in captured.get().splitlines():
            click.echo(line.rstrip(), err=self._stderr)

    def heading(self, text: str) -> None:
        """Print a heading, bold where the terminal can."""
        self._print(Text(printable(text), style="bold"))

    def say(self, text: str = "", *, indent: int = 0, style: str = "") -> None:
        """Print a paragraph, wrapped at words."""
        from rich.padding import Padding  # noqa: PLC0415 - only for what is indented

        line = Text(printable(text), style=style)
        self._print(Padding(line, (0, 0, 0, indent)) if indent else line)

    def points(self, points: Iterable[str]) -> None:
        """Print a list, each point behind a dash."""
        self.facts((("-", point) for point in points), indent=1)

    def facts(self, facts: Iterable[tuple[str, str]], *, indent: int = 2) -> None:
        """Print labels and values in two columns; a long value wraps in its own column."""
        from rich.table import Table  # noqa: PLC0415 - only where facts are shown

        grid = Table.grid(padding=(0, 2 if indent > 1 else 1))
        grid.add_column(no_wrap=True)
        grid.add_column(overflow="fold")
        for label, value in facts:
            grid.add_row(Text(" " * indent + label), Text(printable(value)))
        self._print(grid)

    def table(
        self, headings: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int] = ()
    ) -> None:
        """Print a table; the columns numbered in `right` stand to the right."""
        from rich import box  # noqa: PLC0415 - only where a table is shown
        from rich.table import Table  # noqa: PLC0415 - the same

        table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), show_edge=False, pad_edge=False)
        for number, heading in enumerate(headings):
            table.add_column(
                heading, justify="right" if number in right else "left", overflow="fold"
            )
        for row in rows:
            table.add_row(*(Text(printable(cell)) for cell in row))
        self._print(table)

    def good(self, text: str) -> None:
        """Print the one clear answer where it is yes; colour only goes beside the words."""
        self.say(text, style="bold green")

    def bad(self, text: str) -> None:
        """Print the one clear answer where it is no."""
        self.say(text, style="bold red")

    def mind(self, text: str) -> None:
        """Print the one clear answer where a person has to judge."""
        self.say(text, style="bold yellow")


def address(value: int, width: int = 4) -> str:
    """Return an address in hexadecimal, at least `width` digits wide."""
    return f"0x{value:0{width}X}"


MARKS = {True: "yes", False: "NO", None: "not known"}
"""The words for met, not met and not known."""


def counted(number: int, noun: str) -> str:
    """Return a count with its noun: "1 byte", "2 bytes"."""
    return f"1 {noun}" if number == 1 else f"{number} {noun}s"
