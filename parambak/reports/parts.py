"""The parts that pages share: identity, reads, parameters, differences, digests, the map."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from parambak.compare.bytes import runs
from parambak.compare.fields import changes, shown, unexplained
from parambak.errors import VaultDamaged
from parambak.keeping import closing_line, select
from parambak.memory import digests
from parambak.reports import memory_map
from parambak.swap.cautions import CAUTIONS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from parambak.compare.bytes import Run
    from parambak.compare.fields import FieldChange
    from parambak.keeping.assess import Assessor
    from parambak.keeping.known import Copy, Fleet, Position, Read, Unit, Vessel
    from parambak.layouts.decode import Decoded
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image, Range
    from parambak.swap.measured import Measured

Fact = tuple[str, str]
MOST_RUNS = 200  # stretches of changed bytes on a page
MOST_BYTES = 16  # of a stretch that are printed


@dataclass(frozen=True)
class Desk:
    """What every page is made from: the vault's fleet, the assessor, and the time of making."""

    known: Fleet
    assessor: Assessor
    made: datetime

    def person(self, mark: str | None) -> str:
        """Return the name behind a mark, or why there is none."""
        if mark is None:
            return "nobody named"
        try:
            return self.assessor.vault.person(mark)
        except VaultDamaged:
            return f"a person whose name is lost ({mark[:8]})"

    def frame(self, title: str, vessel: Vessel) -> dict[str, Any]:
        """Return what stands on every page: its title, when it was made, the closing line."""
        vault = self.assessor.vault
        line = closing_line.line_of(
            vessel.handle, [vault.records(identity) for identity in sorted(vessel.ids)]
        )
        return {
            "title": title,
            "made": f"{self.made:%Y-%m-%d %H:%M} (UTC{self.made:%z})",
            "closing_line": closing_line.write(line),
            "cautions": CAUTIONS,
        }


class ByteRun(NamedTuple):
    """A stretch of changed bytes as it is printed."""

    at: str
    length: int
    old: str
    new: str
    fields: str


class Difference(NamedTuple):
    """How two images differ: changed fields, changed bytes, and those that nothing explains."""

    same: bool
    changed_bytes: int
    fields: tuple[FieldChange, ...]
    runs: tuple[ByteRun, ...]
    more_runs: int
    unexplained: tuple[str, ...]
    ranges: tuple[Range, ...]


def identity(
    vessel: Vessel, unit: Unit | None, position: Position, layout: Layout | None
) -> list[Fact]:
    """Return what is known of the vessel, the unit and the position."""
    facts: list[Fact] = [("vessel", _named(vessel.short, vessel.facts.get("display")))]
    _add(facts, "IMO number", vessel.facts.get("imo"))
    _add(facts, "official number", vessel.facts.get("other_number"))
    if unit is not None:
        facts.append(("unit", _named(unit.short, unit.facts.get("display"))))
        _add(facts, "maker's type", unit.facts.get("maker_type"))
        _add(facts, "unit's serial number", unit.facts.get("serial"))
        _add(facts, "stands", unit.facts.get("stands"))
    facts.append(("position", position.short))
    _add(facts, "memory chip", position.chip)
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
    """Return the digest and the sums of a copy's bytes."""
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
            "on": read.read_on.isoformat(),
            "by": desk.person(read.by),
            "reader": read.reader,
            "how": read.how,
            "files": [(dump.name, dump.format, dump.sha256) for dump in read.dumps],
            "sum": f"{read.reader_sum.shown}: {read.reader_sum.matched}"
            if read.reader_sum
            else None,
            "remark": read.remark,
        }
        for read in given
    ]


def parameters(decoded: Decoded | None) -> list[dict[str, Any]]:
    """Return every field with its value, its range, and what has to be said of it."""
    fields = decoded.fields if decoded is not None else ()
    return [
        {
            "field": each.field,
            "value": shown(each),
            "unit": each.unit,
            "range": _range(each.low, each.high),
            "outside": each.within_limits is False,
            "marks": [
                *([each.mark] if each.mark and each.value is not None else []),
                *(["expected to change"] if each.expected_to_change else []),
                *(["belongs to the card"] if each.belongs_to_card else []),
                *(["identifies the unit"] if each.identifies_unit else []),
            ],
        }
        for each in fields
    ]


def _range(low: str | None, high: str | None) -> str:
    if low is not None and high is not None:
        return f"{low} to {high}"
    if low is not None:
        return f"from {low}"
    return f"to {high}" if high is not None else ""


def difference(layout: Layout | None, old: Image, new: Image) -> Difference:
    """Return how two images differ, field by field where there is a layout."""
    from parambak.layouts.decode import decode  # noqa: PLC0415 - slow to import, layouts only

    found = runs(old, new)
    fields: Sequence[FieldChange] = ()
    loose: Sequence[Range] = [run.range for run in found]
    if layout is not None:
        fields = changes(decode(layout, old), decode(layout, new))
        loose = unexplained(layout, found)
    return Difference(
        same=not found,
        changed_bytes=sum(run.length for run in found),
        fields=tuple(fields),
        runs=tuple(_byte_run(run, layout) for run in found[:MOST_RUNS]),
        more_runs=max(0, len(found) - MOST_RUNS),
        unexplained=tuple(f"0x{r.start:04X} to 0x{r.end - 1:04X}" for r in loose),
        ranges=tuple(run.range for run in found),
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
        return "absent"
    more = " …" if len(data) > MOST_BYTES else ""
    return data[:MOST_BYTES].hex(" ").upper() + more


def drawn(
    image: Image, size: int | None, layout: Layout | None, changed: Iterable[Range] = ()
) -> dict[str, Any]:
    """Return the map of a memory, its legend, and what one cell stands for."""
    whole = max(size or 0, image.end, 1)
    found = memory_map.cells(whole, image, layout, changed)
    return {
        "svg": memory_map.draw(found),
        "legend": memory_map.legend(found),
        "bytes_a_cell": found.bytes_a_cell,
        "size": whole,
    }


def measurements(desk: Desk, given: Iterable[Measured]) -> list[dict[str, Any]]:
    """Return each round of measuring as it is printed."""
    return [
        {
            "on": each.on.isoformat(),
            "stage": each.stage,
            "by": desk.person(each.by),
            "instrument": each.instrument,
            "calibrated": each.calibrated,
            "remark": each.remark,
            "readings": [
                {
                    "name": reading.name,
                    "value": f"{reading.value} {reading.unit}" if reading.value else "",
                    "limits": _range(reading.low, reading.high),
                    "words": reading.words,
                    "out": reading.within is False,
                }
                for reading in each.readings
            ],
        }
        for each in given
    ]


def copy_name(position: Position, copy: Copy | None) -> str:
    """Return the name of a copy, or that there is none."""
    return select.copy_name(position, copy) if copy is not None else "no copy"
