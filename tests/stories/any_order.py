"""Two laptops that work and put slips right by chance, and are merged in any order.

`python -m tests.stories.any_order --seeds 300` runs many; a share of it is in `test_04_merged.py`.
"""

from __future__ import annotations

import argparse
import random
import shutil
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING
from unittest.mock import patch

from tests.stories.conftest import Laptop
from tests.stories.slips import LATER, answers
from tests.stories.small_unit import OLD_LAYOUT, memory

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

MERGED = 0.15  # of the steps
BY = "--by 'A. Fitter' --reason 'typed wrong'"
PLACES = ["grebe/winch/U12", "grebe/winch/U13", "grebe/crane/U7", "wader/crane/U7"]


def write_files(laptop: Laptop) -> None:
    """Write a layout, and dumps of three states of a chip."""
    laptop.write("winch.toml", OLD_LAYOUT)
    for number in range(3):
        laptop.dump(f"{number}.BIN", memory(1, ramp=150 + number))


def at(where: str) -> str:
    """Return the options of a position."""
    vessel, unit, position = where.split("/")
    return f"--vessel {vessel} --unit {unit} --position {position}"


def line(chance: random.Random) -> str:
    """Return one thing that a person may do: read, measure, put a slip right."""
    where, other = chance.choice([PLACES[0], *PLACES]), chance.choice(PLACES)
    day = f"2026-02-{chance.randrange(1, 28):02d}"
    confirmed = "--new-vessel --new-unit --new-position"
    return chance.choice(
        [
            f"archive {chance.randrange(3)}.BIN {at(where)} {confirmed} --position-confirmed",
            f"measure {where.rpartition('/')[0]} core_rail={chance.randrange(3, 5)}V",
            f"withdraw {where}@latest {BY}",
            f"withdraw {where} {BY}",
            f"correct {where}@latest --position {other} {confirmed} {BY}",
            f"correct {where}@latest --read-on {day} {BY}",
            f"correct {where.partition('/')[0]} --display-name 'name {day}'",
            f"archive {chance.randrange(3)}.BIN {at(where)} {confirmed} --position-confirmed",
            f"diff {where}@previous {where} --remark 'seen {day}' --by 'A. Fitter'",
            f"swap open {where} --old-card OLD-1 --new-card-serial NEW-1 {BY}",
            f"swap answer {where} 'permit=yes: 14' --by 'A. Fitter'",
            f"swap close {where} --abandoned {BY}",
            "--json undo",
            "--json undo --redo",
        ]
    )


def take(laptop: Laptop, other: Laptop, chance: random.Random | None = None) -> None:
    """Copy to a laptop all records and objects that another has; in any order of the files."""
    names: Iterable[str] = other.files()
    if chance is not None:
        names = chance.sample(list(names), len(list(names)))
    for name in names:
        target = laptop.vault / name
        if name.startswith(("records", "objects")) and not target.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(other.vault / name, target)


def read(laptops: Callable[[str], Laptop], name: str, sources: list[Laptop]) -> dict[str, str]:
    """Return the answers of a vault that is merged from these, in this order."""
    merged = laptops(name)
    merged.vault.mkdir()
    shutil.copyfile(sources[0].vault / "vault.toml", merged.vault / "vault.toml")
    for source in sources:
        take(merged, source)
        merged.run("--json catalogue")  # the index is kept between the two
    shown = answers(merged)
    for vessel in ("grebe", "wader"):
        merged.now = LATER
        shown[f"withdrawn of {vessel}"] = merged.run(f"history {vessel} --withdrawn").text
    return shown


def run(seed: int, laptops: Callable[[str], Laptop], steps: int = 14) -> Counter[str]:
    """Let two laptops work and merge by chance; raise AssertionError if two merges differ.

    Return how often each command did what it was asked.
    """
    chance = random.Random(seed)
    done: Counter[str] = Counter()
    mine, other = laptops("mine"), laptops("other")
    for laptop in (mine, other):
        write_files(laptop)
    mine.yes(f"archive 0.BIN 1.BIN {at(PLACES[0])} --layout winch.toml --new-vessel --new-unit")
    mine.yes(f"archive 0.BIN {at(PLACES[1])} --new-position --position-confirmed")
    shutil.copytree(mine.vault, other.vault)
    for _ in range(steps):
        laptop, source = chance.sample([mine, other], 2)
        if chance.random() < MERGED:
            take(laptop, source, chance)
            done["merge"] += 1
            continue
        typed = line(chance)
        result = laptop.run(typed)
        assert result.code in {0, 1, 2}, (typed, result)
        assert "Traceback" not in result.err, (typed, result)
        done[" ".join(typed.removeprefix("--json ").split()[:2])] += result.code in {0, 1}
    first = read(laptops, "merged", [mine, other])
    assert read(laptops, "merged the other way", [other, mine]) == first, seed
    take(mine, other, chance)
    take(other, mine, chance)
    assert read(laptops, "from mine", [mine]) == first, seed
    assert read(laptops, "from the other", [other]) == first, seed
    return done


def _laptops(folder: Path) -> Callable[[str], Laptop]:
    return lambda name: Laptop(folder / name)


def main() -> None:
    """Run many, each in a folder of its own, and print how often each command was done."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=300)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--steps", type=int, default=14)
    asked = parser.parse_args()
    done: Counter[str] = Counter()
    with patch("os.fsync"):
        for seed in range(asked.first, asked.first + asked.seeds):
            with TemporaryDirectory() as folder:
                done += run(seed, _laptops(Path(folder)), asked.steps)
    kinds: Counter[str] = Counter()
    for words, times in done.items():
        kinds[words if words.startswith(("swap", "undo")) else words.split()[0]] += times
    print(f"{asked.seeds} runs of {asked.steps} steps, 4 ways of merging: the same answers.")  # noqa: T201
    for words, times in kinds.most_common():
        print(f"{times:6} {words}")  # noqa: T201


if __name__ == "__main__":
    main()
