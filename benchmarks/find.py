"""How often `layout find` is right: 200 invented controllers that it has never seen.

Run `python benchmarks/find.py`; `--quick` takes a few controllers, and looks at no
target. Each controller has a memory of 2 to 64 KiB with a layout of its own, read at
two visits; twenty of its values are known as its panel shows them, and in some of them
one or two more that are not stored at all. The seeds are apart from those of the tests
and of those used while the search was built (`--seed` shifts them).
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from typing import TYPE_CHECKING

from benchmarks.controllers.invent import KIB, Maker
from parambak.find.encodings import forms
from parambak.find.forms import Span
from parambak.find.panel_values import parse
from parambak.find.search import search
from parambak.memory.image import Image

if TYPE_CHECKING:
    from benchmarks.controllers.invent import Controller, Stored
    from parambak.find.search import ValueResult

MEASURED = 7_300_000
CONTROLLERS = 200
RIGHT_AT_LEAST = 0.90
WRONG_BELOW = 0.02
TIMES_OF_COUNT = 20


class Tally:
    """Counts of answers by the kind of field."""

    def __init__(self) -> None:
        self.counts: Counter[tuple[str, str]] = Counter()
        self.checks: Counter[str] = Counter()

    def take(self, made: Controller) -> None:
        """Search one controller, and count."""
        panel_values = parse(made.values.encode(), 2).panel_values
        result = search(panel_values, [Image.of(each) for each in made.images])
        for value in result.values:
            self._count(made.truth[value.panel_value.name], value)
        self.checks["there"] += made.check is not None
        for check in result.checks:
            if check.confident:
                right = made.check is not None and check.at == made.check[1]
                self.checks["right" if right else "wrong"] += 1

    def _count(self, truth: Stored | None, value: ValueResult) -> None:
        kind = kind_of(truth)
        first = value.candidates[0] if value.candidates else None
        place = bool(truth and first and first.at in {truth.at, truth.twin})
        whole = bool(place and truth and first and first.length == truth.length)
        self.counts[kind, "all"] += 1
        self.counts[kind, "place"] += place
        self.counts[kind, "width"] += whole
        self.counts[kind, "sure"] += value.confident
        self.counts[kind, "wrong"] += value.confident and not place
        self.counts[kind, "wrong width"] += value.confident and not whole

    def total(self, what: str) -> int:
        """Return a count over all kinds."""
        return sum(count for (_, counted), count in self.counts.items() if counted == what)


def kind_of(truth: Stored | None) -> str:
    """Return the kind under which a value is counted."""
    if truth is None:
        return ABSENT
    if truth.type == "text":
        return "text"
    changed = "changed" if truth.shown[0] != truth.shown[1] else "unchanged"
    return f"{'single byte' if truth.length == 1 else '16 bits and more'}, {changed}"


ABSENT = "not stored at all"
MEASURE = "16 bits and more, changed"


def accuracy(controllers: int, seed: int) -> bool:
    """Print how often the search is right; return whether the targets are met."""
    tally = Tally()
    for number in range(controllers):
        tally.take(Maker(seed + number).make())
    print(f"{controllers} controllers, {tally.total('all')} values")
    print("kind                          values  place first  and width  confident  of them wrong")
    for kind in sorted({kind for kind, _ in tally.counts}):
        count = tally.counts[kind, "all"]
        first, both, sure = (tally.counts[kind, what] for what in ("place", "width", "sure"))
        wrong = tally.counts[kind, "wrong width"]
        print(
            f"{kind:28} {count:7} {first / count:12.1%} {both / count:10.1%} {sure:10} {wrong:14}"
        )
    share = tally.counts[MEASURE, "place"] / max(1, tally.counts[MEASURE, "all"])
    total = max(1, tally.total("sure"))
    place, width = tally.total("wrong") / total, tally.total("wrong width") / total
    print(f"{MEASURE}: true place first {share:.1%} (at least {RIGHT_AT_LEAST:.0%})")
    print(
        f"confident and wrong: {place:.2%} in the place, {width:.2%} in place or width "
        f"(below {WRONG_BELOW:.0%})"
    )
    print(
        f"checks: {tally.checks['there']} there, {tally.checks['right']} found with confidence, "
        f"{tally.checks['wrong']} confident and wrong"
    )
    return share >= RIGHT_AT_LEAST and width < WRONG_BELOW


def speed(size: int, values: int, seed: int) -> bool:
    """Print the time of a search next to `bytes.count` of every form in the same run."""
    made = next(
        each
        for each in (Maker(seed + step).make() for step in range(2000))
        if len(each.images[0]) == size
    )
    others = [Maker(seed + step).make().values for step in range(4)]
    lines = "\n".join([made.values, *others]).splitlines()
    by_name = {each.partition(" =")[0]: each for each in reversed(lines) if each}
    text = "\n".join(list(reversed(by_name.values()))[:values])
    panel_values = parse(text.encode(), 2).panel_values
    images = [Image.of(each) for each in made.images]
    needles = [
        needle.ends[0] if isinstance(needle, Span) else needle
        for each in panel_values
        for form in forms(each)
        for needle in form.needles[:1]
        if needle
    ]
    begun = time.perf_counter()
    for needle in needles:
        made.images[0].count(needle)
    counting = time.perf_counter() - begun
    begun = time.perf_counter()
    search(panel_values, images)
    took = time.perf_counter() - begun
    print(
        f"{size // KIB} KiB, {len(panel_values)} values, {len(needles)} forms: {took:.2f} s; "
        f"bytes.count of each form once {counting:.2f} s; ratio {took / counting:.1f} "
        f"(at most {TIMES_OF_COUNT})"
    )
    return took <= TIMES_OF_COUNT * counting


def main() -> int:
    """Print accuracy and speed; return 1 if a target is missed."""
    quick = "--quick" in sys.argv[1:]
    shift = int(sys.argv[sys.argv.index("--seed") + 1]) if "--seed" in sys.argv else 0
    if quick:
        accuracy(4, MEASURED + shift)
        speed(64 * KIB, 50, MEASURED + shift)
        return 0
    good = accuracy(CONTROLLERS, MEASURED + shift)
    fast = speed(64 * KIB, 50, MEASURED + shift)
    return 0 if good and fast else 1


if __name__ == "__main__":
    sys.exit(main())
