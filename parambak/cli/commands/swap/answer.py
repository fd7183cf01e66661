"""`swap answer`: what a person answers on conditions of an open swap."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from parambak.answers.swap.answer import (
    ANSWER_SHAPE,
    ANSWERABLE,
    SwapAnswerQuestion,
    answer,
    given_answers,
    to_ask,
)
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import deviations
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.state.conditions import ANSWERS
from parambak.memory.counted import either

if TYPE_CHECKING:
    from parambak.answers.swap.answer import SwapAnswerAnswer
    from parambak.cli.screen import Screen


@parambak_command(
    "answer",
    example="parambak swap answer grebe/port-thruster/U12 'permit=yes: permit 14' --by 'J. Doe'",
    answers=either(tuple(ANSWERS)),
    conditions=either(ANSWERABLE),
)
@click.argument("where", metavar="WHERE")
@click.argument("words", metavar="[CONDITION=ANSWER:TEXT…]", nargs=-1)
@click.option("--by", metavar="PERSON", required=True, help="Who states it.")
@pass_settings
def command(settings: Settings, /, *, where: str, words: tuple[str, ...], by: str) -> Answer:
    """Record what a person knows about conditions; the last answer counts.

    ANSWER is {answers}. TEXT is the evidence, or why not. CONDITION is {conditions}.

    One answer can also be three words: CONDITION ANSWER TEXT. Without an answer, a terminal
    shows each missing condition as a question.
    """
    given_answers(words)  # a word that is no answer is refused before any question
    if not words and not settings.json and sys.stdin.isatty():
        words = _asked(settings, where)
    return settings.ask(answer, SwapAnswerQuestion(where=where, words=words, by=by), _page)


def _asked(settings: Settings, where: str) -> tuple[str, ...]:
    """Ask a person at a terminal about each missing condition that a person answers."""
    asked = to_ask(settings.session, where)
    words: list[str] = []
    click.echo("Each condition is asked once. An empty line leaves it as it is.", err=True)
    for name, question in asked.items():
        click.echo(f"{name}: {question}", err=True)
        typed = _prompt(", ".join(ANSWERS)).lower()
        text = _prompt("the evidence, or why not") if typed in ANSWERS else ""
        if not text:
            click.echo("  left as it is", err=True)
        else:
            words.append(f"{name}={typed}:{text}")
    if not words:
        why = "none was given" if asked else "no condition that a person answers is missing"
        raise ANSWER_SHAPE.error(expected="an answer", found=why)
    return tuple(words)


def _prompt(text: str) -> str:
    return str(click.prompt(f"  {text}", default="", show_default=False, err=True)).strip()


def _page(screen: Screen, answered: SwapAnswerAnswer) -> None:
    deviations(screen, answered.accepted)
    for given, text, question in zip(
        answered.answers, answered.texts, answered.questions, strict=True
    ):
        screen.good(
            f"On record for the swap at {answered.where}: {given.condition}, {given.answer}: "
            f"{text}" + (f" (asked: {question})" if question else "")
        )
    if answered.missing:
        screen.say(
            f"Still missing: {', '.join(answered.missing)}. `parambak swap check {answered.where}` "
            "shows why."
        )
    else:
        screen.say(
            f"Nothing is missing. `parambak swap check {answered.where}` shows every condition."
        )
