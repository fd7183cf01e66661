"""`report visit`: the page of one visit."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.report.visit import ReportVisitQuestion
from parambak.cli.command import asks
from parambak.cli.commands.report import written

if TYPE_CHECKING:
    from parambak.answers.report.pages import PageWritten
    from parambak.cli.screen import Screen


@asks(ReportVisitQuestion, example="parambak report visit grebe --out visit.html")
@click.argument("vessel", metavar="VESSEL")
@click.option("--on", metavar="DATE", help="The visit's first day. Default: the last visit.")
@click.option("--out", metavar="FILE", required=True, help="The HTML file to write.")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
def command(screen: Screen, page: PageWritten) -> None:
    """Write the page of the last visit to VESSEL: differences first."""
    written(screen, page)
