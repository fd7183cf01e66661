"""Taking reads in: one record for each read, what is new on the way inside the first."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from parambak.errors import CallRefused, DumpRefused, Fault, LayoutRefused, VaultDamaged
from parambak.keeping import bodies, select
from parambak.keeping.assess import Assessor
from parambak.keeping.fits import refuse_better_fit
from parambak.keeping.fold import fleet
from parambak.keeping.known import Unit
from parambak.keeping.target import Target, aim
from parambak.layouts import coverage
from parambak.memory.digests import sha256
from parambak.reads import reader_sum

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from parambak.dumps.dump import Dump
    from parambak.keeping.chips import Chip
    from parambak.keeping.known import Copy, Fleet, Position
    from parambak.keeping.verified import Verdict
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image, Range
    from parambak.vault.vault import Vault, Writing

READER_SUM = Fault(
    "dump-reader-sum",
    DumpRefused,
    "the sum on the reader's screen does not match the dump",
    "Save the dump from the reader again, and type the sum as the screen shows it.",
)
READER_SUM_SHAPE = Fault(
    "dump-reader-sum-shape",
    CallRefused,
    "that is no sum as a reader shows it",
    "Type 2, 4, 6 or 8 hexadecimal digits.",
)
OTHER_MEMORY = Fault(
    "layout-other-memory",
    LayoutRefused,
    "the layout is for a memory of another size than the {chip} of this position",
    "Give the layout of this unit, or name the right chip with --chip.",
)
PAST_MEMORY = Fault(
    "dump-past-memory",
    DumpRefused,
    "the dump holds addresses past the end of the memory",
    "Check which chip was chosen on the reader, and which layout or chip is named here.",
)
OTHER_UNIT = Fault(
    "position-other-unit",
    CallRefused,
    "the field {name}, which tells the unit, is not that of the latest copy",
    "Make sure which unit was read. If it is right as typed, give --position-confirmed.",
)


@dataclass(frozen=True, slots=True)
class Incoming:
    """One dump as received, what it stands for, and what its file's record will hold."""

    data: bytes
    dump: Dump
    entry: bodies.DumpEntry


@dataclass(frozen=True, slots=True)
class LayoutFile:
    """A layout as given: its bytes, its checked model, and the files it includes."""

    name: str
    data: bytes
    layout: Layout
    parts: Mapping[str, bytes] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Request:
    """What one `archive` asks for. `dumps` are reads of one chip, in the order given."""

    target: Target
    dumps: Sequence[Incoming]
    layout: LayoutFile | None = None
    read_by: str | None = None
    read_on: str | None = None
    reader: str | None = None
    reader_sum: str | None = None
    untimed: bool = False
    compared: bool = False
    normal: Sequence[bodies.Normal] = ()
    position_confirmed: bool = False
    remark: str | None = None
    visit: str | None = None


@dataclass(frozen=True, slots=True)
class TakenIn:
    """The answer: where it lies, what was made on the way, and whether it is verified."""

    position: Position
    copy: Copy
    verdict: Verdict
    made: tuple[str, ...]
    reader_sum: str | None
    warnings: tuple[str, ...]


def take_in(vault: Vault, request: Request, chips: Mapping[str, Chip]) -> TakenIn:
    """Put every read on record, or raise and leave the vault as it was."""
    with vault.writing() as writing:
        known = fleet(vault)
        aimed = aim(known, request.target)
        assessor = Assessor(vault, chips)
        layout = _layout_for(request, aimed.position, assessor)
        size = _memory_size(aimed.chip, chips, layout)
        matched = _reader_sum(request, size)
        warnings = tuple(
            warning
            for incoming in request.dumps
            for warning in _fitting(request, incoming, known, aimed.position, assessor, layout, size)
        )
        _write(writing, request, aimed.vessel, aimed.id, aimed.new, matched)
    return _answer(vault, request, chips, aimed.where, aimed.made, matched, warnings)


def _layout_for(
    request: Request, position: Position | None, assessor: Assessor
) -> Layout | None:
    if request.layout is not None:
        return request.layout.layout
    return assessor.layout_of(position) if position is not None else None


def _memory_size(
    chip: str | None, chips: Mapping[str, Chip], layout: Layout | None
) -> int | None:
    """Return the memory's size in bytes; raise where chip and layout disagree."""
    known = chips.get(chip.casefold()) if chip else None
    if known is None:
        return layout.memory if layout is not None else None
    if layout is not None and layout.memory != known.size:
        raise OTHER_MEMORY.at(
            chip=known.name, expected=f"{known.size} bytes", found=f"{layout.memory} bytes"
        )
    return known.size


def _reader_sum(request: Request, size: int | None) -> bodies.ReaderSum | None:
    """Return what the displayed sum is a sum of; raise where it fits none of the dumps' bytes."""
    if request.reader_sum is None:
        return None
    digits = reader_sum.clean(request.reader_sum)
    if digits is None:
        raise READER_SUM_SHAPE.at(expected="such as 3A7F", found=repr(request.reader_sum))
    for incoming in request.dumps:
        matched = reader_sum.matches(digits, incoming.dump.image, size)
        if matched is None:
            plain = sum(incoming.dump.image.content) & ((1 << len(digits) * 4) - 1)
            raise READER_SUM.at(
                file=incoming.entry.name,
                expected=f"a sum of {digits}",
                found=f"{plain:0{len(digits)}X} over the bytes of the dump, and no other sum fits",
            )
    return bodies.ReaderSum(shown=digits, matched=matched or "")


