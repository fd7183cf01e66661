"""Everything on record as plain tables, for another program.

The columns are stable: a later version may add columns after the last, and changes none.
formats/tables.md lists them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.state import read_facts
from parambak.keeping.verified import evidence_of, separate_reads
from parambak.swap import measurement_records
from parambak.swap.swaps import fold_swaps, in_order

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from parambak.keeping.state.backups import Holdings
    from parambak.keeping.state.model import Position, Read, Vessel
    from parambak.reports.parts import Desk

Cell = str | int | bool | None
Row = tuple[Cell, ...]


class Table(NamedTuple):
    """A table's columns, and the function that gives its rows of one vessel."""

    columns: tuple[str, ...]
    rows: Callable[[Desk, Holdings, Vessel], Iterator[Row]]


def _vessels(desk: Desk, holdings: Holdings, vessel: Vessel) -> Iterator[Row]:
    del desk, holdings
    facts = vessel.facts
    yield (
        vessel.handle,
        vessel.short,
        facts.get("display"),
        facts.get("imo"),
        facts.get("other_number"),
        "; ".join(vessel.former),
        len(vessel.units),
        len(vessel.positions),
        vessel.id,
    )


def _units(desk: Desk, holdings: Holdings, vessel: Vessel) -> Iterator[Row]:
    del desk, holdings
    for unit in vessel.units:
        names = ("display", "maker_type", "serial", "installed_in")
        facts = (unit.facts.get(name) for name in names)
        yield (unit.where, vessel.handle, unit.short, *facts, unit.sheet is not None, unit.id)


def _positions(desk: Desk, holdings: Holdings, vessel: Vessel) -> Iterator[Row]:
    for position in vessel.positions:
        copy = position.latest
        verdict = desk.assessor.verdict(position, copy) if copy is not None else None
        yield (
            position.where,
            position.chip,
            position.layout.name if position.layout else None,
            len(position.copies),
            copy.sha256 if copy is not None else None,
            copy.newest.read_on.isoformat() if copy is not None else None,
            verdict.verified if verdict is not None else False,
            "; ".join(unmet.condition for unmet in verdict.unmet)
            if verdict is not None
            else "copy",
            "; ".join(held.name for held in holdings.of(copy)) if copy is not None else "",
            position.id,
        )


def _copies(desk: Desk, holdings: Holdings, vessel: Vessel) -> Iterator[Row]:
    del desk
    for position in vessel.positions:
        for copy in position.copies:
            size = sum(length for _, length in copy.image.ranges)
            yield (
                position.where,
                copy.sha256,
                size,
                separate_reads(evidence_of(copy.reads)),
                min(read.read_on for read in copy.reads).isoformat(),
                copy.newest.read_on.isoformat(),
                copy.reconstructed,
                "; ".join(held.name for held in holdings.of(copy)),
            )


def _reads(desk: Desk, holdings: Holdings, vessel: Vessel) -> Iterator[Row]:
    del holdings
    for position in vessel.positions:
        for read in position.reads:
            yield _read(desk, position, read)


def _read(desk: Desk, position: Position, read: Read) -> Row:
    return (
        position.where,
        read.read_on.isoformat(),
        read.taken_in.isoformat(timespec="seconds"),
        desk.person(read.by) if read.by else None,
        read.facts.reader,
        read.facts.how,
        read.image.sha256,
        "; ".join(dump.name for dump in read.dumps),
        "; ".join(dump.sha256 for dump in read.dumps),
        read.reader_sum.shown if read.reader_sum else None,
        read.remark,
        read.record,
        *(getattr(read.facts, name, None) for name in _further_facts()),
    )


def _further_facts() -> tuple[str, ...]:
    """Return the facts of a read that have a column at the end of the table."""
    facts = read_facts.by_member()
    return tuple(name for name in facts if facts[name].column and name not in {"reader", "how"})


