"""`swap read-back` by two layouts: the card's software moved the fields, values are compared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from msgspec import to_builtins

from parambak.answers import differences, given_files
from parambak.answers.decoded import decoded_by
from parambak.cli.commands.swap.check import cautions
from parambak.cli.parts import by_values
from parambak.cli.screen import MARKS
from parambak.cli.settings import Answer
from parambak.errors import LayoutRefused
from parambak.swap.read_back import ValuesReadBack, compare_values
from parambak.swap.recording import ValueLayouts

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.differences.two_layouts import ValueChange
    from parambak.keeping.recording.received import Incoming
    from parambak.keeping.state.bodies import LayoutEntry
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image


class Layouts(NamedTuple):
    """The files that tell values apart: the card's layout, the copy's, the renames."""

    new: str | None
    old: str | None
    renames: str | None

    @property
    def named(self) -> bool:
        """Return whether any of them is named."""
        return any(each is not None for each in self)


@dataclass(frozen=True)
class ValuesRead:
    """One dump read from a card of other software, and what became of the values."""

    incoming: Incoming
    found: ValuesReadBack
    values: differences.ValuesCompared


@dataclass(frozen=True)
class Opened:
    """The files that tell values apart, read once: what is compared by is what is kept."""

    names: Layouts
    old: Layout
    layouts: ValueLayouts


def opened(files: Layouts, own: Layout | None, entry: LayoutEntry | None) -> Opened:
    """Read the files; the copy's layout is the position's own (`entry`) where none is named.

    Refuse where only one of the two layouts is known.
    """
    if files.new is None:
        raise differences.TWO_LAYOUTS.error(expected="two layouts", found="no --layout")
    new, renames = given_files.layout_file(files.new), differences.renames_file(files.renames)
    if files.old is not None:
        old = given_files.layout_file(files.old)
        return Opened(files, old.layout, ValueLayouts(old, new, renames))
    if own is None or entry is None:
        raise differences.TWO_LAYOUTS.error(expected="two layouts", found="no --old-layout")
    return Opened(files, own, ValueLayouts(entry, new, renames))


def read_values(
    incoming: list[Incoming], stage: str, files: Opened, meant: Image
) -> list[ValuesRead]:
    """Return what became of each value of the copy meant, in every read of the card."""
    table = differences.renames_of(files.layouts.renames)
    old = decoded_by(files.old, meant)
    reads = []
    for each in incoming:
        read = decoded_by(files.layouts.new.layout, each.image)
        try:
            found = compare_values(old, read, table, stage)
        except LayoutRefused as error:
            raise error.in_file(files.names.renames or files.names.new or "") from error
        members = differences.values_compared(old, read, found.found)
        reads.append(ValuesRead(each, found, differences.ValuesCompared(**members)))
    return reads


def values_answer(name: str, stage: str, reads: list[ValuesRead]) -> Answer:
    """Return the answer by values: whether each was carried over, and that no byte was compared."""
    loaded = all(read.found.loaded_correctly for read in reads)
    changes = [each for read in reads for each in read.found.differences]
    expected = [each for read in reads for each in read.found.expected_differences]
    return Answer(
        {
            "loaded_correctly": loaded,
            "bytes_compared": False,
            "copy": name,
            "differences": _shown(changes),
            "expected_differences": _shown(expected),
            "not_carried": [
                to_builtins(differences.not_carried_shown(value))
                for read in reads
                for value in read.found.found.not_carried
            ],
            "failing_checks": [check.check for read in reads for check in read.found.failing],
        },
        lambda screen: _page(screen, name, stage, reads, loaded=loaded),
        exit_code=0 if loaded else 1,
    )


def _shown(changes: list[ValueChange]) -> list[dict[str, Any]]:
    return [to_builtins(differences.value_change_shown(change)) for change in changes]


def _page(screen: Screen, name: str, stage: str, reads: list[ValuesRead], *, loaded: bool) -> None:
    screen.facts([("meant", name), ("stage", stage)], indent=0)
    for read in reads:
        screen.say()
        screen.heading(read.incoming.entry.name)
        by_values.tables(screen, read.values)
        for check in read.found.failing:
            screen.say(f"CHECK {MARKS[check.holds]}: {check.check}", indent=2)
    cautions(screen)
    if loaded:
        screen.good(f"LOADED CORRECTLY, BY VALUES: every value was carried over, {stage}.")
    else:
        screen.bad("NOT LOADED CORRECTLY. Do not put the unit into service.")
        screen.say(
            "Settle each value above with the maker. One that is meant to be left out stands "
            "in the table of renames as `name = false`."
        )
    screen.say(by_values.WORD_NEEDED)
