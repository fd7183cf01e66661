"""The conditions of a swap: one record each, from which every list of them derives.

The ship's rules, `swap check`, `swap answer`, the page of a swap and `formats/ships-rules.md`
take their names, their order and their words from `CONDITIONS`. Pure: evidence in, answers out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.state import closing
from parambak.keeping.state.model import Condition
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import date

    from parambak.keeping.state.closing import Closing
    from parambak.layouts.decode import Decoded

MOST_NAMED = 12  # values in a sentence
# What a person may answer, and whether the condition is met by it.
ANSWERS: Mapping[str, bool | None] = {
    "yes": True,
    "no": False,
    "not-known": None,
    "not-needed": True,
}
NOT_EXAMINED = Condition.unknown("records-complete", "the records were not examined")
SELECTED_LOST = (
    "the copy that was selected in this swap is no longer on record here; select one with "
    "`swap select`"
)


class PersonsAnswer(NamedTuple):
    """A person's answer on a condition: one of `ANSWERS`, the evidence, and who, when."""

    answer: str
    text: str
    who: str


class SheetEntry(NamedTuple):
    """One entry of two card sheets: `same` is None if one of them does not state it."""

    name: str
    unit: str
    card: str
    same: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SwapEvidence:
    """All that the conditions of a swap rest on.

    - `copy` and `verdict` are None if the position has no copy. With `selected_lost`, the
      selected copy is no longer this position's. `verdict` are the conditions of a verified copy.
    - `older` is the reason why the copy is not the newest; `decoded` is None without a layout.
    - `sheet`: the unit's card sheet is on record. `entries` is None without a new card's sheet;
      with `own_sheet` that sheet is the very file of the unit's.
    - `supply-voltages` is what was measured. `held` are the backup locations that held the copy:
      name,
      day, and whether the bytes were hashed there.
    - `answers` are the persons' answers by condition, None if no swap is open; `read_since` is
      the day of a read since the opening.
    - `records` is whether every record about the vessel is there, and none in conflict.
    - `closing` is None if no swap is open.
    """

    copy: str | None
    verdict: Sequence[Condition] | None
    decoded: Decoded | None = None
    sheet: bool = False
    entries: Sequence[SheetEntry] | None = None
    older: str | None = None
    supplies: tuple[bool | None, str] = (None, "no supply voltage was measured")
    held: Sequence[tuple[str, date, bool]] = ()
    answers: Mapping[str, PersonsAnswer] | None = None
    read_since: str | None = None
    selected_lost: bool = False
    own_sheet: bool = False
    records: Condition = NOT_EXAMINED
    closing: Closing | None = None


class Requirement(NamedTuple):
    """When the default rules require a condition, in the page's words and as a test.

    If not `waivable`, no ship's rules can do without it, and no person can accept it unmet.
    """

    words: str
    by_default: Callable[[SwapEvidence], bool]
    waivable: bool = True


class SwapCondition(NamedTuple):
    """One condition of a swap.

    `met_when` are the words of `formats/ships-rules.md`. `work_out` gives its state from its
    name and the evidence. `question` is what a person is asked, None if nobody is asked;
    `answerable`: a person's answer is taken, asked or not. `remedy` is what to do if it is not
    met, for a condition that no person answers. `to_close`: it is required to close the swap, and
    not before.
    """

    name: str
    met_when: str
    required: Requirement
    work_out: Callable[[str, SwapEvidence], Condition]
    question: str | None = None
    answerable: bool = False
    remedy: str = ""
    to_close: bool = False

    def state(self, evidence: SwapEvidence) -> Condition:
        """Return whether it is met, and why."""
        return self.work_out(self.name, evidence)


def _answered(name: str, evidence: SwapEvidence) -> Condition | None:
    """Return a person's answer, None if nobody answered."""
    given = (evidence.answers or {}).get(name)
    if given is None:
        return None
    words = {"not-needed": "not needed: ", "not-known": "not known: "}
    text = f"{words.get(given.answer, '')}{given.text} ({given.who})"
    return Condition(name, ANSWERS.get(given.answer), text)


def _by_a_person(question: str, name: str, evidence: SwapEvidence) -> Condition:
    """Return a condition that only a person can answer."""
    return _answered(name, evidence) or Condition.unknown(name, f"not answered: {question}")


def _final_read(question: str, name: str, evidence: SwapEvidence) -> Condition:
    if evidence.read_since is not None and name not in (evidence.answers or {}):
        return Condition.yes(name, f"read on {evidence.read_since}, with the swap open")
    return _by_a_person(question, name, evidence)


def _supplies(name: str, evidence: SwapEvidence) -> Condition:
    return Condition(name, *evidence.supplies)


