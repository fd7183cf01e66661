"""Fuzz the three readers: nothing but a refusal of ours may come out of any input.

    python -m tests.fuzz [--seconds 60] [--runs 1000000] [--seed 1] [--unguided]

With atheris installed (Linux, Python 3.11 to 3.13) the runs are guided by coverage; else
they are changes at random to the same files. Both begin from `fixtures/dumps`. Of the text
formats each input is read twice, in bulk and record by record, and the two must say the same.
The first input that fails is written to `fuzz-failure.bin`, and the exit code is not 0.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import random
import sys
import tempfile
import time
from pathlib import Path
from typing import Any


def unguided(runs: int, seconds: float, seed: int) -> int:
    """Read inputs changed at random until the runs or the seconds are over; return the runs."""
    from tests.fuzz.readers import changed, one_input, seeds

    rng = random.Random(seed)
    pool = seeds()
    end = time.monotonic() + seconds
    for run in range(runs):
        if run % 256 == 0 and time.monotonic() > end:
            return run
        data = changed(rng.choice(pool), rng)
        try:
            one_input(data)
        except BaseException:
            Path("fuzz-failure.bin").write_bytes(data)
            raise
    return runs


def guided(runs: int, seconds: float, seed: int) -> None:
    """Hand over to atheris, which ends the process; the next run goes on from what it found."""
    atheris: Any = importlib.import_module("atheris")
    with atheris.instrument_imports(include=["parambak.dumps"]):
        readers = importlib.import_module("tests.fuzz.readers")
    folder = Path(tempfile.gettempdir()) / "parambak-fuzz"
    corpus, found = folder / "seeds", folder / "found"
    for each in (corpus, found):
        each.mkdir(parents=True, exist_ok=True)
    for number, data in enumerate(readers.seeds()):
        (corpus / f"{number:04}").write_bytes(data)
    options = [f"-runs={runs}", f"-max_total_time={int(seconds)}", f"-seed={seed}"]
    options += [f"-max_len={readers.LONGEST}", "-exact_artifact_path=fuzz-failure.bin"]
    options += ["-print_final_stats=1", "-verbosity=1", str(found), str(corpus)]
    atheris.Setup([sys.argv[0], *options], readers.one_input)
    atheris.Fuzz()


def main() -> None:
    """Run, and say how many inputs were read."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--runs", type=int, default=10**9)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--unguided", action="store_true", help="even where atheris is there")
    chosen = parser.parse_args()
    begun = time.monotonic()
    if importlib.util.find_spec("atheris") is not None and not chosen.unguided:
        guided(chosen.runs, chosen.seconds, chosen.seed)
    else:
        done = unguided(chosen.runs, chosen.seconds, chosen.seed)
        taken = time.monotonic() - begun
        sys.stdout.write(f"{done} inputs in {taken:.0f} s, none but refusals came out\n")


if __name__ == "__main__":
    main()
