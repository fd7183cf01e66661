"""`swap answer`: what a person tells of conditions of an open swap."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from parambak.cli import faults, store
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import deviations
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.assess import Assessor
from parambak.keeping.state.conditions import ANSWERS, answerable, questions
from parambak.keeping.state.fold import fleet
from parambak.memory.counted import either
from parambak.swap import recording
from parambak.swap.recording import GivenAnswer
from parambak.swap.state import accepted_words, notes_on, swap_state
from parambak.swap.swaps import the_open_swap

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.swap.state import SwapState
    from parambak.vault.vault import Vault

ALONE = 3  # words of one answer: CONDITION ANSWER TEXT


@parambak_command(
    "answer",
    example="parambak swap answer grebe/port-thruster/U12 'permit=yes: permit 14' --by 'J. Doe'",
    answers=either(tuple(ANSWERS)),
    conditions=either(answerable()),
)
@click.argument("where", metavar="WHERE")
@click.argument("words", metavar="[CONDITION=ANSWER:TEXT…]", nargs=-1)
@click.option("--by", metavar="PERSON", required=True, help="Who says so.")
@pass_settings
def command(settings: Settings, /, *, where: str, words: tuple[str, ...], by: str) -> Answer:
    """Put on record what a person knows of conditions; the last answer holds.

    ANSWER is {answers}. TEXT is the evidence, or why not. CONDITION is {conditions}. One
    answer can be given as three words too: CONDITION ANSWER TEXT. Without any, on a terminal,
    what `swap check` still wants is asked one by one.
    """
    told = _told(words)
    vault = store.open_vault(settings)
    there = recording.site_of(fleet(vault), where)
    the_open_swap(vault, there.vessel, there.position)
    if not told:
        told = _asked(settings, vault, where)
    recording.answer(vault, where, told, by=by)
    assessor = Assessor(vault, store.chip_table())
    now = swap_state(fleet(vault), assessor, where)
    first = told[0]
    return Answer(
        {
            "where": now.position.where,
            "condition": first.condition,
            "answer": first.answer,
            "answers": [{"condition": each.condition, "answer": each.answer} for each in told],
            "wanting": list(now.readiness().missing),
        },
        lambda screen: _page(screen, now, told, accepted_words(assessor, now.swap)),
        warnings=(*store.warnings_of(vault), *notes_on(vault, now)),
    )


def _told(words: tuple[str, ...]) -> list[GivenAnswer]:
    """Return the answers as typed: three words of one, or each in one word of its own."""
    if len(words) == ALONE and "=" not in words[0]:
        condition, answer, text = words
        return [GivenAnswer(condition, _answer(answer), _text(condition, text))]
    told = []
    for word in words:
        condition, equals, rest = word.partition("=")
        answer, colon, text = rest.partition(":")
        if not equals or not colon:
            raise faults.ANSWER_SHAPE.error(expected="CONDITION=ANSWER:TEXT", found=repr(word[:80]))
        told.append(GivenAnswer(condition.strip(), _answer(answer), _text(condition, text)))
    return told


def _answer(typed: str) -> str:
    answer = typed.strip().lower()
    if answer not in ANSWERS:
        raise faults.ANSWER_SHAPE.error(expected=", ".join(ANSWERS), found=repr(typed[:40]))
    return answer


def _text(condition: str, typed: str) -> str:
    text = typed.strip()
    if not text:
        found = f"no word on {condition[:40]}"
        raise faults.ANSWER_SHAPE.error(expected="the evidence, or why not", found=found)
    return text


def _asked(settings: Settings, vault: Vault, where: str) -> list[GivenAnswer]:
    """Ask one by one what is wanting and a person can tell; only of a person at a terminal."""
    if settings.json or not sys.stdin.isatty():
        raise faults.ANSWER_SHAPE.error(expected="CONDITION=ANSWER:TEXT", found="no answer")
    found = swap_state(fleet(vault), Assessor(vault, store.chip_table()), where)
    asked = [each for each in found.readiness().missing if each in questions()]
    told = []
    click.echo("Each is asked once; an empty line leaves it as it is.", err=True)
    for name in asked:
        click.echo(f"{name}: {questions()[name]}?", err=True)
        typed = _prompt(", ".join(ANSWERS))
        answer = next((each for each in ANSWERS if each == typed.lower()), None)
        text = _prompt("the evidence, or why not") if answer is not None else ""
        if answer is None or not text:
            click.echo("  left as it is", err=True)
        else:
            told.append(GivenAnswer(name, answer, text))
    if not told:
        found_words = "none was given" if asked else "nothing that a person can tell is wanting"
        raise faults.ANSWER_SHAPE.error(expected="an answer", found=found_words)
    return told


def _prompt(text: str) -> str:
    return str(click.prompt(f"  {text}", default="", show_default=False, err=True)).strip()


def _page(
    screen: Screen, now: SwapState, told: list[GivenAnswer], accepted: tuple[str, ...]
) -> None:
    where = now.position.where
    deviations(screen, accepted)
    for each in told:
        asked = questions().get(each.condition)
        screen.good(
            f"On record for the swap at {where}: {each.condition}, {each.answer}: {each.text}"
            + (f" (asked: {asked})" if asked else "")
        )
    wanting = now.readiness().missing
    if wanting:
        screen.say(f"Still wanting: {', '.join(wanting)}. `parambak swap check {where}` says why.")
    else:
        screen.say(f"Nothing is wanting: `parambak swap check {where}` shows it all once more.")
