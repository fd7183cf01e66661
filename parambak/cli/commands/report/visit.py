"""`report visit`: the page of one visit."""

from __future__ import annotations

import click

from parambak.answers.report.visit import ReportVisitQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.report_out import written
from parambak.cli.settings import Answer, Settings, pass_settings


@parambak_command("visit", example="parambak report visit grebe --out visit.html")
@click.argument("vessel", metavar="VESSEL")
@click.option("--on", metavar="DATE", help="The visit's first day. Default: the last visit.")
@click.option("--out", metavar="FILE", required=True, help="The HTML file to write.")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
@pass_settings
def command(
    settings: Settings, /, *, vessel: str, on: str | None, out: str, replace: bool
) -> Answer:
    """Write the page of the last visit to VESSEL: differences first."""
    question = ReportVisitQuestion(vessel=vessel, on=on, out=out, replace=replace)
    return settings.ask(answer, question, written)
