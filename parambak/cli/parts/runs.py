"""Runs of changed bytes, for scripts and as rows of a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.differences.bytes import Run

RUNS_SHOWN = 40
BYTES_SHOWN = 12


def run_document(run: Run) -> dict[str, Any]:
    """Return a run under the keys of the contract."""
    return {"start": run.start, "old": run.old.hex().upper(), "new": run.new.hex().upper()}


def run_rows(runs: Sequence[Run]) -> list[tuple[str, str, str, str]]:
    """Return runs as rows: address, number of bytes, both sides' bytes."""
    return [
        (f"0x{run.start:04X}", str(run.length), side(run.old), side(run.new))
        for run in runs[:RUNS_SHOWN]
    ]


def side(data: bytes) -> str:
    """Return the bytes of one side, shortened where there are many."""
    if not data:
        return "absent"
    shown = data[:BYTES_SHOWN].hex(" ").upper()
    return shown if len(data) <= BYTES_SHOWN else f"{shown} …"
