"""The robust measures of `compare-units` against Python's own statistics and published examples."""

from __future__ import annotations

import random
import statistics

import pytest

from parambak.differences.units import unlike_values, weighted_median
from parambak.layouts.load import load
from parambak.memory.image import Image


def mad(numbers: list[float]) -> float:
    """Return the median of the distances from the median, by our medians alone."""
    median = weighted_median((each, 1) for each in numbers)
    return weighted_median((abs(each - median), 1) for each in numbers)


# Wikipedia, "Median absolute deviation": 1, 1, 2, 2, 4, 6, 9 has the median 2 and the MAD 1.
# scipy.stats.median_abs_deviation, its docstring: 10 7 4 3 2 1 gives 2.0. Both from memory,
# and computed again.
@pytest.mark.parametrize(
    ("numbers", "found"), [([1, 1, 2, 2, 4, 6, 9], 1.0), ([10, 7, 4, 3, 2, 1], 2.0)]
)
def test_published_examples(numbers: list[float], found: float) -> None:
    """The median absolute deviation as it is printed there."""
    assert mad(numbers) == found
    middle = statistics.median(numbers)
    assert statistics.median(abs(each - middle) for each in numbers) == found


def test_weighted_medians_are_those_of_the_statistics_module() -> None:
    """Over random numbers, each given as often as it occurs."""
    chance = random.Random(5)
    for _ in range(2000):
        counts = {
            chance.randrange(100): chance.randrange(1, 6) for _ in range(chance.randrange(1, 9))
        }
        written = [number for number, count in counts.items() for _ in range(count)]
        pairs = ((float(number), count) for number, count in counts.items())
        assert weighted_median(pairs) == statistics.median(written)


def test_scores_are_those_worked_out_with_the_statistics_module() -> None:
    """0.6745 (x - median) / MAD, on values that a layout scales."""
    layout = load(
        b"[layout]\ntitle = 'x'\nmemory = 2\nbyte-order = 'big'\n"
        b"[[field]]\nname = 'a'\nat = 0\ntype = 'u16'\nscale = 0.1\noffset = -40\n"
    )
    chance = random.Random(6)
    for _ in range(200):
        stored = [chance.randrange(1000, 1100) for _ in range(30)] + [chance.randrange(3000, 60000)]
        given = [(str(n), Image.of(s.to_bytes(2, "big"))) for n, s in enumerate(stored)]
        values = [each / 10 - 40 for each in stored]
        middle = statistics.median(values)
        spread = statistics.median(abs(each - middle) for each in values)
        found = {each.unit: each.score for each in unlike_values(layout, given)}
        for number, value in enumerate(values):
            score = 0.6745 * (value - middle) / spread
            if abs(score) >= 3.6:
                assert found[str(number)] == pytest.approx(score, rel=1e-6)
            elif abs(score) < 3.4:
                assert str(number) not in found
