"""Stretches of changed bytes as rows of a page."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.answers.differences import RunShown
    from parambak.answers.swap.read_back import DifferenceShown

RUNS_SHOWN = 40
BYTES_SHOWN = 12


def run_rows(runs: Sequence[RunShown | DifferenceShown]) -> list[tuple[str, str, str, str]]:
    """Return runs as rows: address, number of bytes, both sides' bytes."""
    return [
        (
            f"0x{run.start:04X}",
            str(max(len(run.old), len(run.new)) // 2),
            side(bytes.fromhex(run.old)),
            side(bytes.fromhex(run.new)),
        )
        for run in runs[:RUNS_SHOWN]
    ]


def side(data: bytes) -> str:
    """Return the bytes of one side, shortened if there are many."""
    if not data:
        return "absent"
    shown = data[:BYTES_SHOWN].hex(" ").upper()
    return shown if len(data) <= BYTES_SHOWN else f"{shown} …"
