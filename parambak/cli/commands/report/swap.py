"""`report swap`: the page of the swap that was opened last at a position."""

from __future__ import annotations

import click

from parambak.answers.report.swap import ReportSwapQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.report_out import written
from parambak.cli.settings import Answer, Settings, pass_settings


@parambak_command("swap", example="parambak report swap grebe/port-thruster/U12 --out swap.html")
@click.argument("where", metavar="WHERE")
@click.option("--out", metavar="FILE", required=True, help="The HTML file to write.")
@click.option("--number", type=click.IntRange(min=1), help="Which swap there, counted from 1.")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
@pass_settings
def command(
    settings: Settings, /, *, where: str, out: str, number: int | None, replace: bool
) -> Answer:
    """Write the page of the last swap at WHERE, open or ended."""
    question = ReportSwapQuestion(where=where, number=number, out=out, replace=replace)
    return settings.ask(answer, question, written)
