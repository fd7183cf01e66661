"""What is stated of how a read was made: the one list of these facts.

A fact is one member of `ReadFacts`, which names its option, its words on a page and its column.
The option of `archive`, the member of the record, what is known of the read, the pages and the
table of reads all follow from it; `formats/records.md` and `formats/tables.md` describe it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, NamedTuple, get_type_hints

import msgspec

from parambak.reads.pairs import PAIR_SCHEMES

if TYPE_CHECKING:
    from collections.abc import Callable


def unsaid(_: object) -> None:
    """Say nothing of a fact: it has its own place on a page, or none."""


class ReadFact(NamedTuple):
    """How a fact of a read is asked for and shown; it stands at the fact's member of the record.

    `option` is its option of `archive`, with that option's `help`: of the words `choices`, else
    of any text; a fact that is true or false is a flag. `phrase` is what a page says of a value,
    None to say nothing. With `column`, the table of reads has it.
    """

    option: str
    help: str
    choices: tuple[str, ...] = ()
    phrase: Callable[[Any], str | None] = str
    column: bool = True


CONNECTIONS = ("socket", "clip", "in-circuit", "service-port")
"""Where the chip was when it was read, as a record names it."""
CONNECTED_TO_CARD = ("in-circuit", "service-port")
"""Those by which other parts of the card can falsify two reads alike."""


class ReadFacts(msgspec.Struct, frozen=True, omit_defaults=True, kw_only=True, gc=False):
    """What the person named states of how a read was made. A new fact is one member here.

    `reader` is the instrument, `how` where the chip was when it was read, `reseated` whether it
    was taken out and put back before. With `pair`, two dumps are one read of a memory that two
    chips hold. `untimed` says that the files' times mean nothing, `compared` that the reader's
    own compare pass found no fault.
    """

    reader: Annotated[
        str | None, ReadFact("--reader", "The reader that was used.", phrase=unsaid)
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
            "Two chips hold the memory: dumps in twos.",
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
            phrase=unsaid,
            column=False,
        ),
    ] = False
    compared: Annotated[
        bool,
        ReadFact(
            "--compared",
            "The reader's own compare pass found no fault.",
            phrase={True: "compared by the reader"}.get,
            column=False,
        ),
    ] = False


def by_member() -> dict[str, ReadFact]:
    """Return each fact by its member of the record, in the order of the members."""
    hints = get_type_hints(ReadFacts, include_extras=True)
    return {name: hints[name].__metadata__[0] for name in ReadFacts.__struct_fields__}


def phrases(facts: ReadFacts) -> list[str]:
    """Return what a page says of how a read was made, a phrase for each fact that is stated."""
    values = [(fact, getattr(facts, name, None)) for name, fact in by_member().items()]
    phrased = [fact.phrase(value) for fact, value in values if value is not None]
    return [phrase for phrase in phrased if phrase]
