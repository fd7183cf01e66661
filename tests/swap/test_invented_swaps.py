"""Invented swaps: each wrong thing is refused for itself, and the sound ones pass."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.swap.invented_swaps import NAMED, one

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize("kind", NAMED)
def test_a_swap_with_one_thing_wrong_is_refused_for_it(kind: str, tmp_path: Path) -> None:
    """By the condition or the read-back that is about it, and by no other."""
    for seed in range(2):
        assert one(7000 + seed, kind, tmp_path / "swap") == NAMED[kind]


def test_a_sound_swap_is_closed(tmp_path: Path) -> None:
    """Nothing stands in its way."""
    for seed in range(3):
        assert one(8000 + seed, None, tmp_path / "swap") is None