def _copy(name: str, evidence: SwapEvidence) -> Condition:
    if evidence.selected_lost:
        return Condition.no(name, SELECTED_LOST)
    if evidence.copy is None:
        return Condition.no(name, "no copy of this position is in the vault")
    return Condition.yes(name, evidence.copy)


def _of_the_copy(name: str, evidence: SwapEvidence) -> Condition:
    """Return a condition of a verified copy, as it was judged."""
    if evidence.verdict is None:
        return Condition.unknown(name, "there is no copy to judge")
    return next(judged for judged in evidence.verdict if judged.condition == name)


def _copy_selected(name: str, evidence: SwapEvidence) -> Condition:
    if evidence.copy is None:
        return Condition.unknown(name, "there is no copy")
    if evidence.older is not None:
        return Condition.yes(name, f"an older copy, {evidence.copy}: {evidence.older}")
    return Condition.yes(name, f"the newest copy, {evidence.copy}")


def _second_location(name: str, evidence: SwapEvidence) -> Condition:
    shown = [f"{location} ({day})" for location, day, hashed in evidence.held if hashed]
    if shown:
        return Condition.yes(name, f"every byte was checked in backup location {', '.join(shown)}")
    if evidence.held:
        listed = ", ".join(f"{location} ({day})" for location, day, _ in evidence.held)
        return Condition.unknown(name, f"sent to {listed}, and not checked there")
    return Condition.unknown(
        name, "no backup location is recorded as holding it; send it with `backup send`"
    )


def _within_limits(name: str, evidence: SwapEvidence) -> Condition:
    if evidence.decoded is None:
        return Condition.unknown(name, "no layout: the values cannot be decoded")
    fields = evidence.decoded.fields
    outside = [field for field in fields if field.within_limits is False]
    if outside:
        words = [f"{field.field} is {field.value} {field.unit or ''}".strip() for field in outside]
        return Condition.no(name, "outside its limits: " + "; ".join(words))
    limited = sum(1 for field in fields if field.within_limits is not None)
    return Condition.yes(name, f"{counted(limited, 'value')} with limits, all inside")


def _card_sheet(name: str, evidence: SwapEvidence) -> Condition:
    if evidence.sheet:
        return Condition.yes(name, "the unit's card sheet is on record")
    return Condition.unknown(
        name,
        "no card sheet (what the unit's card carries) is on record; record it with `card record`",
    )


def _nothing_compared(evidence: SwapEvidence) -> str | None:
    """Return why no two sheets were compared, None if they were."""
    if evidence.own_sheet and evidence.entries is not None:
        return "the given sheet is the same file as the unit's: give the new card's own sheet"
    return None if evidence.sheet else "there is nothing to compare the new card's sheet with"


def _new_card(name: str, evidence: SwapEvidence) -> Condition:
    if evidence.entries is None:
        return Condition.unknown(name, "no sheet of the new card was given (--new-card)")
    nothing = _nothing_compared(evidence)
    if nothing is not None:
        return Condition.unknown(name, nothing)
    entries = evidence.entries
    differing = [f"{e.name}: needs {e.unit}, has {e.card}" for e in entries if e.same is False]
    if differing:
        return Condition.no(name, "; ".join(differing) + "; `card compare` explains each")
    if not entries:
        return Condition.unknown(name, "neither sheet states anything")
    unstated = [entry.name for entry in entries if entry.same is None]
    if unstated:
        return Condition.unknown(name, f"not stated on both sheets: {', '.join(unstated)}")
    return Condition.yes(name, f"{counted(len(entries), 'entry', 'entries')}, all the same")


def _belongs_to_card(name: str, evidence: SwapEvidence) -> Condition:
    answered = _answered(name, evidence)
    if answered is not None:
        return answered
    if evidence.decoded is None:
        return Condition.unknown(name, "no layout: the fields of the card itself are not recorded")
    fields = [field.field for field in evidence.decoded.fields if field.belongs_to_card]
    if not fields:
        return Condition.yes(name, "no field is declared to belong to the card itself")
    listed = ", ".join(fields)
    return Condition.unknown(
        name,
        "these values belong to the old card itself. Before you answer yes, compare them with the "
        f"new card's own calibration: {listed}",
    )


def _counters(name: str, evidence: SwapEvidence) -> Condition:
    answered = _answered(name, evidence)
    if answered is not None:
        return answered
    if evidence.decoded is None:
        return Condition.unknown(name, "no layout: the counters are not recorded")
    moving = [field for field in evidence.decoded.fields if field.running]
    if not moving:
        return Condition.yes(name, "no field is declared as a counter or clock")
    words = [f"{f.field} {f.value} {f.unit or ''}".strip() for f in moving[:MOST_NAMED]]
    more = f", and {len(moving) - MOST_NAMED} more" if len(moving) > MOST_NAMED else ""
    listed = "; ".join(words)
    return Condition.unknown(
        name, f"write down what these show now; after loading they show: {listed}{more}"
    )


