"""`history`: every value that the fields of a position ever had, who read it and when."""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import click

from parambak.answers import faults, given_files
from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.parts import compare_faults
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.errors import LayoutRefused, VaultDamaged
from parambak.keeping.assess import Assessor
from parambak.keeping.state import select
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.remarks import remarks_of_change, remarks_on_record
from parambak.memory.names import nearest_in_words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.cli.screen import Screen
    from parambak.compare.history import History
    from parambak.keeping.state.model import Copy, Position, Read
    from parambak.keeping.state.remarks import Remark
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image


@dataclass
class Time:
    """One image as it was found, and the reads one after the other that gave it."""

    copy: Copy
    reads: list[Read] = field(default_factory=list)

    @property
    def on(self) -> str:
        """Return the day on which it was first so."""
        return self.reads[0].read_on.isoformat()


@dataclass(frozen=True)
class Told:
    """All there is to show: the times, what changed, what was said, the name of each person."""

    position: Position
    times: list[Time]
    found: History
    remarks: dict[int, tuple[Remark, ...]]
    names: dict[str, str]
    layout: Layout | None
    lost: list[str]
    unfit: list[str]  # copies of a memory of another size, which this layout does not tell

    def person(self, mark: str | None) -> str:
        """Return a person's name by the mark on a record."""
        return self.names.get(mark, "") if mark is not None else ""


@parambak_command("history", example="parambak history grebe/port-thruster/U12 --field run_hours")
@click.argument("where", metavar="WHERE")
@click.option("--field", "name", metavar="NAME", help="Every value of this field.")
@click.option("--layout", metavar="FILE", help="Tell fields by this layout, not the position's.")
@pass_settings
def command(settings: Settings, where: str, name: str | None, layout: str | None) -> Answer:
    """Show what changed at a position from read to read, and who read it.

    Parameters that go back and forth, and cells that fade, are told from changes that people
    made: formats/changes.md says by which rules. A small line shows the values, a character
    for each time that the memory was found otherwise than before.
    """
    from parambak.cli.parts import history_page  # noqa: PLC0415 - slow to import

    vault = store.open_vault(settings)
    position = select.find_position(fleet(vault), where)
    assessor = Assessor(vault, store.chip_table())
    chosen = given_files.layout_file(layout).layout if layout else assessor.layout_of(position)
    told = _told(assessor, position, chosen)
    if name is not None:
        _require_field(told, name)
    heights = _heights()
    return Answer(
        history_page.document(told, name),
        lambda screen: _page(screen, told, name, heights),
        warnings=store.warnings_of(vault),
    )


def _page(screen: Screen, told: Told, name: str | None, heights: str) -> None:
    from parambak.cli.parts import history_page  # noqa: PLC0415 - the same

    if name is None:
        history_page.all_fields(screen, told, heights)
    else:
        history_page.one_field(screen, told, name, heights)


def _told(assessor: Assessor, position: Position, layout: Layout | None) -> Told:
    """Return the history of a position; images that are lost are named and passed over."""
    from parambak.compare.history import history  # noqa: PLC0415 - slow to import

    times: list[Time] = []
    lost: list[str] = []
    unfit: dict[str, LayoutRefused] = {}

    def images() -> Iterator[Image]:
        for time in _times(position):
            try:
                image = assessor.image(time.copy.image)
            except VaultDamaged:
                lost.append(select.copy_name(position, time.copy))
                continue
            refusal = _unfit(layout, image)
            if refusal is not None:
                unfit[select.copy_name(position, time.copy)] = refusal
                continue
            times.append(time)
            yield image

    found = history(layout, images())
    for name, refusal in unfit.items() if not times else ():
        raise refusal.in_file(name)
    vault = assessor.vault
    vessel = select.vessel_at(fleet(vault), position.where)
    every = remarks_on_record(vault, vessel)
    said = {
        at: remarks_of_change(every, position, times[at - 1].copy.image, time.copy.image)
        for at, time in enumerate(times)
        if at
    }
    marks = {read.by for time in times for read in time.reads} | {each.by for each in every}
    names = {mark: assessor.person(mark) for mark in marks if mark is not None}
    lost = list(dict.fromkeys(lost))
    return Told(position, times, found, said, names, layout, lost, list(unfit))


def _times(position: Position) -> list[Time]:
    """Return the images in the order they were found, reads that follow and agree together."""
    copies = {read.record: copy for copy in position.copies for read in copy.reads}
    times: list[Time] = []
    for read in position.reads:
        copy = copies[read.record]
        if not times or times[-1].copy.image != copy.image:
            times.append(Time(copy))
        times[-1].reads.append(read)
    return times


def _unfit(layout: Layout | None, image: Image) -> LayoutRefused | None:
    """Return why a layout is of another memory, as that of new software; None where it fits."""
    if layout is None:
        return None
    from parambak.layouts.decode import require_fit  # noqa: PLC0415 - only with a layout

    try:
        require_fit(layout, image)
    except LayoutRefused as error:
        return error
    return None


def _require_field(told: Told, name: str) -> None:
    known = [
        *told.found.first,
        *(check.name for check in (told.layout.checks if told.layout else ())),
    ]
    if told.layout is None:
        raise faults.LAYOUT_NEEDED.error(expected="--layout FILE", found="no layout")
    if name not in known:
        raise compare_faults.HISTORY_FIELD.error(
            expected=nearest_in_words(name, known), found=repr(name[:80])
        )


def _heights() -> str:
    """Return the characters of a small line, such as the output can write."""
    from parambak.compare.small_line import BLOCKS, PLAIN  # noqa: PLC0415 - for the page alone

    try:
        BLOCKS.encode(getattr(sys.stdout, "encoding", None) or "ascii")
    except (UnicodeError, LookupError):
        return PLAIN
    return BLOCKS
