"""`report swap`: the page of the swap that was opened last at a position."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.report.swap import ReportSwapQuestion
from parambak.cli.command import asks
from parambak.cli.commands.report import written

if TYPE_CHECKING:
    from parambak.answers.report.pages import PageWritten
    from parambak.cli.screen import Screen


@asks(ReportSwapQuestion, example="parambak report swap grebe/port-thruster/U12 --out swap.html")
@click.argument("where", metavar="WHERE")
@click.option("--out", metavar="FILE", required=True, help="The HTML file to write.")
@click.option("--number", type=click.IntRange(min=1), help="Which swap there, counted from 1.")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
def command(screen: Screen, page: PageWritten) -> None:
    """Write the page of the last swap at WHERE, open or ended."""
    written(screen, page)
