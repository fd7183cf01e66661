"""Whether a dump is of another position than the one named: port and starboard mixed up."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.differences.bytes import differing_bytes
from parambak.errors import CallRefused, Fault
from parambak.keeping.state import select
from parambak.keeping.state.cards import cross_overs
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.keeping.recording.filing import TypedPosition
    from parambak.keeping.state.model import Fleet
    from parambak.layouts.decode import FieldValue
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image, Range
    from parambak.vault.vault import Vault

FITS_ELSEWHERE = Fault(
    "position-fits-elsewhere",
    CallRefused,
    "this dump fits another position much better than the one named",
    "Check which chip was read. If the position is right, give --position-confirmed.",
)
OTHER_UNIT = Fault(
    "position-other-unit",
    CallRefused,
    "the field {name}, which identifies the unit, differs from the latest copy",
    "Check which unit was read. If the position is right, give --position-confirmed.",
)
CROSS_OVER_READ = Fault(
    "cross-over-read",
    CallRefused,
    (
        "the cards of {one} and {other} are crossed over: the chip in each carries the other "
        "unit's parameters"
    ),
    "Name the unit of these parameters, and give --position-confirmed. Or put the cards back, and "
    "record that: `parambak card cross-over {one} {other} --back`.",
)
# On an ordinary visit a dump differs from its latest copy in a few bytes; below this number
# only an exact match elsewhere counts as a better fit.
FEW_BYTES = 8
FAR_BETTER = 4


class Distance(NamedTuple):
    """How far an image is from the latest copy of one position, in bytes."""

    copy: str
    differing: int


def refuse_better_fit(
    image: Image,
    own: tuple[str, Image],
    candidates: Iterable[tuple[str, Image]],
    moving: Sequence[Range],
) -> None:
    """Raise CallRefused, with the figures, if another position fits much better.

    `own` and `candidates` are each a copy's name and image; `moving` are the running and
    volatile ranges, which are not compared.
    """
    here = _distance(image, own, moving)
    best = min(
        (_distance(image, candidate, moving) for candidate in candidates),
        key=lambda fit: fit.differing,
        default=None,
    )
    if best is not None and far_better(best.differing, here.differing):
        raise FITS_ELSEWHERE.error(
            expected=f"near {here.copy}, from which it differs in "
            f"{counted(here.differing, 'byte')}",
            found=f"nearer to {best.copy}, from which it differs in "
            f"{counted(best.differing, 'byte')}",
        )


def _distance(image: Image, copy: tuple[str, Image], moving: Sequence[Range]) -> Distance:
    name, other = copy
    return Distance(name, differing_bytes(image.without(moving), other.without(moving)))


def far_better(elsewhere: int, here: int) -> bool:
    """Return whether so many differing bytes elsewhere fit far better than so many here."""
    if elsewhere == 0:
        return here > 0
    return here >= FEW_BYTES and elsewhere * FAR_BETTER <= here


def refuse_other_unit(layout: Layout, image: Image, own: Image) -> None:
    """Raise if a field that identifies the unit differs from the latest copy.

    A field without bytes in the latest copy is not compared.
    """
    from parambak.layouts import coverage  # noqa: PLC0415 - slow to import, layouts only
    from parambak.layouts.decode import decode  # noqa: PLC0415 - the same

    ranges = coverage.ranges_of(layout, "identifies-unit")
    if all(own.read(*stretch) in {None, image.read(*stretch)} for stretch in ranges):
        return
    read = {value.field: value for value in decode(layout, image).fields}
    for before in decode(layout, own).fields:
        now = read[before.field]
        if before.identifies_unit and before.own not in {None, now.own}:
            expected, found = _shown(before), _shown(now)
            if expected == found:  # other bytes of one value, such as another padding
                expected, found = _bytes(before), _bytes(now)
            raise OTHER_UNIT.error(
                name=before.field, offset=before.at, expected=expected, found=found
            )


def _shown(value: FieldValue) -> str:
    """Return text in quotes, a number with its unit, and otherwise the bytes."""
    kind = value.plan.field.type.kind
    if value.value is None or value.mark or kind == "bytes":
        return _bytes(value)
    if kind == "text":
        return f'"{value.value}"'
    return f"{value.value} {value.unit}" if value.unit else value.value


def _bytes(value: FieldValue) -> str:
    return "no bytes" if value.raw is None else value.raw.hex(" ").upper()


def refuse_crossed_over(
    vault: Vault, fleet: Fleet, typed: TypedPosition, *, confirmed: bool
) -> tuple[str, ...]:
    """Raise if a read is filed under a unit with its card crossed over; warn if confirmed."""
    vessels = select.vessels_named(fleet, typed.vessel)
    if typed.unit is None or len(vessels) != 1:
        return ()
    name = typed.unit.casefold()
    for cross_over in cross_overs(vault, vessels[0]):
        names = [n.casefold() for unit in cross_over.units for n in (unit.short, *unit.former)]
        if name in names:
            if confirmed:
                return (cross_over.text,)
            one, other = (unit.where for unit in cross_over.units)
            raise CROSS_OVER_READ.error(
                one=one, other=other, expected="each card in its own unit", found=cross_over.text
            )
    return ()
