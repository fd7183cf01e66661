"""Two reads of one memory, one soon after the other: the same, written between, or different."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.differences.bytes import beyond, differing_bytes, runs
from parambak.differences.fields import CHECK, RUNNING, TOLERANCE
from parambak.differences.fields import PARAMETER as WRITTEN_KIND
from parambak.differences.history import history

if TYPE_CHECKING:
    from parambak.differences.history import Step
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image

SAME = "same"
WRITTEN = "written"
DIFFERENT = "different"
SETTLED = frozenset({RUNNING, CHECK})


class Reread(NamedTuple):
    """How two reads compare.

    - `same`: no byte differs, except running and volatile fields and the checks over them.
    - `written`: somebody wrote whole values between the two. Each parameter, and each byte in no
      field, that changed is under a check that was renewed with it and holds.
    - `different`: a bit differs, and nothing shows a write.

    `addresses` are those that differ outside running and volatile fields.
    """

    kind: str
    addresses: tuple[int, ...] = ()


def reread(layout: Layout | None, first: Image, second: Image) -> Reread:
    """Return how the second read compares with the first; a layout of another memory is left out.

    Without a layout no field is declared running, and no check shows a write.
    """
    if first == second:
        return Reread(SAME)
    if layout is not None and max(first.end, second.end) > layout.memory:
        layout = None
    masks = moving_masks(layout) if layout is not None else {}
    addresses = tuple(at for run in runs(first, second) for at in beyond(run, masks))
    if layout is None or not addresses:
        return Reread(DIFFERENT if addresses else SAME, addresses)
    (step,) = history(layout, (first, second)).steps
    return Reread(_kind(layout, step), addresses)


def _kind(layout: Layout, step: Step) -> str:
    """Return what the changes of one step show together."""
    renewed = {change.field for change in step.fields if change.kind == CHECK}
    over = [pair for check in layout.checks if check.name in renewed for pair in check.over]
    loose = any(
        not any(
            first <= stretch.range.start and stretch.range.end <= last + 1 for first, last in over
        )
        for stretch in step.loose
    )
    if loose or step.broken or step.moves:
        return DIFFERENT
    changed = [change for change in step.fields if change.kind not in SETTLED]
    if not changed and not step.loose:
        return SAME
    whole = all(
        change.kind in {WRITTEN_KIND, TOLERANCE} and step.renewed.get(change.field)
        for change in changed
    )
    return WRITTEN if whole else DIFFERENT


def moving_masks(layout: Layout) -> dict[int, int]:
    """Return the bits of each byte that are declared running or volatile: address to mask."""
    from parambak.layouts import coverage  # noqa: PLC0415 - slow to import, layouts only

    kept: dict[int, int] | None = layout.__dict__.get("moving")
    if kept is None:
        kept = dict(coverage.masks(layout, "volatile"))
        for address, mask in coverage.masks(layout, "running").items():
            kept[address] = kept.get(address, 0) | mask
        layout.__dict__["moving"] = kept
    return kept


def agrees(layout: Layout | None, first: Image, second: Image) -> bool:
    """Return whether the two are the same outside running fields, without decoding far ones."""
    if first == second or layout is None:
        return first == second
    from parambak.layouts.slots import slots  # noqa: PLC0415 - slow to import, layouts only

    masks = moving_masks(layout)
    differing = differing_bytes(first, second, masks)
    if not masks or differing > sum(slot.length for slot in slots(layout) if slot.kind == "check"):
        return False
    return differing == 0 or reread(layout, first, second).kind == SAME
