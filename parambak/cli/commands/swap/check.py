"""`swap check`: whether the swap may begin."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import click

from parambak.answers import given_files
from parambak.cli import faults, store
from parambak.cli.command import command as parambak_command
from parambak.cli.screen import MARKS
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.assess import Assessor
from parambak.keeping.state import conditions
from parambak.keeping.state.fold import fleet
from parambak.memory.digests import sha256
from parambak.swap import recording
from parambak.swap.readiness import CAUTIONS
from parambak.swap.state import SwapState, accepted_words, notes_on, swap_state, who

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.cli.screen import Screen
    from parambak.swap.readiness import Readiness


class _Accepting(NamedTuple):
    """The words with which a condition that is not met is accepted."""

    condition: str
    confirm: str | None
    by: str | None
    reason: str | None


@parambak_command("check", example="parambak swap check grebe/port-thruster/U12")
@click.argument("where", metavar="WHERE")
@click.option("--new-card", metavar="SHEET", help="The new card's sheet, to compare.")
@click.option(
    "--accept",
    metavar="CONDITION",
    help="Accept this one condition though it is not met; with --by, --reason and --confirm.",
)
@click.option("--confirm", metavar="CONDITION", help="With --accept: the condition, typed again.")
@click.option("--by", metavar="PERSON", help="With --accept: who takes it on.")
@click.option("--reason", metavar="TEXT", help="With --accept: why.")
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    where: str,
    new_card: str | None,
    accept: str | None,
    confirm: str | None,
    by: str | None,
    reason: str | None,
) -> Answer:
    """Say whether the swap of the card at WHERE may begin, and every reason.

    A condition that is accepted stays visible from then on, and the answer is yes only in
    the call that accepted it.
    """
    data, given = given_files.sheet_file(new_card) if new_card is not None else (b"", None)
    if accept is None and (confirm or by or reason):
        raise faults.ACCEPT_ALONE.error(expected="--accept CONDITION", found="no --accept")
    vault = store.open_vault(settings)
    assessor = Assessor(vault, store.chip_table())
    found = swap_state(fleet(vault), assessor, where, given, sheet_file=sha256(data))
    accepted: frozenset[str] = frozenset()
    if accept is not None:
        _accept(found, _Accepting(accept, confirm, by, reason), assessor)
        accepted = frozenset({accept})
        found = swap_state(fleet(vault), assessor, where, given, sheet_file=sha256(data))
    answer = found.readiness(accepted)
    notes = (*found.rules.said, *notes_on(vault, found))
    return Answer(
        _document(found, answer, assessor),
        lambda screen: _page(screen, found, answer, assessor),
        exit_code=0 if answer.ready else 1,
        warnings=(*store.warnings_of(vault), *notes),
    )


def _accept(found: SwapState, words: _Accepting, assessor: Assessor) -> None:
    """Put an accepted deviation on record; raise where it cannot be accepted so."""
    condition = words.condition
    able = [name for name in conditions.names() if name not in conditions.always()]
    if condition not in able:
        raise faults.ACCEPT_CONDITION.error(expected=", ".join(able), found=repr(condition[:40]))
    if words.confirm != condition or not words.by or not words.reason:
        raise faults.ACCEPT_WORDS.error(
            condition=condition,
            expected=f"--confirm {condition} --by NAME --reason TEXT",
            found=f"--confirm {words.confirm}" if words.confirm else "not all of them",
        )
    state = next(c for c in found.readiness().conditions if c.condition == condition)
    if state.met:
        raise faults.ACCEPT_MET.error(condition=condition, expected="one not met", found=state.text)
    recording.accept(
        assessor.vault,
        found.position.where,
        condition=condition,
        text=state.text,
        reason=words.reason,
        by=words.by,
    )


def _document(found: SwapState, answer: Readiness, assessor: Assessor) -> dict[str, Any]:
    return {
        "ready": answer.ready,
        "open": found.swap is not None,
        "copy": found.evidence.copy,
        "conditions": answer.listed,
        "wanting": list(answer.missing),
        "deviations": [
            {
                "condition": each.condition,
                "text": each.text,
                "reason": each.reason,
                "by": who(assessor, each),
                "in_this_call": each.condition in answer.accepted,
            }
            for each in answer.deviations
        ],
        "rules": found.rules.title,
    }


def _page(screen: Screen, found: SwapState, answer: Readiness, assessor: Assessor) -> None:
    screen.heading(f"Swap check for {found.position.where}")
    deviations(screen, accepted_words(assessor, found.swap))
    screen.table(
        ("condition", "met", "required", "why"),
        [
            (
                each.condition,
                MARKS[each.met],
                "yes" if each.condition in answer.required else "no",
                each.text,
            )
            for each in answer.conditions
        ],
    )
    screen.say()
    cautions(screen)
    where = found.position.where
    if found.swap is None:
        screen.say(
            f"No swap is open here. `parambak swap open {where}` opens one: who decides, the "
            "permit and the way back are then asked for, and go on record."
        )
    if answer.ready:
        screen.good("READY, as far as the record goes. Mind every line above.")
        return
    screen.bad(f"NOT READY: {', '.join(answer.missing)}. Do not take the card out yet.")
    if found.swap is not None:
        _next(screen, where, answer)


def _next(screen: Screen, where: str, answer: Readiness) -> None:
    """Say what to do about each condition that is wanting, and what was accepted of them."""
    accepted = {each.condition for each in answer.deviations}
    left = [each for each in answer.missing if each not in accepted]
    told = [each for each in left if each in conditions.answerable()]
    if not left:
        screen.say(
            "All of these were accepted as deviations: the answer stays no, and whoever goes on "
            "does so on the names and reasons above."
        )
        return
    if len(left) < len(answer.missing):
        screen.say(f"Accepted as deviations, and not met: {', '.join(sorted(accepted))}.")
    if told:
        words = " ".join(f"'{each}=yes: TEXT'" for each in told[:2])
        screen.say(
            f"Tell what a person knows, in one call if you like: `parambak swap answer {where} "
            f"{words} --by NAME`."
        )
    screen.say(
        "In an emergency one condition at a time can be accepted, by name and reason: `parambak "
        f"swap check {where} --accept {left[0]} --confirm {left[0]} --by NAME --reason TEXT`."
    )


def deviations(screen: Screen, said: Sequence[str]) -> None:
    """Print what was accepted though not met: first on every page of the swap."""
    if not said:
        return
    screen.mind("ACCEPTED DEVIATIONS in this swap:")
    screen.points(said)
    screen.say()


def cautions(screen: Screen) -> None:
    """Print the cautions that go with every step of a swap."""
    screen.say("Cautions:")
    screen.points(CAUTIONS)
    screen.say()
