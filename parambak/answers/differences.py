"""How images and values differ: parts of several answers, and tables of renames."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from parambak.answers.forms import Part
from parambak.errors import CallRefused, Fault, in_file
from parambak.vault.files.given import read_given

if TYPE_CHECKING:
    from parambak.differences.bytes import Run
    from parambak.differences.two_layouts import CarryOver, NotCarried, Renames, ValueChange
    from parambak.keeping.recording.received import RenamesFile
    from parambak.layouts.decode import Decoded

RENAMES_BYTES = 256 * 1024
TWO_LAYOUTS = Fault(
    "two-layouts-needed",
    CallRefused,
    "values can be compared only if both sides have a layout of their own",
    "Give the old software's layout with --old-layout FILE and the new one's with --layout FILE.",
)


class RunShown(Part, frozen=True):
    """A longest stretch in which every byte differs: both sides' bytes in hexadecimal.

    A side that does not hold the addresses is empty.
    """

    start: int
    old: str
    new: str


class ValueChangeShown(Part, frozen=True):
    """A value that is another one by the new layout; `running` says that it runs by itself."""

    field: str
    old_field: str
    kind: str
    at: int
    old: str
    new: str
    unit: str | None
    within_limits: bool | None
    belongs_to_card: bool
    running: bool


class NotCarriedShown(Part, frozen=True):
    """A value that was not carried over, or has no counterpart, and why.

    `excused` is what the table of renames leaves out on purpose.
    """

    field: str | None
    old_field: str | None
    old: str | None
    new: str | None
    old_unit: str | None
    new_unit: str | None
    why: str
    excused: bool


class Coverage(Part, frozen=True):
    """How many bytes of a side's memory its layout explains, of how many."""

    side: str
    covered_bytes: int
    size: int


class ValuesCompared(Part, frozen=True, kw_only=True):
    """What became of values from one layout to another: how many are the same, and the rest."""

    same_values: int
    fields: tuple[ValueChangeShown, ...]
    not_carried: tuple[NotCarriedShown, ...]
    coverage: tuple[Coverage, ...]


def run_shown(run: Run) -> RunShown:
    """Return a run with its bytes in hexadecimal."""
    return RunShown(run.start, run.old.hex().upper(), run.new.hex().upper())


def values_compared(old: Decoded, new: Decoded, carried: CarryOver) -> dict[str, Any]:
    """Return the members of `ValuesCompared`, of two decoded images."""
    return {
        "same_values": carried.same,
        "fields": tuple(map(value_change_shown, carried.changed)),
        "not_carried": tuple(map(not_carried_shown, carried.not_carried)),
        "coverage": (
            Coverage("old", old.covered_bytes, old.size),
            Coverage("new", new.covered_bytes, new.size),
        ),
    }


def value_change_shown(change: ValueChange) -> ValueChangeShown:
    """Return a value that changed from one layout to another."""
    return ValueChangeShown(*change, running=change.running)


def not_carried_shown(value: NotCarried) -> NotCarriedShown:
    """Return a value that was not carried over."""
    return NotCarriedShown(*value)


def renames_file(path: str | None) -> RenamesFile | None:
    """Return a table of renames and its bytes; None where none is named."""
    from parambak.differences.two_layouts import read_renames  # noqa: PLC0415 - for two layouts only
    from parambak.keeping.recording.received import RenamesFile  # noqa: PLC0415 - the same

    if path is None:
        return None
    data = read_given(path, RENAMES_BYTES).data
    with in_file(path):
        return RenamesFile(PurePath(path).name, data, read_renames(data))


def renames_of(file: RenamesFile | None) -> Renames:
    """Return the table that a file of renames holds; an empty one where there is none."""
    from parambak.differences.two_layouts import NONE  # noqa: PLC0415 - for two layouts only

    return NONE if file is None else file.renames
