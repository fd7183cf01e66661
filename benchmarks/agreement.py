"""How often the right cause is named first, and whether a wrong one is ever called certain.

Run `python -m benchmarks.agreement` (`--quick`: fewer and smaller). It makes at least 200 pairs
of reads for each cause, of invented memories and invented faults, and prints how often each
cause was named first. Counted strictly: for the nine causes, right is only the cause that was
made, named first; `cannot-tell` counts as not right, also if a fault has left little evidence.

Three rows more are not in that share, because no single cause is right for them: values changed in
between, two faults at once, and faults that no cause names. They count for the other figure:
a cause called certain that was not made. (Of two faults, either may be called certain; of the
values changed none; of the unlisted, crossed lines may be called certain as lines.)
"""

from __future__ import annotations

import random
import sys
import time
from collections import Counter

from parambak.reads.agreement import explain
from tests.reads.invented_faults import CAUSES, OTHERS, Case, make
from tests.reads.invented_memories import SIZES

SEED = 20261103
"""Apart from the seeds that the thresholds were chosen with, which are below 1000."""
SMALL = (128, 256, 512, 1024, 2048)
COLUMNS = (*CAUSES, "repeated", "cannot-tell")
SHORT = {
    "weak-cells": "weak",
    "data-line": "data",
    "address-line": "addr",
    "contact-lost": "contact",
    "bytes-swapped": "swapped",
    "shifted": "shifted",
    "halves-exchanged": "halves",
    "another-chip": "another",
    "cut-short": "cut",
    "repeated": "repeat",
    "cannot-tell": "none",
}


def allowed(case: Case) -> set[str]:
    """Return the causes that may be called certain of a case."""
    if case.cause == "two-faults":
        return set(case.how.split(":")[0].split("+"))
    if case.how == "data lines crossed":
        return {"data-line"}
    if case.how == "address lines crossed":
        return {"address-line", "bytes-swapped", "halves-exchanged"}
    return {case.cause}


def row(cause: str, number: int, sizes: tuple[int, ...], seed: int) -> list[tuple[Case, str, bool]]:
    """Return for each of `number` cases what was named first, and whether it was certain."""
    rng = random.Random(f"{seed} {cause}")
    rows = []
    for _ in range(number):
        case = make(cause, rng, sizes)
        first = explain(case.images).causes[0]
        rows.append((case, first.code, first.certain))
    return rows


def main() -> None:
    """Print the matrix: a row for each cause made, a column for each named first."""
    quick = "--quick" in sys.argv[1:]
    number, sizes = (200, SMALL) if quick else (250, SIZES)
    seed = next((int(each) for each in sys.argv[1:] if each.isdigit()), SEED)
    begun = time.perf_counter()
    print(
        f"{'made, ' + str(number) + ' each':18}"
        + "".join(f"{SHORT[c]:>8}" for c in COLUMNS)
        + "   right  certain  wrongly"
    )
    right = total = wrongly = 0
    for cause in (*CAUSES, *OTHERS):
        rows = row(cause, number, sizes, seed)
        named = Counter(code for _, code, _ in rows)
        certain = sum(sure for *_, sure in rows)
        wrong = [each for each in rows if each[2] and each[1] not in allowed(each[0])]
        share = f"{named[cause] / number:7.1%}" if cause in CAUSES else f"{'':7}"
        cells = "".join(f"{named[code] or '.':>8}" for code in COLUMNS)
        print(f"{cause:18}{cells} {share} {certain:8} {len(wrong):8}")
        wrongly += len(wrong)
        if cause in CAUSES:
            right, total = right + named[cause], total + number
    print(
        f"\nright first: {right} of {total}, {right / total:.1%}; "
        f"wrongly certain: {wrongly} of {total + number * len(OTHERS)}; "
        f"seed {seed}, {time.perf_counter() - begun:.0f} s"
    )


if __name__ == "__main__":
    main()
