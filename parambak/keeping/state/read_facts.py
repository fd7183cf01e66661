"""What is stated of how a read was made: the one list of these facts.

A fact is one member of `ReadFacts`, which names its option, its words on a page and its column.
The option of `archive`, the member of the record, the pages and the table of reads all follow
from it; `formats/records.md` and `formats/tables.md` describe it.
"""

# The annotations are read at each start: as values, not as texts, they cost little.
from collections.abc import Callable
from typing import Annotated, Any, NamedTuple, get_type_hints

import msgspec

from parambak.reads.pairs import PAIR_SCHEMES


def no_phrase(_: object) -> None:
    """Return no phrase: the fact has its own place on a page, or none."""


class ReadFact(NamedTuple):
    """How a fact of a read is asked for and shown, at the fact's member of the record.

    `option` is its option of `archive`, with that option's `help`: one of `choices`, or any
    text; a fact that is true or false is a flag. `phrase` gives the words of a page for a value,
    None for no words. With `column`, the table of reads has it.
    """

    option: str
    help: str
    choices: tuple[str, ...] = ()
    phrase: Callable[[Any], str | None] = str
    column: bool = True


CONNECTIONS = ("socket", "clip", "in-circuit", "service-port")
"""Where the chip was when it was read, as a record names it."""
CONNECTED_TO_CARD = ("in-circuit", "service-port")
"""Those with which other parts of the card can falsify two reads in the same way."""


class ReadFacts(msgspec.Struct, frozen=True, omit_defaults=True, kw_only=True, gc=False):
    """How a read was made, by the person named. A new fact is one member here.

    `reader` is the instrument, `how` where the chip was when it was read, `reseated` whether it
    was taken out and put back before. With `pair`, two dumps are one read of a memory that two
    chips hold. `untimed`: equal file times do not mean one read. `compared`: the reader's own
    compare pass reported no difference. `written` states how the memory was written since the read
    before, `new_chip` why the chip is another one since then.
    """

    reader: Annotated[
        str | None, ReadFact("--reader", "The reader that was used.", phrase=no_phrase)
    ] = None
    how: Annotated[
        str | None,
        ReadFact("--how", "Where the chip was when it was read.", choices=CONNECTIONS),
    ] = None
    reseated: Annotated[
        bool | None,
        ReadFact(
            "--reseated/--not-reseated",
            "Taken out and put back before?",
            phrase={True: "reseated", False: "not reseated"}.get,
            column=False,
        ),
    ] = None
    pair: Annotated[
        str | None,
        ReadFact(
            "--pair",
            "Two chips hold the memory: give the dumps in pairs.",
            choices=PAIR_SCHEMES,
            phrase="two chips, {}".format,
            column=False,
        ),
    ] = None
    untimed: Annotated[
        bool,
        ReadFact(
            "--no-file-times",
            "The reader has no clock: equal file times do not mean one read.",
            phrase=no_phrase,
            column=False,
        ),
    ] = False
    compared: Annotated[
        bool,
        ReadFact(
            "--compared",
            "The reader's own compare pass reported no difference.",
            phrase={True: "compared by the reader"}.get,
            column=False,
        ),
    ] = False
    written: Annotated[
        str | None,
        ReadFact(
            "--written",
            "The memory was written since the read before: how, and why. Needs a name.",
            phrase="written since the read before: {}".format,
            column=False,
        ),
    ] = None
    new_chip: Annotated[
        str | None,
        ReadFact(
            "--new-chip",
            "The chip is a new one since the read before: why. Needs a name.",
            phrase="a new chip since the read before: {}".format,
            column=False,
        ),
    ] = None


def by_member() -> dict[str, ReadFact]:
    """Return each fact by its member of the record, in the order of the members."""
    hints = get_type_hints(ReadFacts, include_extras=True)
    return {name: hints[name].__metadata__[0] for name in ReadFacts.__struct_fields__}


def phrases(facts: ReadFacts) -> list[str]:
    """Return how a read was made in phrases, one for each fact that is stated."""
    values = [(fact, getattr(facts, name, None)) for name, fact in by_member().items()]
    phrased = [fact.phrase(value) for fact, value in values if value is not None]
    return [phrase for phrase in phrased if phrase]
