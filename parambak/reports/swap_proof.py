"""What a swap has to show: files released, read-backs with what differed, function tests."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from parambak.errors import VaultDamaged
from parambak.reports import parts
from parambak.swap.state import who

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.bodies import ReadBackBody
    from parambak.layouts.model import Layout
    from parambak.memory.image import Range
    from parambak.reports.parts import Desk
    from parambak.swap.swaps import End, ReadBackStep, Released, Swap, Tested

MOST_IMAGES = 6  # images read back whose differences are printed in full


def proof(desk: Desk, swap: Swap) -> dict[str, Any]:
    """Return what was released, read back and tested, and whether the contents are proven."""
    proving = {each.record for each in swap.proof}
    tested: list[Tested | End] = [*swap.tested]
    if swap.end is not None:
        tested.append(swap.end)
    return {
        "released": [_released(desk, each) for each in swap.released],
        "read_backs": [
            _read_back(desk, each, proving=each.record in proving) for each in swap.read_backs
        ],
        "contents": contents(swap),
        "unproven": swap.unproven,
        "tests": [
            {
                "name": test.name,
                "result": test.result,
                "text": test.text,
                "who": who(desk.assessor, each),
            }
            for each in tested
            for test in each.tests
        ],
    }


def contents(swap: Swap) -> str:
    """Return in words whether it is proven that the card holds the copy meant, and by what."""
    if swap.unproven is not None:
        return "contents NOT PROVEN"
    by_values = any(each.body.by_values for each in swap.proof)
    return f"contents proven by {'values, with a layout for each side' if by_values else 'bytes'}"


def _released(desk: Desk, told: Released) -> dict[str, Any]:
    body = told.body
    return {
        "who": who(desk.assessor, told),
        "format": body.format,
        "sha256": body.file_sha256,
        "second": body.second_sha256,
        "sum16": body.sum16,
        "unverified": body.unverified,
    }


def _read_back(desk: Desk, told: ReadBackStep, *, proving: bool) -> dict[str, Any]:
    body = told.body
    return {
        "who": who(desk.assessor, told),
        "stage": body.stage,
        "files": ", ".join(dump.name for dump in body.dumps),
        "sha256": body.image.sha256,
        "loaded": body.loaded_correctly,
        "found": _found(body),
        "proof": proving,
    }


def _found(body: ReadBackBody) -> str:
    """Return how much differed, and how much of it was expected to."""
    differing = body.differing_values if body.by_values else body.differing_bytes
    expected = body.expected_values if body.by_values else body.expected_bytes
    one, many = ("value", "values") if body.by_values else ("byte", "bytes")
    words = f"{differing} {one if differing == 1 else many} differ{'s' if differing == 1 else ''}"
    return f"{words}; {expected} more as expected" if expected else words


def differences(
    desk: Desk, layout: Layout | None, swap: Swap
) -> tuple[list[dict[str, Any]], Sequence[Range]]:
    """Return how what was read back differs from the copy meant, and what changed at the last.

    One entry for each image that differs, the newest first; one read back by values has none.
    """
    entries: list[dict[str, Any]] = []
    changed: Sequence[Range] = ()
    seen = set()
    for each in reversed(swap.read_backs):
        body = each.body
        if body.by_values or body.image in seen or body.image == body.meant:
            continue
        seen.add(body.image)
        if len(seen) > MOST_IMAGES:
            break
        found = _difference(desk, layout, body)
        names = ", ".join(dump.name for dump in body.dumps)
        entries.append({"title": f"{names}, {body.stage}", "difference": found})
        if each is swap.read_backs[-1] and found is not None:
            changed = found.ranges
    return entries, changed


def _difference(desk: Desk, layout: Layout | None, body: ReadBackBody) -> parts.Difference | None:
    vault = desk.assessor.vault
    try:
        meant, read = (
            entry.image(vault.read_object(entry.sha256)) for entry in (body.meant, body.image)
        )
    except VaultDamaged:
        return None
    return parts.difference(layout, meant, read)
