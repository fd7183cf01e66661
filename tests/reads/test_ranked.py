"""The answers to invented faults, case by case: the causes in their order, and the figures.

One line a case: the causes as ranked, each with its share, `!` if it is certain, and the
numbers of its sentence; the words are free. Rules that weigh evidence move many of these lines
together. After a change that is intended, run `python -m tests.reads.test_ranked`, and read
the difference.
"""

from __future__ import annotations

import random
import re
from pathlib import Path
from typing import TYPE_CHECKING

from parambak.reads.agreement import explain
from tests.reads.invented_faults import CAUSES, OTHERS, make

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.reads.agreement import Cause

GOLDEN = Path(__file__).with_name("ranked.txt")
EACH, SIZES, SEED = 14, (128, 256, 512, 1024), 20261130
NUMBER = re.compile(r"0x[0-9A-F]+|[AD]?[0-9]+|\b[0-9A-F]{2}\b")


def lines() -> Iterator[str]:
    """Yield one line for each case."""
    for cause in (*CAUSES, *OTHERS):
        rng = random.Random(f"{SEED} {cause}")
        for _ in range(EACH):
            case = make(cause, rng, SIZES)
            shown = "; ".join(map(_shown, explain(case.images).causes))
            yield f"{cause}, {case.how}: {shown}"


def _shown(cause: Cause) -> str:
    sure = "!" if cause.certain else ""
    numbers = " ".join(sorted(set(NUMBER.findall(cause.text))))
    return f"{cause.code} {cause.figure:.2f}{sure} [{numbers}]"


def test_causes_are_ranked_as_they_were() -> None:
    """For every invented case: order, share, certainty and figures."""
    assert list(lines()) == GOLDEN.read_text("utf-8").splitlines()


if __name__ == "__main__":
    GOLDEN.write_text("\n".join(lines()) + "\n", "utf-8", newline="\n")
