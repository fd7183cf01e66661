"""`report copy`: the page of one copy."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.report.copy import ReportCopyQuestion
from parambak.cli.command import asks
from parambak.cli.commands.report import written

if TYPE_CHECKING:
    from parambak.answers.report.pages import PageWritten
    from parambak.cli.screen import Screen


@asks(ReportCopyQuestion, example="parambak report copy grebe/port-thruster/U12 --out U12.html")
@click.argument("copy", metavar="COPY")
@click.option("--out", metavar="FILE", required=True, help="The HTML file to write.")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
def command(screen: Screen, page: PageWritten) -> None:
    """Write the page of COPY: identity, reads, conditions, parameters, SHA-256."""
    written(screen, page)
