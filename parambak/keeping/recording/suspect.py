"""Whether a dump may be of another chip than the one named, by all that is on record."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

from parambak.errors import SheetRefused, VaultDamaged
from parambak.keeping.recording.on_record import file_elsewhere
from parambak.keeping.recording.wrong_chip import (
    FILE_ELSEWHERE,
    MOST_COPIES,
    blank_value,
    refuse_blank,
    refuse_far,
    refuse_image_elsewhere,
    refuse_second_image,
    second_image,
)
from parambak.keeping.recording.wrong_half import Given, refuse_wrong_half
from parambak.keeping.recording.wrong_position import refuse_better_fit, refuse_other_unit
from parambak.keeping.state import select
from parambak.keeping.state.bodies import ImageEntry
from parambak.keeping.state.model import Read, Unit
from parambak.keeping.state.rules import CAREFUL
from parambak.memory.digests import sha256

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parambak.keeping.assess import Assessor
    from parambak.keeping.recording.filing import Filing
    from parambak.keeping.recording.received import Incoming, Request
    from parambak.keeping.state.model import Copy, Fleet, Position, Vessel
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image, Range


class Suspect:
    """Compares the dumps of one request with the copies on record, of this position and others.

    `layout` is the one in force.
    """

    def __init__(
        self,
        assessor: Assessor,
        fleet: Fleet,
        request: Request,
        filing: Filing,
        layout: Layout | None,
    ) -> None:
        self._assessor = assessor
        self._vault = assessor.vault
        self._fleet = fleet
        self._request = request
        self._position = filing.position
        self._where = filing.where
        self._vessel = filing.vessel
        self._layout = layout
        self._warnings: tuple[str, ...] = ()

    def refuse_blank(self) -> None:
        """Raise for a blank dump at a position with other contents, if nobody confirmed it."""
        if self._request.blank_confirmed or not self._has_contents():
            return
        for incoming in self._request.dumps:
            refuse_blank(incoming.entry.name, incoming.image)

    def doubts(self, new: Sequence[Incoming]) -> tuple[str, ...]:
        """Return what is to be noted of the new dumps; raise if one has to be confirmed first."""
        entries = [ImageEntry.of(read.image, sha256(read.image.content)) for read in new]
        for incoming, entry in zip(new, entries, strict=True):
            self._warnings += self._twins(entry)
            if not self._request.position_confirmed:
                self._examine(incoming, entry)
        if not self._request.position_confirmed:
            self._refuse_second_image(new, entries)
        return self._warnings

    def _twins(self, entry: ImageEntry) -> tuple[str, ...]:
        """Return a warning for each other position of the vessel that holds the same bytes."""
        same_position = self._position.ids if self._position is not None else frozenset()
        return tuple(
            f"the same bytes as {select.copy_name(other, other.latest)}: make sure that the chip "
            "of this unit was read"
            for vessel in self._fleet.vessels
            if self._vessel in vessel.ids
            for unit in vessel.units
            for other in unit.positions
            if other.ids != same_position
            and other.latest is not None
            and other.latest.image == entry
        )

    def _has_contents(self) -> bool:
        """Return whether an earlier copy of the position is not blank."""
        copies = self._position.copies if self._position is not None else ()
        images = (self._image_or_none(copy) for copy in copies)
        return any(image is not None and blank_value(image) is None for image in images)

    def _image_or_none(self, copy: Copy) -> Image | None:
        try:
            return self._assessor.image(copy.image)
        except VaultDamaged:
            return None

    def _examine(self, incoming: Incoming, entry: ImageEntry) -> None:
        """Raise for a dump that may be of another chip or of the wrong half."""
        image, name = incoming.image, incoming.entry.name
        if blank_value(image) is not None:
            return
        self._refuse_file_elsewhere(incoming)
        if self._position is None or self._position.latest is None:
            pair = self._request.facts.pair
            refuse_wrong_half(Given(name, image, pair, self._layout), None)
            refuse_image_elsewhere(self._where, name, self._holders_of(entry))
        else:
            self._compare_with_copies(incoming, self._position, self._position.latest)

    def _compare_with_copies(self, incoming: Incoming, position: Position, newest: Copy) -> None:
        image = incoming.image
        try:
            latest = self._assessor.image(newest.image)
        except VaultDamaged as error:
            self._warnings += (f"the latest copy could not be compared: {error.text}",)
            return
        here = (select.copy_name(position, newest), latest)
        moving = _moving(self._layout) if self._layout is not None else ()
        pair = self._request.facts.pair
        refuse_wrong_half(Given(incoming.entry.name, image, pair, self._layout, moving), here)
        if self._layout is not None:
            refuse_other_unit(self._layout, image, latest)
        refuse_better_fit(image, here, list(self._candidates(position)), moving)
        if self._request.facts.written is None and self._plausible(image):
            copies = (
                (select.copy_name(position, copy), earlier)
                for copy in reversed(position.copies[-MOST_COPIES:])
                if (earlier := self._image_or_none(copy)) is not None
                and blank_value(earlier) is None
            )
            refuse_far(incoming.entry.name, position.where, image, copies, moving)

    def _plausible(self, image: Image) -> bool:
        """Return whether an image can be what its chip holds; another one is a bad read."""
        if self._position is None:
            return blank_value(image) is None
        return self._assessor.plausible(self._position, self._layout, image)

    def _others(self) -> Iterator[tuple[Vessel, Position]]:
        """Yield all positions of all vessels except this one, this vessel's first."""
        mine = self._position.ids if self._position is not None else frozenset()
        vessels = sorted(self._fleet.vessels, key=lambda vessel: self._vessel not in vessel.ids)
        for vessel in vessels:
            for position in vessel.positions:
                if position.ids != mine:
                    yield vessel, position

    def _holders_of(self, entry: ImageEntry) -> dict[str, str]:
        """Return the copies of other positions with the same bytes; of another vessel, that."""
        if not self._vault.has_object(entry.sha256):
            return {}
        return {
            select.copy_name(position, copy): ""
            if self._vessel in vessel.ids
            else ", another vessel"
            for vessel, position in self._others()
            for copy in position.copies
            if copy.image == entry
        }

    def _refuse_file_elsewhere(self, incoming: Incoming) -> None:
        """Raise if the same file is on record as a read of another position."""
        entries = [file.entry for file in incoming.files]
        if self._request.facts.untimed or not self._vault.has_object(entries[0].sha256):
            return
        other = file_elsewhere((position for _, position in self._others()), entries)
        if other is not None:
            raise FILE_ELSEWHERE.error(
                file=incoming.entry.name,
                expected="a dump of this chip",
                found=f"the same bytes and the same time as a read of {other.where}",
            )

    def _refuse_second_image(self, new: Sequence[Incoming], entries: Sequence[ImageEntry]) -> None:
        """Raise if two images of one occasion would both be read twice."""
        request, position = self._request, self._position
        day = date.fromisoformat(request.read_on) if request.read_on else request.today
        if request.facts.written or request.facts.new_chip or day is None:
            return
        given = self._given(new, entries, day)
        on_record_reads = position.reads if position is not None else ()
        pairs = second_image(on_record_reads, given, self._enough())
        images = {read.image: incoming.image for read, incoming in zip(given, new, strict=True)}

        def image_of(entry: ImageEntry) -> Image | None:
            image = images.get(entry)
            copies = position.copies if position is not None else ()
            copy = next((copy for copy in copies if copy.image == entry), None)
            if image is None and copy is not None:
                image = self._image_or_none(copy)
            return image if image is not None and self._plausible(image) else None

        refuse_second_image(self._where, pairs, self._layout, image_of)

    def _enough(self) -> int:
        position = self._position
        try:
            return self._assessor.rules(position).reads if position is not None else CAREFUL.reads
        except (SheetRefused, VaultDamaged):
            return CAREFUL.reads

    def _given(
        self, new: Sequence[Incoming], entries: Sequence[ImageEntry], day: date
    ) -> list[Read]:
        """Return the new dumps as the reads that they will be."""
        request = self._request
        reads = self._position.reads if self._position is not None else ()
        order = max((read.order for read in reads), default=0) + 1
        return [
            Read(
                record=f"new {number}",
                vessel=self._vessel,
                call="new",
                order=order + number,
                image=entry,
                dumps=tuple(file.entry for file in incoming.files),
                read_on=day,
                stated=request.read_on is not None,
                taken_in=datetime.min.replace(tzinfo=UTC),
                writer="",
                by=None,
                facts=request.facts,
                visit=request.visit,
                chip=max((read.chip for read in reads), default=0),
            )
            for number, (incoming, entry) in enumerate(zip(new, entries, strict=True))
        ]

    def _candidates(self, position: Position) -> Iterator[tuple[str, Image]]:
        """Yield the latest copies aboard that the dump might be of instead.

        Those are the other positions of this unit and of the units aboard of the same maker's
        type, and of cards in no unit; a unit without a recorded type is included.
        """
        vessel = next(v for v in self._fleet.vessels if self._vessel in v.ids)
        holder = next(h for h in vessel.holders if position in h.positions)
        unit_type = holder.facts.get("maker_type", "") if isinstance(holder, Unit) else ""
        for unit in vessel.holders:
            other_type = unit.facts.get("maker_type", "") if isinstance(unit, Unit) else ""
            if unit_type and other_type and unit_type.casefold() != other_type.casefold():
                continue
            for other in unit.positions:
                if other.ids == position.ids or other.latest is None:
                    continue
                try:
                    image = self._assessor.image(other.latest.image)
                except VaultDamaged:
                    continue
                yield select.copy_name(other, other.latest), image


def _moving(layout: Layout) -> tuple[Range, ...]:
    from parambak.layouts import coverage  # noqa: PLC0415 - slow to import, layouts only

    return (
        *coverage.ranges_of(layout, "volatile"),
        *coverage.ranges_of(layout, "running"),
    )