def _of_closing(
    work_out: Callable[[str, Closing], Condition], name: str, evidence: SwapEvidence
) -> Condition:
    """Return a condition of the closing of a swap."""
    if evidence.closing is None:
        return Condition.unknown(name, "no swap is open")
    return work_out(name, evidence.closing)


def _to_close(
    name: str,
    met_when: str,
    required: Requirement,
    work_out: Callable[[str, Closing], Condition],
    remedy: str,
) -> SwapCondition:
    """Return the record of a condition that is required to close the swap."""
    worked_out = partial(_of_closing, work_out)
    return SwapCondition(name, met_when, required, worked_out, remedy=remedy, to_close=True)


ALWAYS = Requirement("always", lambda _: True, waivable=False)
DEFAULT = Requirement("default", lambda _: True)
OPEN = Requirement("open", lambda evidence: evidence.answers is not None)
BY_RULES = Requirement("by rules", lambda _: False)
CLOSE_ALWAYS = Requirement("to close, always", lambda _: True, waivable=False)
CLOSE = Requirement("to close", lambda _: True)


def _asked(
    name: str,
    question: str,
    met_when: str,
    required: Requirement = OPEN,
    work_out: Callable[[str, str, SwapEvidence], Condition] = _by_a_person,
) -> SwapCondition:
    """Return the record of a condition that a person is asked."""
    return SwapCondition(
        name, met_when, required, partial(work_out, question), question, answerable=True
    )


