"""What a person answers on conditions of an open swap."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Part, Question
from parambak.errors import CallRefused, Fault
from parambak.keeping.state.conditions import ANSWERS, answerable, questions
from parambak.swap import recording
from parambak.swap.recording import GivenAnswer
from parambak.swap.state import accepted_words, notes_on, swap_state
from parambak.swap.swaps import the_open_swap

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from parambak.answers.session import Session

ALONE = 3  # words of one answer: CONDITION ANSWER TEXT
ANSWERABLE = answerable()
"""The conditions that a person answers."""
ANSWER_SHAPE = Fault(
    "swap-answer-shape",
    CallRefused,
    "the answer does not have the form that is needed",
    "Give CONDITION=ANSWER:TEXT, as in 'permit=yes: permit 14'; as many as you like in one call.",
)


class SwapAnswerQuestion(Question["SwapAnswerAnswer"], frozen=True):
    """The position, the answers as typed, and the person who gives them.

    Each is CONDITION=ANSWER:TEXT; one answer can be three words, CONDITION, ANSWER and TEXT.
    """

    where: str
    words: tuple[str, ...]
    by: str


class AnswerGiven(Part, frozen=True):
    """One answer: yes, no, not-known or not-needed."""

    condition: str
    answer: str


class SwapAnswerAnswer(Answer, frozen=True):
    """The first answer, all of them, and what is still missing in the swap.

    `texts` are the texts of the answers, and `questions` what is asked, null where nothing is,
    both in their order. `accepted` says in words what was accepted in this swap.
    """

    where: str
    condition: str
    answer: str
    answers: tuple[AnswerGiven, ...]
    texts: tuple[str, ...]
    questions: tuple[str | None, ...]
    missing: tuple[str, ...]
    accepted: tuple[str, ...]


def answer(session: Session, question: SwapAnswerQuestion) -> SwapAnswerAnswer:
    """Put the answers on record, all or none; raise CallRefused or NotFound."""
    given = given_answers(question.words)
    require_open(session, question.where)
    if not given:
        raise ANSWER_SHAPE.error(expected="CONDITION=ANSWER:TEXT", found="no answer")
    recording.answer(session.vault, question.where, given, by=question.by)
    state = swap_state(session.fleet(), session.assessor, question.where)
    session.note(*notes_on(session.vault, state))
    asked = questions()
    return SwapAnswerAnswer(
        where=state.position.where,
        condition=given[0].condition,
        answer=given[0].answer,
        answers=tuple(AnswerGiven(one.condition, one.answer) for one in given),
        texts=tuple(one.text for one in given),
        questions=tuple(asked.get(one.condition) for one in given),
        missing=state.readiness().missing,
        accepted=accepted_words(session.assessor, state.swap),
    )


def require_open(session: Session, where: str) -> None:
    """Raise NotFound where no swap is open."""
    there = recording.site_of(session.fleet(), where)
    the_open_swap(session.vault, there.vessel, there.position)


def to_ask(session: Session, where: str) -> dict[str, str]:
    """Return what a person at a terminal is asked one by one, by the condition's name.

    It is asked if the condition is missing. Raise NotFound where no swap is open.
    """
    require_open(session, where)
    missing = swap_state(session.fleet(), session.assessor, where).readiness().missing
    asked = questions()
    return {name: asked[name] for name in missing if name in asked}


SPOKEN: Mapping[str, str] = {
    **{answer: answer for answer in ANSWERS},
    "y": "yes",
    "n": "no",
    **dict.fromkeys(("not known", "unknown", "?"), "not-known"),
    **dict.fromkeys(("not needed", "n/a", "na", "not applicable"), "not-needed"),
}
"""What a person types for an answer, and the answer."""
_MARK = re.compile(r"\s*[:,;.]\s*")


def understood(typed: str) -> tuple[str | None, str]:
    """Return the answer and the text in what a person typed at a terminal.

    "yes", "n" and "not known" are answers; so is what goes before a colon, comma, semicolon or
    full stop: "no: nobody to sign". Any other text is the evidence alone: it is not guessed what
    it answers.
    """
    text = " ".join(typed.split())
    first, rest = text, ""
    if text.casefold().rstrip(".,;:") not in SPOKEN and (mark := _MARK.search(text)) is not None:
        first, rest = text[: mark.start()], text[mark.end() :]
    answer = SPOKEN.get(first.casefold().rstrip(".,;:"))
    return (answer, rest) if answer is not None else (None, text)


def given_answers(words: tuple[str, ...]) -> list[GivenAnswer]:
    """Return the answers as typed: three words of one, or each in one word of its own."""
    if len(words) == ALONE and "=" not in words[0]:
        condition, given, text = words
        return [GivenAnswer(condition, _answer(given), _text(condition, text))]
    return list(_each(words))


def _each(words: Iterable[str]) -> Iterable[GivenAnswer]:
    for word in words:
        condition, equals, rest = word.partition("=")
        given, colon, text = rest.partition(":")
        if not equals or not colon:
            raise ANSWER_SHAPE.error(expected="CONDITION=ANSWER:TEXT", found=repr(word[:80]))
        yield GivenAnswer(condition.strip(), _answer(given), _text(condition, text))


def _answer(typed: str) -> str:
    given = typed.strip().lower()
    if given not in ANSWERS:
        raise ANSWER_SHAPE.error(expected=", ".join(ANSWERS), found=repr(typed[:40]))
    return given


def _text(condition: str, typed: str) -> str:
    text = typed.strip()
    if not text:
        found = f"no text for {condition[:40]}"
        raise ANSWER_SHAPE.error(expected="the evidence, or why not", found=found)
    return text
