"""The parts that pages share: identity, reads, differences, measurements, sums, the map."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from parambak.differences.bytes import runs
from parambak.differences.fields import changes, unmapped
from parambak.errors import ParambakError
from parambak.keeping.state import read_facts, seal, select
from parambak.keeping.state.remarks import remarks_of_change
from parambak.memory import digests
from parambak.reports import memory_map
from parambak.reports.parameters import limits
from parambak.swap import measurement_records
from parambak.swap.limits import load_limits
from parambak.swap.readiness import CAUTIONS
from parambak.swap.state import who
from parambak.swap.swaps import CLOSED

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from parambak.differences.bytes import Run
    from parambak.differences.fields import FieldChange
    from parambak.keeping.assess import Assessor
    from parambak.keeping.state.model import Copy, Fleet, Position, Read, Unit, Vessel
    from parambak.keeping.state.remarks import Remark
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image, Range
    from parambak.swap.limits import Limits
    from parambak.swap.measurement_records import Drift, MeasurementRecord
    from parambak.swap.measurements import Measurement
    from parambak.swap.swaps import End, Swap

Fact = tuple[str, str]
MOST_RUNS = 200  # stretches of changed bytes on a page
MOST_BYTES = 12  # of a stretch that are printed
MOST_CHANGES = 1000  # changed fields on a page


@dataclass(frozen=True)
class Desk:
    """What every page needs: the vault's fleet, the assessor, and the time when it is made."""

    fleet: Fleet
    assessor: Assessor
    made: datetime

    def person(self, mark: str | None) -> str:
        """Return the name behind a mark, or why there is none."""
        return "person not recorded" if mark is None else self.assessor.person(mark)

    def frame(self, title: str, vessel: Vessel) -> dict[str, Any]:
        """Return the frame of every page: its title, when it was made, the seal."""
        vault = self.assessor.vault
        sealed = seal.seal_of(
            vessel.handle, [vault.records(identity) for identity in sorted(vessel.ids)]
        )
        return {
            "title": title,
            "made": _moment(self.made),
            "vault": vault.identity,
            "patterns": memory_map.PATTERNS,
            "seal": seal.write(sealed),
            "cautions": CAUTIONS,
            "lost": [record.text for record in vessel.aboard.unsettled.lost],
            "accepted": self.assessor.accepted_words(vessel.aboard.unsettled),
        }


def _moment(when: datetime) -> str:
    """Return a time with its offset from UTC."""
    return f"{when:%Y-%m-%d %H:%M} (UTC{when:%z})" if when.tzinfo else f"{when:%Y-%m-%d %H:%M}"


class ByteRun(NamedTuple):
    """A stretch of changed bytes as it is printed."""

    at: str
    length: int
    old: str
    new: str
    fields: str


class Difference(NamedTuple):
    """How two images differ: changed fields, changed bytes, and unmapped bytes."""

    same: bool
    changed_bytes: int
    fields: tuple[FieldChange, ...]
    more_fields: int
    runs: tuple[ByteRun, ...]
    more_runs: int
    unmapped: tuple[str, ...]
    ranges: tuple[Range, ...]


def ship(vessel: Vessel) -> list[Fact]:
    """Return the names and numbers of the vessel."""
    facts: list[Fact] = [("vessel", _named(vessel.short, vessel.facts.get("display")))]
    _add(facts, "IMO number", vessel.facts.get("imo"))
    _add(facts, "official number", vessel.facts.get("other_number"))
    return facts


def identity(
    vessel: Vessel, unit: Unit | None, position: Position, layout: Layout | None
) -> list[Fact]:
    """Return the names and numbers of the vessel, the unit and the position."""
    facts = ship(vessel)
    if unit is not None:
        facts.append(("unit", _named(unit.short, unit.facts.get("display"))))
        _add(facts, "maker's type", unit.facts.get("maker_type"))
        _add(facts, "unit's serial number", unit.facts.get("serial"))
        _add(facts, "installed in", unit.facts.get("installed_in"))
    facts.append(("position", position.short))
    _add(facts, "memory chip", position.chip)
    if position.size is not None:
        facts.append(("size of the chip, by a person's word", f"{position.size} bytes"))
    if layout is not None and position.layout is not None:
        revision = f", revision {layout.revision}" if layout.revision else ""
        facts.append(("layout", f"{layout.title}{revision} ({position.layout.name})"))
        facts.append(("SHA-256 of the layout", position.layout.sha256))
    return facts


