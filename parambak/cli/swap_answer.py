"""`swap answer`: what a person tells of one condition of an open swap."""

from __future__ import annotations

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.swap import acts
from parambak.swap.conditions import QUESTIONS


@parambak_command(
    "answer",
    example="parambak swap answer grebe/port-thruster/U12 permit yes 'permit 14' --by 'J. Doe'",
)
@click.argument("where", metavar="WHERE")
@click.argument("condition", metavar="CONDITION")
@click.argument("told", metavar="ANSWER", type=click.Choice(acts.ANSWERS))
@click.argument("text", metavar="TEXT")
@click.option("--by", metavar="PERSON", required=True, help="Who says so.")
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings, /, *, where: str, condition: str, told: str, text: str, by: str
) -> Answer:
    """Put on record what a person knows of CONDITION; the last answer holds.

    ANSWER is yes, no, not-known or not-needed. TEXT is the evidence, or why not. CONDITION
    is diagnosed, last-read, duplicate-channel, impact, decided, permit, protections,
    way-back, old-card-kept, belongs-to-card or counters.
    """
    vault = store.open_vault(settings)
    position = acts.answer(vault, where, condition=condition, told=told, text=text, by=by)
    asked = QUESTIONS.get(condition)
    return Answer(
        {"where": position.where, "condition": condition, "answer": told},
        lambda screen: screen.good(
            f"On record for the swap at {position.where}: {condition}, {told}: {text}"
            + (f" (asked: {asked})" if asked else "")
        ),
        warnings=store.warnings_of(vault),
    )
