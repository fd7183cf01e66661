"""Mutation testing of one room: how many small changes to its code do its tests not see?

    python -m tests.mutants dumps                      all, for hours
    python -m tests.mutants dumps --sample 300         so many at random, with --seed

Needs `pip install mutmut` (Linux or macOS). It works in a copy of the tracked files in a
temporary folder, which it names, and prints each mutant that is still alive. Each of those
is to be looked at: either it changes nothing that anyone could see, or a test is missing.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SETTINGS = """[mutmut]
source_paths=parambak
only_mutate=parambak/{room}/*.py
also_copy=
    fixtures
    formats
    shared
pytest_add_cli_args=
    -x
    -p
    no:cacheprovider
    --deselect=tests/dumps/test_formats_pages.py::test_every_code_is_on_its_page
    --deselect=tests/dumps/test_limits.py
pytest_add_cli_args_test_selection=
    tests/{room}
    {more}
"""
"""Left out: a test that reads the source, in which every mutant stands; and a slow one."""
MORE = {
    "dumps": (
        "tests/outside/test_intel_hex_published.py",
        "tests/outside/test_s_record_published.py",
    )
}
"""Quick tests of a room that stand elsewhere."""
QUICK_EXAMPLES = """from hypothesis import HealthCheck, Phase, settings

settings.register_profile(
    "mutants",
    max_examples=15,
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.generate],
)
settings.load_profile("mutants")
"""
"""No shrinking of a failure: a mutant found is found."""


def copied(room: str) -> Path:
    """Return a folder with the tracked files, made ready for one room."""
    folder = Path(tempfile.mkdtemp(prefix="parambak-mutants-"))
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, check=True, capture_output=True, text=True
    )
    for name in listed.stdout.split("\0"):
        if name and (ROOT / name).is_file():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, folder / name)
    more = "\n    ".join(MORE.get(room, ()))
    (folder / "setup.cfg").write_text(SETTINGS.format(room=room, more=more), "utf-8")
    with (folder / "tests" / "conftest.py").open("a", encoding="utf-8") as quick:
        quick.write(QUICK_EXAMPLES)
    return folder


def mutmut(folder: Path, *names: str) -> int:
    """Run it on the mutants of these names, all of them where none is given."""
    command = [sys.executable, "-m", "mutmut", "run", "--max-children", "1", *names]
    return subprocess.run(command, cwd=folder, check=False).returncode


def outcomes(folder: Path, room: str) -> dict[str, int | None]:
    """Return by each mutant's name what its tests answered: 0 where it is alive."""
    found: dict[str, int | None] = {}
    for path in sorted((folder / "mutants" / "parambak" / room).rglob("*.meta")):
        found.update(json.loads(path.read_text("utf-8"))["exit_code_by_key"])
    return found


def main() -> int:
    """Run, print what is alive, and return 1 where that is a tenth or more."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("room")
    parser.add_argument("--sample", type=int)
    parser.add_argument("--seed", type=int, default=4)
    chosen = parser.parse_args()
    folder = copied(chosen.room)
    sys.stdout.write(f"in {folder}\n")
    if chosen.sample is None:
        mutmut(folder)
    else:
        mutmut(folder, "none-of-them")  # makes the mutants, and runs none
        names = sorted(outcomes(folder, chosen.room))
        mutmut(folder, *random.Random(chosen.seed).sample(names, min(len(names), chosen.sample)))
    run = {name: code for name, code in outcomes(folder, chosen.room).items() if code is not None}
    alive = [name for name, code in run.items() if code == 0]
    for name in alive:
        subprocess.run([sys.executable, "-m", "mutmut", "show", name], cwd=folder, check=False)
    sys.stdout.write(f"{len(run)} mutants run, {len(alive)} alive\n")
    return 1 if 10 * len(alive) >= len(run) else 0


if __name__ == "__main__":
    sys.exit(main())
