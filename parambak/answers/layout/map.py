"""What of a memory a layout covers, by what, and what it does not."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Part, Question, RangeShown, range_shown
from parambak.answers.given_files import layout_file
from parambak.layouts import coverage

if TYPE_CHECKING:
    from parambak.answers.session import Session


class LayoutMapQuestion(Question["LayoutMapAnswer"], frozen=True):
    """The layout file."""

    file: str


MapEntry = coverage.MapEntry


class MapRow(Part, frozen=True):
    """One line of the picture: its first address, and a character for each cell."""

    start: int
    cells: str


class LayoutMapAnswer(Answer, frozen=True):
    """The entries in address order, the gaps, and the picture with what its characters mean."""

    title: str
    revision: str | None
    covered_bytes: int
    size: int
    gaps: tuple[RangeShown, ...]
    parts: tuple[MapEntry, ...]
    picture: tuple[MapRow, ...]
    bytes_a_cell: int
    legend: dict[str, str]


def answer(session: Session, question: LayoutMapQuestion) -> LayoutMapAnswer:
    """Draw the map; raise LayoutRefused, NotFound or CallRefused."""
    del session
    layout = layout_file(question.file).layout
    rows = coverage.picture(layout)
    return LayoutMapAnswer(
        title=layout.title,
        revision=layout.revision,
        covered_bytes=coverage.covered_bytes(layout),
        size=layout.memory,
        gaps=tuple(map(range_shown, coverage.gaps(layout))),
        parts=coverage.parts(layout),
        picture=tuple(MapRow(row.start, row.cells) for row in rows),
        bytes_a_cell=rows[0].bytes_a_cell,
        legend=dict(coverage.CHARACTERS),
    )
