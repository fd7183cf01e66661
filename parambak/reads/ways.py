"""How two chips can hold one memory, by name."""

from __future__ import annotations

from typing import Final, Literal

How = Literal["duplicate", "even-odd", "odd-even", "low-high", "high-low"]
WAYS: Final[tuple[How, ...]] = ("duplicate", "even-odd", "odd-even", "low-high", "high-low")
