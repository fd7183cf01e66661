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
    understood,
)
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import deviations
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.errors import CallRefused
from parambak.keeping.state.conditions import ANSWERS
from parambak.memory.counted import either

HOW = "Each condition is asked once, and each answer is saved at once. An empty line leaves it."

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
        return _asked(settings, where, by)
    return settings.ask(answer, SwapAnswerQuestion(where=where, words=words, by=by), _page)


def _asked(settings: Settings, where: str, by: str) -> Answer:
    """Ask a person at a terminal about each missing condition; each answer is saved at once."""
    asked = to_ask(settings.session, where)
    saved: list[str] = []
    last: Answer | None = None
    click.echo(HOW, err=True)
    try:
        for name, question in asked.items():
            click.echo(f"\n{name}: {question}", err=True)
            given = _one()
            if given is None:
                click.echo("  left as it is", err=True)
                continue
            words = (name, *given)
            try:
                last = settings.ask(
                    answer, SwapAnswerQuestion(where=where, words=words, by=by), _page
                )
            except CallRefused as error:
                click.echo(f"  not saved: {error.text}", err=True)
                continue
            saved.append(name)
            click.echo(f"  saved: {name}, {given[0]}: {given[1]}", err=True)
    except click.Abort:
        click.echo(f"\nSaved before you stopped: {', '.join(saved) or 'no answer'}.", err=True)
        raise
    if last is None:
        why = "none was given" if asked else "no condition that a person answers is missing"
        raise ANSWER_SHAPE.error(expected="an answer", found=why)
    return last


def _one() -> tuple[str, str] | None:
    """Return one answer and its evidence, as a person types it; None if it is left as it is."""
    typed = _prompt("yes, no, not known, not needed, or your answer as a text")
    if not typed:
        return None
    given, text = understood(typed)
    if given is None:
        given, _ = understood(
            _prompt("is the condition met by that? yes, no, not known, not needed")
        )
    else:
        text = text or _prompt("the evidence, or why not")
    return (given, text) if given is not None and text else None


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
