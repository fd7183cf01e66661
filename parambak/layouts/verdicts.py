"""Whether the checks, mirrored copies and blank areas of a layout hold in an image."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from parambak.layouts.check_methods import compute, stored_length
from parambak.layouts.coverage import masks
from parambak.layouts.plan import plan_of
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from parambak.layouts.model import Check, Layout, Mirrored, Reserved

    Read = Callable[[int, int], bytes | None]


OTHER_ORDER = "holds in the other byte order"


class CheckResult(Struct, frozen=True):
    """Whether one check holds: None if bytes that it needs are absent.

    `stored` and `computed` are upper-case hexadecimal as wide as the stored value, most
    significant digit first. `method` is the layout's word, or "mirror-at", "mirrored" or
    "must-be-blank" for promises of other kinds, which store no value. `mark` gives what is unusual
    ("all bytes are 00"), or where it fails.
    """

    check: str
    at: int
    method: str
    holds: bool | None
    stored: str | None
    computed: str | None
    mark: str | None


def check_results(layout: Layout, read: Read) -> tuple[CheckResult, ...]:
    """Return the result of everything that `layout` promises, in the order written."""
    results = [_check(layout, check, read) for check in layout.checks]
    results.extend(_copies(layout, read))
    results.extend(_mirrored(layout, block, read) for block in layout.mirrored)
    results.extend(_blank(layout, area, read) for area in layout.reserved if area.must_be_blank)
    return tuple(results)


def _check(layout: Layout, check: Check, read: Read) -> CheckResult:
    order = check.byte_order or layout.byte_order
    length = stored_length(check)
    stored = read(check.at, length)
    held = None if stored is None else int.from_bytes(stored, order)
    parts = [read(first, last - first + 1) for first, last in check.over]
    data = b"".join(part for part in parts if part is not None)
    value = None if None in parts else compute(check, data, order)
    constant = value is not None and data == data[:1] * len(data)
    mark = f"all bytes are {data[0]:02X}" if constant else None
    if mark is None and stored is not None and held != value:
        # The commonest slip in a new layout: the chip is good, the order written is not.
        turned = int.from_bytes(stored[::-1], order) == value
        mark = OTHER_ORDER if turned else None
    return CheckResult(
        check.name,
        check.at,
        check.method,
        None if held is None or value is None else held == value,
        None if held is None else f"{held:0{2 * length}X}",
        None if value is None else f"{value:0{2 * length}X}",
        mark,
    )


def _copies(layout: Layout, read: Read) -> Iterator[CheckResult]:
    """Yield, for each field stored at several addresses, whether all its rows agree."""
    results: dict[int, CheckResult] = {}
    for plan in plan_of(layout).fields:
        if not plan.field.mirror_at:
            continue
        slot = plan.slot
        addresses = (slot.at, *(slot.at - plan.field.at + at for at in plan.field.mirror_at))
        held = [read(at, slot.length) for at in addresses]
        values = {plan.reader.codec.read(raw) for raw in held if raw is not None}
        holds = None if None in held else len(values) == 1
        earlier = results.get(id(plan.field))
        if earlier is None or (earlier.holds is not False and holds is not True):
            mark = f"{plan.name} differs between its addresses" if holds is False else None
            results[id(plan.field)] = CheckResult(
                plan.name, slot.at, "mirror-at", holds, None, None, mark
            )
    yield from results.values()


def _mirrored(layout: Layout, block: Mirrored, read: Read) -> CheckResult:
    first, second = read(block.at, block.length), read(block.mirror_at, block.length)
    holds: bool | None = None
    mark = None
    if first is not None and second is not None:
        live = masks(layout, "volatile")
        pairs = zip(first, second, strict=True) if first != second else ()
        differing = [
            at
            for at, (one, other) in enumerate(pairs, block.at)
            if (one ^ other) & ~live.get(at, 0)
        ]
        holds = not differing
        if differing:
            many = counted(len(differing), "byte differs", "bytes differ")
            mark = f"{many}, the first at 0x{differing[0]:04X}"
    return CheckResult(block.name, block.mirror_at, "mirrored", holds, None, None, mark)


def _blank(layout: Layout, area: Reserved, read: Read) -> CheckResult:
    data = read(area.at, area.length)
    holds: bool | None = None
    mark = None
    if data is not None:
        rest = data.lstrip(bytes([layout.blank]))
        holds = not rest
        if rest:
            mark = f"the first byte that is not blank is at 0x{area.at + len(data) - len(rest):04X}"
    return CheckResult(area.name, area.at, "must-be-blank", holds, None, None, mark)