def _add(facts: list[Fact], label: str, value: str | None) -> None:
    if value:
        facts.append((label, value))


def _named(short: str, display: str | None) -> str:
    return f"{short} ({display})" if display else short


def sums(copy: Copy, image: Image) -> list[Fact]:
    """Return the SHA-256 and the sums of a copy's bytes."""
    return [
        ("SHA-256 of the image", copy.sha256),
        ("bytes", str(image.size)),
        ("CRC-32/ISO-HDLC", digests.crc32(image.content)),
        ("sum of the bytes, 16 bits", digests.sum16(image.content)),
        ("sum of the bytes, 8 bits", digests.sum8(image.content)),
    ]


def reads(desk: Desk, given: Iterable[Read]) -> list[dict[str, Any]]:
    """Return each read as it is printed."""
    return [
        {
            "on": " ".join(filter(None, (read.read_on.isoformat(), read.read_at))),
            "by": desk.person(read.by),
            "reader": read.facts.reader,
            "how": ", ".join(read_facts.phrases(read.facts)),
            "vote": bool(read.reconstructed_from),
            "files": [(dump.name, dump.format, dump.sha256) for dump in read.dumps],
            "sum": f"{read.reader_sum.shown}: {read.reader_sum.matched}"
            if read.reader_sum
            else None,
            "remark": read.remark,
        }
        for read in given
    ]


def remarks_on(
    desk: Desk, aboard: Iterable[Remark], position: Position, old: Copy, new: Copy
) -> list[dict[str, str]]:
    """Return the remarks on the change from one copy of a position to another.

    `aboard` are all remarks on record of the vessel.
    """
    return [
        {
            "text": remark.text,
            "who": f"{desk.person(remark.by)}, {remark.on}",
            "stretches": ", ".join(_stretch(run) for run in remark.ranges[:MOST_RUNS]),
        }
        for remark in remarks_of_change(aboard, position, old.image, new.image)
    ]


def _stretch(run: Range) -> str:
    """Return the first and last address of a stretch."""
    return f"0x{run.start:04X} to 0x{run.end - 1:04X}"


def difference(layout: Layout | None, old: Image, new: Image) -> Difference:
    """Return how two images differ, field by field if there is a layout."""
    from parambak.layouts.decode import decode  # noqa: PLC0415 - slow to import, layouts only

    changed = runs(old, new)
    fields: Sequence[FieldChange] = ()
    loose: Sequence[Range] = ()
    if layout is not None:
        fields = changes(decode(layout, old), decode(layout, new))
        loose = unmapped(layout, changed)
    words = [_stretch(run) for run in loose[:MOST_RUNS]]
    more = len(loose) - len(words)
    return Difference(
        same=not changed,
        changed_bytes=sum(run.length for run in changed),
        fields=tuple(fields[:MOST_CHANGES]),
        more_fields=max(0, len(fields) - MOST_CHANGES),
        runs=tuple(_byte_run(run, layout) for run in changed[:MOST_RUNS]),
        more_runs=max(0, len(changed) - MOST_RUNS),
        unmapped=(*words, f"and {more} more stretches") if more else tuple(words),
        ranges=tuple(run.range for run in changed),
    )


def _byte_run(run: Run, layout: Layout | None) -> ByteRun:
    from parambak.layouts import coverage  # noqa: PLC0415 - slow to import, layouts only

    names = coverage.fields_over(layout, run.start, run.length) if layout is not None else ()
    return ByteRun(
        f"0x{run.start:04X}",
        run.length,
        _hex(run.old),
        _hex(run.new),
        ", ".join(names[:6]) + (" …" if len(names) > 6 else ""),
    )