def _cards(desk: Desk, holdings: Holdings, vessel: Vessel) -> Iterator[Row]:
    del desk, holdings
    for card in vessel.cards:
        names = ("card_type", "location", "unit")
        facts = (card.facts.get(name) or None for name in names)
        yield (vessel.handle, card.serial, *facts, card.id)


def _visits(desk: Desk, holdings: Holdings, vessel: Vessel) -> Iterator[Row]:
    del holdings
    reads = [read for position in vessel.positions for read in position.reads]
    for visit in vessel.visits:
        yield (
            vessel.handle,
            visit.on,
            visit.closed,
            desk.person(visit.by) if visit.by else None,
            visit.reader,
            sum(read.visit == visit.id for read in reads),
            visit.remark,
            visit.id,
        )


def _measurements(desk: Desk, holdings: Holdings, vessel: Vessel) -> Iterator[Row]:
    del holdings
    places = [(unit.where, unit.ids) for unit in vessel.units]
    places += [(position.where, position.ids) for position in vessel.positions]
    aboard = measurement_records.records_aboard(desk.assessor.vault, vessel)
    for where, ids in places:
        for record in measurement_records.only_at(aboard, ids):
            for reading in record.readings:
                yield (
                    where,
                    record.on.isoformat(),
                    record.stage,
                    reading.name,
                    reading.value,
                    reading.unit,
                    reading.low,
                    reading.high,
                    reading.within,
                    reading.not_possible,
                    record.instrument,
                    record.calibrated,
                    desk.person(record.by) if record.by else None,
                    record.record,
                )


def _swaps(desk: Desk, holdings: Holdings, vessel: Vessel) -> Iterator[Row]:
    del holdings
    records = in_order(desk.assessor.vault, vessel)
    for position in vessel.positions:
        for swap in fold_swaps(records, position.ids):
            end = swap.end
            yield (
                position.where,
                swap.opened.at.isoformat(timespec="seconds"),
                desk.person(swap.opened.by) if swap.opened.by else None,
                swap.body.why,
                swap.route,
                end.outcome if end is not None else "open",
                end.at.isoformat(timespec="seconds") if end is not None else None,
                end.reason if end is not None else None,
                bool(swap.proof),
                "; ".join(deviation.condition for deviation in swap.deviations),
                swap.id,
            )


def _table(
    rows: Callable[[Desk, Holdings, Vessel], Iterator[Row]],
    columns: str,
    further: tuple[str, ...] = (),
) -> Table:
    return Table((*columns.split(), *further), rows)


TABLES: dict[str, Table] = {
    "vessels": _table(_vessels, "vessel short display imo other_number former units positions id"),
    "units": _table(
        _units, "unit vessel short display maker_type serial installed_in card_sheet id"
    ),
    "positions": _table(
        _positions, "position chip layout copies latest read_on verified unmet backup_locations id"
    ),
    "copies": _table(
        _copies,
        "position sha256 bytes reads first_read_on last_read_on reconstructed backup_locations",
    ),
    "reads": _table(
        _reads,
        "position read_on taken_in by reader how image dumps dump_sha256 reader_sum remark record",
        _further_facts(),
    ),
    "cards": _table(_cards, "vessel serial card_type location unit id"),
    "visits": _table(_visits, "vessel on closed by reader reads remark id"),
    "measurements": _table(
        _measurements,
        "where on stage name value unit low high within not_possible instrument "
        "calibrated by record",
    ),
    "swaps": _table(
        _swaps, "position opened by why route outcome ended reason contents_proven deviations id"
    ),
}


def cell(value: Cell) -> str:
    """Return a cell of a CSV; text that a spreadsheet would read as a formula is guarded.

    An apostrophe goes before text that begins with =, +, -, @, a tab or a line end, unless
    it is a number.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = str(value)
    guarded = text[:1] in {"=", "+", "-", "@", "\t", "\r", "\n"} and not _number(text)
    return f"'{text}" if guarded else text


def _number(text: str) -> bool:
    body = text.removeprefix("-").removeprefix("+")
    return body.isascii() and body.replace(".", "", 1).isdigit()
