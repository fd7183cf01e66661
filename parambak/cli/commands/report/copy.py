"""`report copy`: the page of one copy."""

from __future__ import annotations

import click

from parambak.answers.report.copy import ReportCopyQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.report_out import written
from parambak.cli.settings import Answer, Settings, pass_settings


@parambak_command("copy", example="parambak report copy grebe/port-thruster/U12 --out U12.html")
@click.argument("copy", metavar="COPY")
@click.option("--out", metavar="FILE", required=True, help="The HTML file to write.")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
@pass_settings
def command(settings: Settings, /, *, copy: str, out: str, replace: bool) -> Answer:
    """Write the page of COPY: identity, reads, conditions, parameters, SHA-256."""
    question = ReportCopyQuestion(copy=copy, out=out, replace=replace)
    return settings.ask(answer, question, written)