def _hex(data: bytes) -> str:
    if not data:
        return "no bytes"
    more = " …" if len(data) > MOST_BYTES else ""
    return data[:MOST_BYTES].hex(" ").upper() + more


def rounds(
    desk: Desk,
    records: Sequence[MeasurementRecord],
    shown: Iterable[str],
    where: str | None = None,
) -> list[dict[str, Any]]:
    """Return the rounds of the `shown` records, each with its drift since earlier rounds."""
    digests_shown = set(shown)
    return [
        _round(desk, record, records[:index], where)
        for index, record in enumerate(records)
        if record.record in digests_shown
    ]


def _round(
    desk: Desk, record: MeasurementRecord, earlier: Sequence[MeasurementRecord], where: str | None
) -> dict[str, Any]:
    drifts = measurement_records.drift(earlier, record.readings, record.on)
    by_name = {drift.name: drift for drift in drifts}
    stated = _limits(desk, record)
    return {
        "where": where,
        "on": record.on.isoformat(),
        "stage": record.stage,
        "by": desk.person(record.by),
        "instrument": record.instrument,
        "calibrated": record.calibrated,
        "late": measurement_records.overdue(stated, record.calibrated, record.on),
        "limits": f"{record.limits.name}, SHA-256 {record.limits.sha256}"
        if record.limits
        else None,
        "remark": record.remark,
        "readings": [_reading(reading, by_name.get(reading.name)) for reading in record.readings],
        "not_given": measurement_records.not_asked(stated, record.readings),
    }


def _limits(desk: Desk, record: MeasurementRecord) -> Limits | None:
    """Return the limits of a round; None if there are none, or they cannot be read."""
    if record.limits is None:
        return None
    try:
        return load_limits(desk.assessor.vault.read_object(record.limits.sha256))
    except ParambakError:
        return None


def _reading(reading: Measurement, drift: Drift | None) -> dict[str, Any]:
    first = drift.series[0][0] if drift is not None and len(drift.series) > 1 else None
    return {
        "name": reading.name,
        "value": f"{reading.value} {reading.unit}".strip() if reading.value else "",
        "typed": _typed(reading),
        "limits": limits(reading.low, reading.high),
        "words": reading.words,
        "out": reading.within is False,
        "since_last": drift.since_last if drift is not None else None,
        "since_first": f"{drift.since_first} ({first})" if drift is not None and first else None,
    }


def _typed(reading: Measurement) -> str | None:
    """Return the text typed, if it differs from the value shown; of a speed, the wheel's teeth."""
    if reading.typed is None:
        return None
    teeth = f", {reading.teeth} teeth" if reading.frequency is not None and reading.teeth else ""
    return f"typed {reading.typed}{teeth}"


def drawn(
    image: Image, size: int | None, layout: Layout | None, changed: Iterable[Range] = ()
) -> dict[str, Any]:
    """Return the map of a memory, its legend, and the bytes of one cell."""
    length = max(size or 0, image.end, 1)
    cells = memory_map.cells(length, image, layout, changed)
    return {
        "svg": memory_map.draw(cells),
        "legend": memory_map.legend(cells),
        "bytes_a_cell": cells.bytes_a_cell,
        "size": length,
    }


def swap_entry(desk: Desk, number: int, swap: Swap) -> dict[str, Any]:
    """Return one swap among those of its position, `number` counted from 1, as it is printed."""
    return {
        "number": number,
        "opened": who(desk.assessor, swap.opened),
        "why": swap.body.why,
        "outcome": _outcome(swap.end),
        "deviations": [deviation.condition for deviation in swap.deviations],
    }


def _outcome(end: End | None) -> str:
    """Return how a swap ended, in words."""
    if end is None:
        return "OPEN"
    word = end.words if end.outcome == CLOSED else end.words.upper()
    return f"{word} on {end.at:%Y-%m-%d}{f': {end.reason}' if end.reason else ''}"


def copy_name(position: Position, copy: Copy | None) -> str:
    """Return the name of a copy, or that there is none."""
    return select.copy_name(position, copy) if copy is not None else "no copy"
