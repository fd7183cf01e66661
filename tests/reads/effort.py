"""How the effort of a function grows with its input, independent of the load of the machine."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable


def growth(small: Callable[[], object], large: Callable[[], object]) -> float:
    """Return how many times the processor time of `small` the call of `large` takes."""
    return _least(large) / _least(small)


def _least(work: Callable[[], object]) -> float:
    """Return the processor time of the quicker of two calls."""
    times = []
    for _ in range(2):
        begun = time.process_time()
        work()
        times.append(time.process_time() - begun)
    return min(times)