def _fitting(  # noqa: PLR0913 - all that a dump is held against
    request: Request,
    incoming: Incoming,
    known: Fleet,
    position: Position | None,
    assessor: Assessor,
    layout: Layout | None,
    size: int | None,
) -> Iterator[str]:
    """Hold a dump against the memory's size and the copies known; yield warnings."""
    image = incoming.dump.image
    if size is not None and image.end > size:
        raise PAST_MEMORY.at(
            file=incoming.entry.name,
            offset=size,
            expected=f"addresses up to 0x{size - 1:04X}",
            found=f"a byte at 0x{image.end - 1:04X}",
        )
    if position is None or position.latest is None or request.position_confirmed:
        return
    try:
        own = assessor.image(position.latest.image)
    except VaultDamaged as error:
        yield f"the latest copy could not be compared: {error.text}"
        return
    if layout is not None:
        _refuse_other_unit(layout, image, own)
    others = list(_alike(known, position, assessor))
    moving: tuple[Range, ...] = ()
    if layout is not None:
        moving = (
            *coverage.ranges_of(layout, "live"),
            *coverage.ranges_of(layout, "expected-to-change"),
        )
    refuse_better_fit(
        image, (select.copy_name(position, position.latest), own), others, moving
    )


def _refuse_other_unit(layout: Layout, image: Image, own: Image) -> None:
    """Raise where a field that identifies the unit reads otherwise than in the latest copy."""
    for place in coverage.ranges_of(layout, "identifies-unit"):
        before, now = own.read(*place), image.read(*place)
        if before is not None and before != now:
            names = coverage.fields_over(layout, place.start, place.length)
            raise OTHER_UNIT.at(
                name=", ".join(names),
                offset=place.start,
                expected=before.hex(" ").upper(),
                found=now.hex(" ").upper() if now is not None else "no bytes there",
            )


def _alike(
    known: Fleet, position: Position, assessor: Assessor
) -> Iterator[tuple[str, Image]]:
    """Yield the latest copies aboard that the dump might be of instead.

    Those are the other positions of this unit and of the units aboard of the
    same maker's type; a type that nobody told shuts no unit out.
    """
    vessel = next(v for v in known.vessels if position in v.positions)
    holder = next(h for h in (*vessel.units, *vessel.cards) if position in h.positions)
    mine = holder.facts.get("maker_type", "") if isinstance(holder, Unit) else ""
    for unit in vessel.units:
        its = unit.facts.get("maker_type", "")
        if mine and its and mine.casefold() != its.casefold():
            continue
        for other in unit.positions:
            if other.ids == position.ids or other.latest is None:
                continue
            try:
                yield select.copy_name(other, other.latest), assessor.image(other.latest.image)
            except VaultDamaged:
                continue


def _write(  # noqa: PLR0913 - the parts of a record
    writing: Writing,
    request: Request,
    vessel: str,
    position: str,
    new: tuple[bodies.Entity, ...],
    matched: bodies.ReaderSum | None,
) -> None:
    """Write the objects and one record a read."""
    call = secrets.token_hex(16)
    layout = _put_layout(writing, request.layout)
    by = writing.person(request.read_by, vessel) if request.read_by else None
    for incoming in request.dumps:
        image = writing.put(incoming.dump.image.content)
        dump = writing.put(incoming.data)
        body = bodies.ReadBody(
            call=call,
            position=position,
            image=bodies.ImageEntry.of(incoming.dump.image, image),
            dumps=(incoming.entry,),
            new=new,
            read_on=request.read_on,
            layout=layout,
            reader=request.reader,
            reader_sum=matched,
            untimed=request.untimed,
            compared=request.compared,
            normal=tuple(request.normal),
            position_confirmed=request.position_confirmed,
            remark=request.remark,
            visit=request.visit,
        )
        relies_on = [image, dump, *([by] if by else []), *_objects_of(layout)]
        writing.add("read", vessel, body.members(), by=by, relies_on=relies_on)
        new = ()


def _put_layout(writing: Writing, given: LayoutFile | None) -> bodies.LayoutEntry | None:
    if given is None:
        return None
    parts = [
        bodies.LayoutPart(name=name, sha256=writing.put(data))
        for name, data in sorted(given.parts.items())
    ]
    return bodies.LayoutEntry(sha256=writing.put(given.data), name=given.name, parts=tuple(parts))


def _objects_of(layout: bodies.LayoutEntry | None) -> list[str]:
    if layout is None:
        return []
    return [layout.sha256, *(part.sha256 for part in layout.parts)]


def _answer(  # noqa: PLR0913 - the parts of the answer
    vault: Vault,
    request: Request,
    chips: Mapping[str, Chip],
    where: str,
    made: tuple[str, ...],
    matched: bodies.ReaderSum | None,
    warnings: tuple[str, ...],
) -> TakenIn:
    """Read the vault again, and judge the copy that the last dump gave."""
    position = select.find_position(fleet(vault), where)
    image = request.dumps[-1].dump.image
    entry = bodies.ImageEntry.of(image, sha256(image.content))
    copy = next(copy for copy in position.copies if copy.image == entry)
    return TakenIn(
        position=position,
        copy=copy,
        verdict=Assessor(vault, chips).verdict(position, copy),
        made=made,
        reader_sum=matched.matched if matched else None,
        warnings=warnings,
    )