# In the order of the work.
CONDITIONS: tuple[SwapCondition, ...] = (
    _asked(
        "diagnosed",
        "Is the card the cause? Check supply voltages, fuses and connectors first.",
        "the card is the cause; supply voltages, fuses and connectors were checked first",
    ),
    SwapCondition(
        "supply-voltages",
        "the supply voltages were measured and are inside their limits",
        Requirement(  # not measured is not known; measured and outside is a no
            "default, if one was measured and is outside its limits; otherwise by rules",
            lambda evidence: evidence.supplies[0] is False,
        ),
        _supplies,
        remedy="Correct the supply, and measure it again: `parambak measure`.",
    ),
    _asked(
        "final-read",
        "Was the chip of the old card read once more, if that is safe? If not, why?",
        "the old card was read once more before it came out, or the reason is recorded",
        work_out=_final_read,
    ),
    SwapCondition(
        "records-complete",
        (
            "every record about the vessel is there and sound, and none in conflict; or a person "
            "accepted the loss"
        ),
        ALWAYS,
        lambda _, evidence: evidence.records,
        remedy="Run `parambak recheck`. Fetch each lost record from another copy of the vault.",
    ),
    SwapCondition(
        "copy",
        "there is a copy",
        ALWAYS,
        _copy,
        remedy="Archive the reads of this chip, or select a copy with `parambak swap select`.",
    ),
    SwapCondition(
        "read-twice",
        "two or more separate reads gave the same image",
        DEFAULT,
        _of_the_copy,
        remedy="Read the chip again, and archive the new file.",
    ),
    SwapCondition(
        "stable",
        "no two reads of the chip disagree, except after a write, or as a person explained",
        DEFAULT,
        _of_the_copy,
        remedy="Reseat the chip, and read it again. State what changed with `diff --remark`.",
    ),
    SwapCondition(
        "plausible",
        "the image is plausible for its chip",
        ALWAYS,
        _of_the_copy,
        remedy="Read the chip again. Is it normal for this memory? `parambak archive --normal`.",
    ),
    SwapCondition(
        "checks-hold",
        "every stored check that the layout declares holds",
        DEFAULT,
        _of_the_copy,
        remedy="Read the chip again, or correct the layout.",
    ),
    SwapCondition(
        "unchanged-on-disk",
        "the bytes on disk match their recorded SHA-256",
        ALWAYS,
        _of_the_copy,
        remedy="Run `parambak recheck`. Fetch each damaged file from another copy of the vault.",
    ),
    SwapCondition(
        "copy-selected",
        "it is recorded which copy is selected; an older one with a reason",
        BY_RULES,
        _copy_selected,
        remedy="Select the copy: `parambak swap select`.",
    ),
    SwapCondition(
        "second-location",
        "a backup location holds the copy, and every byte was checked there",
        BY_RULES,
        _second_location,
        remedy="Send the vault to a backup location: `parambak backup send`.",
    ),
    SwapCondition(
        "within-limits",
        "every decoded value is inside its limits, if there is a layout",
        Requirement("default", lambda evidence: evidence.decoded is not None),
        _within_limits,
        remedy="Check each value with the maker's documents, or select another copy.",
    ),
    SwapCondition(
        "card-sheet",
        "the unit's card sheet is on record",
        BY_RULES,
        _card_sheet,
        remedy="Record the card sheet of the unit: `parambak card record`.",
    ),
    SwapCondition(
        "new-card",
        (
            "the new card's sheet, if given, agrees with the unit's; the unit's own file does not "
            "count"
        ),
        Requirement("default", lambda evidence: evidence.entries is not None),
        _new_card,
        remedy="Give the new card's own sheet with --new-card, and correct what differs.",
    ),
    SwapCondition(
        "belongs-to-card",
        "no field belongs to the old card, or a person checked each",
        BY_RULES,
        _belongs_to_card,
        answerable=True,
    ),
    SwapCondition(
        "counters",
        "the counters that go back to the copy's values were noted",
        BY_RULES,
        _counters,
        answerable=True,
    ),
    _asked(
        "redundant-channel",
        "Is there a redundant channel, and is it healthy?",
        "the redundant channel, if there is one, is healthy",
        BY_RULES,
    ),
    _asked(
        "impact",
        (
            "Was it considered what else the change touches: connected systems, alarms, operating "
            "modes?"
        ),
        "what else the change touches was considered, and the conclusion is recorded",
        BY_RULES,
    ),
    _asked(
        "authorised", "Is the swap authorised, and by whom?", "a named person authorises the swap"
    ),
    _asked(
        "permit",
        (
            "Is a permit to work in force, and which? If there is no permit system: is the master "
            "informed?"
        ),
        "a permit to work is in force, or there is no permit system and the master is informed",
    ),
    _asked(
        "safeties-inhibited",
        "Is it recorded which safeties are inhibited, and who keeps watch?",
        "it is recorded which safeties are inhibited, and who keeps watch",
    ),
    _asked(
        "fallback-plan",
        "Is it decided when you stop, and how the old card is fitted again?",
        "it is recorded when to stop, and how the old card is fitted again",
    ),
    _asked(
        "old-card-kept",
        "Are a label, a bag and a place ready, to keep the old card until the trials are done?",
        "the old card is labelled, bagged and not overwritten until the trials are done",
    ),
    _to_close(
        "contents-proven",
        "two separate read-backs of one stage show that the card holds the selected copy",
        CLOSE_ALWAYS,
        closing.contents_proven,
        "Read the new card twice, and give both dumps to `parambak swap read-back`.",
    ),
    _to_close(
        "read-back-before-power",
        "the loaded card was read back before power-up",
        CLOSE,
        closing.before_power,
        "Read the card back with power off: `parambak swap read-back --stage before-power`.",
    ),
    _to_close(
        "read-back-after-power",
        "the loaded card was read back after power-up, later than the read-back before power",
        CLOSE,
        closing.after_power,
        "Read the card back after power-up: `parambak swap read-back --stage after-power`.",
    ),
    _to_close(
        "function-tests",
        "a function test passed since the card was loaded, and none failed without passing later",
        CLOSE_ALWAYS,
        closing.function_tests,
        "Test the functions again, and give each result: `--test NAME=passed`.",
    ),
    _to_close(
        "listed-tests",
        "each function test passed that the ship's rules or the unit's card sheet list",
        CLOSE,
        closing.listed_tests,
        "Do each test that is named, and give its result: `--test NAME=passed`.",
    ),
    _to_close(
        "old-card-state",
        "it is stated where the old card goes",
        CLOSE_ALWAYS,
        closing.old_card_state,
        "State where the old card goes: `--old-card-to`.",
    ),
)


def names() -> tuple[str, ...]:
    """Return the names of all conditions, in the order of the work."""
    return tuple(condition.name for condition in CONDITIONS)


def of_stage(*, closing: bool) -> tuple[SwapCondition, ...]:
    """Return the conditions before loading; with `closing`, those of the closing as well."""
    return tuple(condition for condition in CONDITIONS if closing or not condition.to_close)


def always() -> tuple[str, ...]:
    """Return the names of those that no rules can do without, and that nobody can accept."""
    return tuple(condition.name for condition in CONDITIONS if not condition.required.waivable)


def answerable() -> tuple[str, ...]:
    """Return the names of those that a person answers: those that are asked, then the others."""
    asked = tuple(questions())
    return (*asked, *(c.name for c in CONDITIONS if c.answerable and c.name not in asked))


def questions() -> dict[str, str]:
    """Return what a person is asked, by the condition's name."""
    return {c.name: c.question for c in CONDITIONS if c.question is not None}
