"""Mutation testing of one room: how many small changes to its code do its tests not see?

    python -m tests.mutants swap --sample 200 --seed 13      so many at random
    python -m tests.mutants keeping/state --jobs 2           all of a folder, for hours
    python -m tests.mutants swap --only swaps.py:170 lost.py  those of some files, or lines

It works in copies of the tracked files, in a temporary folder, and never in this one. The
room's tests run once to see which of them reach which line; each mutant is then run with those
that reach its line, the quickest first; one outside any function with all of the room. What is
printed is still alive: either it changes nothing that anyone could see, or a test is missing.
Linux or macOS.
"""

from __future__ import annotations

import argparse
import ast
import compileall
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections import defaultdict
from contextlib import suppress
from copy import deepcopy
from importlib import import_module
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

ROOT = Path(__file__).resolve().parents[1]
LEFT_OUT = ("test_formats_pages.py::test_every_code_is_on_its_page", "test_limits.py")
"""A test that reads the source, in which the mutant stands; and slow ones."""
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
"""No shrinking of a failure: a mutant seen is seen."""
HEAVY = ("pytest", "hypothesis", "msgspec", "click", "rich.table", "jinja2", "deepdiff")
"""Imported once, so that each run of a mutant starts at once."""
TIMES, PATIENCE = 5, 20  # a run may take so often its usual time, and so many seconds more


class Mutant(NamedTuple):
    """One change: bytes `start` to `end` of a file become `new`; `line` is where."""

    file: str
    line: int
    start: int
    end: int
    new: str
    old: str
    in_function: bool

    @property
    def words(self) -> str:
        """Return it for a person."""
        return f"{self.file}:{self.line}: {self.old}  ->  {self.new}"


# What becomes of an operator.
SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.And: ast.Or,
    ast.Or: ast.And,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.FloorDiv,
    ast.FloorDiv: ast.Mult,
    ast.Div: ast.Mult,
    ast.Mod: ast.FloorDiv,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitAnd,
}
NAMES = {"any": "all", "all": "any", "min": "max", "max": "min", "reversed": "list"}


class Finder(ast.NodeVisitor):
    """Gathers the mutants of one file."""

    def __init__(self, file: str, source: bytes) -> None:
        self.file = file
        self.source = source
        self.mutants: list[Mutant] = []
        starts = [0]
        for line in source.splitlines(keepends=True):
            starts.append(starts[-1] + len(line))
        self.starts = starts
        self.depth = 0  # of functions

    def add(self, node: ast.expr | ast.stmt, new: str) -> None:
        """Take the mutant in which `new` stands for a node."""
        start = self.starts[node.lineno - 1] + node.col_offset
        end = self.starts[(node.end_lineno or 1) - 1] + (node.end_col_offset or 0)
        old = self.source[start:end].decode()
        if new.strip("()") != old.strip("()"):
            shown = " ".join(old.split())
            inside = self.depth > 0
            self.mutants.append(Mutant(self.file, node.lineno, start, end, new, shown, inside))

    def put(self, node: ast.expr, new: ast.expr) -> None:
        """Take the mutant in which another expression stands for one."""
        self.add(node, f"({ast.unparse(ast.fix_missing_locations(new))})")

    def changed(self, node: ast.expr, **members: Any) -> None:
        """Take the mutant in which these members of an expression are others."""
        new = deepcopy(node)
        for name, value in members.items():
            setattr(new, name, value)
        self.put(node, new)

    def visit_If(self, node: ast.If) -> None:
        """A branch always or never taken; what is for types alone is left out."""
        if "TYPE_CHECKING" not in ast.unparse(node.test):
            self.truth(node.test)
            self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        """The same of a choice."""
        self.truth(node.test)
        self.generic_visit(node)

    def visit_While(self, node: ast.While) -> None:
        """A loop that never runs."""
        self.add(node.test, "False")
        self.generic_visit(node)

    def truth(self, test: ast.expr) -> None:
        """Take what makes a test always or never true."""
        self.add(test, "True")
        self.add(test, "False")

    def visit_comprehension(self, node: ast.comprehension) -> None:
        """A condition of a comprehension that lets all through."""
        for test in node.ifs:
            self.add(test, "True")
        self.generic_visit(node)

    def visit_Compare(self, node: ast.Compare) -> None:
        """Another comparison."""
        for at, operator in enumerate(node.ops):
            others: list[ast.cmpop] = [SWAPS[type(operator)]()]  # type: ignore[list-item]
            self.changed(node, ops=[*node.ops[:at], *others, *node.ops[at + 1 :]])
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        """And for or, and one part left out."""
        self.changed(node, op=SWAPS[type(node.op)]())
        for at in range(len(node.values)):
            rest = node.values[:at] + node.values[at + 1 :]
            if len(rest) == 1:
                self.put(node, rest[0])
            else:
                self.changed(node, values=rest)
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        """Another operator."""
        if type(node.op) in SWAPS:
            self.changed(node, op=SWAPS[type(node.op)]())
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        """None."""
        self.put(node, node.operand)
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        """Another number, the other truth, another text within a function."""
        value = node.value
        if isinstance(value, bool):
            self.add(node, str(not value))
        elif isinstance(value, int | float):
            self.add(node, repr(value + 1))
        elif isinstance(value, str) and self.depth:
            self.add(node, repr(f"XX{value}XX") if value else "'XX'")

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        """A text with values in it: another, as a whole."""
        if self.depth:
            self.add(node, "'XX'")

    def visit_Call(self, node: ast.Call) -> None:
        """Another function of the same shape; an argument that is None, or left out."""
        if isinstance(node.func, ast.Name) and node.func.id in NAMES:
            self.changed(node, func=ast.Name(NAMES[node.func.id]))
        if self.depth:
            for at in range(len(node.args)):
                if not isinstance(node.args[at], ast.Constant | ast.Starred):
                    new = [*node.args[:at], ast.Constant(None), *node.args[at + 1 :]]
                    self.changed(node, args=new)
            for at in range(len(node.keywords)):
                self.changed(node, keywords=node.keywords[:at] + node.keywords[at + 1 :])
        self.generic_visit(node)

    def visit_Expr(self, node: ast.Expr) -> None:
        """A statement left out; a docstring is none."""
        if not isinstance(node.value, ast.Constant):
            self.add(node, "pass")
            self.generic_visit(node)

    def visit_Assign(self, node: ast.Assign) -> None:
        """Nothing assigned."""
        if self.depth and not isinstance(node.targets[0], ast.Tuple):
            self.add(node.value, "None")
        self.visit(node.value)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        """The same; what a name's type is changes nothing."""
        if node.value is not None:
            if self.depth:
                self.add(node.value, "None")
            self.visit(node.value)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        """A statement left out, or with another operator."""
        self.add(node, "pass")
        if type(node.op) in SWAPS:
            new = deepcopy(node)
            new.op = SWAPS[type(node.op)]()  # type: ignore[assignment]
            self.add(node, ast.unparse(new))
        self.visit(node.value)

    def visit_Return(self, node: ast.Return) -> None:
        """None in place of what is returned."""
        if node.value is not None:
            self.add(node.value, "None")
            self.visit(node.value)

    def visit_Raise(self, node: ast.Raise) -> None:
        """No refusal."""
        self.add(node, "pass")
        self.generic_visit(node)

    def visit_Break(self, node: ast.Break) -> None:
        """The other way out of a loop's body."""
        self.add(node, "continue")

    def visit_Continue(self, node: ast.Continue) -> None:
        """The same."""
        self.add(node, "break")

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        """What is inside, and its defaults; no decorator and no type."""
        for default in [*node.args.defaults, *(d for d in node.args.kw_defaults if d)]:
            self.visit(default)
        self.depth += 1
        for statement in node.body:
            self.visit(statement)
        self.depth -= 1

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        """What is inside."""
        for statement in node.body:
            self.visit(statement)


def mutants_of(folder: Path, room: str) -> list[Mutant]:
    """Return every mutant of a room, in the order of its files and lines."""
    made = []
    place = folder / "parambak" / room
    for path in [place] if place.is_file() else sorted(place.rglob("*.py")):
        source = path.read_bytes()
        finder = Finder(path.relative_to(folder).as_posix(), source)
        finder.visit(ast.parse(source))
        made += finder.mutants
    return made


def is_code(folder: Path, mutant: Mutant) -> bool:
    """Return whether a file with a mutant in it is still Python."""
    source = (folder / mutant.file).read_bytes()
    with suppress(SyntaxError):
        ast.parse(source[: mutant.start] + mutant.new.encode() + source[mutant.end :])
        return True
    return False


def copied(folder: Path) -> Path:
    """Copy the tracked files into a folder, made ready for many runs."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, check=True, capture_output=True, text=True
    )
    for name in listed.stdout.split("\0"):
        if name and (ROOT / name).is_file():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, folder / name)
    with (folder / "tests" / "conftest.py").open("a", encoding="utf-8") as quick:
        quick.write(QUICK_EXAMPLES)
    for code in ("parambak", "tests"):
        compileall.compile_dir(folder / code, quiet=2)
    return folder


class Reached(NamedTuple):
    """Which tests reach which line of which file, and how long each test takes."""

    lines: dict[str, dict[int, set[str]]]
    seconds: dict[str, float]

    def near(self, mutant: Mutant) -> set[str]:
        """Return the tests that reach a mutant's line, or the statement that it stands in."""
        lines = self.lines.get(mutant.file, {})
        above = range(mutant.line, max(mutant.line - 12, 0), -1)
        return next((lines[line] for line in above if lines.get(line)), set())


def reached(folder: Path, room: str, tests: Sequence[str]) -> Reached:
    """Run the room's tests once, all of which must pass, and return what they reach."""
    command = [sys.executable, "-B", "-m", "pytest", "-q", "-p", "no:cacheprovider", *tests]
    command += [f"--cov={folder / 'parambak'}", "--cov-context=test", "--cov-report=json:cov.json"]
    command += ["--durations=0", "-vv", *(f"--deselect={test}" for test in left_out(folder, tests))]
    (folder / ".coveragerc").write_text("[json]\nshow_contexts = true\n", "utf-8")
    command.append("--cov-config=.coveragerc")
    done = subprocess.run(command, cwd=folder, check=False, capture_output=True, text=True)
    if done.returncode:
        sys.stdout.write(done.stdout[-4000:] + done.stderr[-2000:])
        raise SystemExit("the tests fail without any mutant")
    seconds: dict[str, float] = defaultdict(float)
    for line in done.stdout.splitlines():
        time_taken, _, rest = line.partition("s ")
        kind, _, test = rest.strip().partition(" ")
        if kind in {"call", "setup", "teardown"}:
            seconds[test.strip()] += float(time_taken)
        elif " PASSED" in line and "::" in line:
            seconds[line.partition(" PASSED")[0].strip()] += 0.0
    return Reached(_lines(folder, room), dict(seconds))


def _lines(folder: Path, room: str) -> dict[str, dict[int, set[str]]]:
    """Return the tests by file and line; what a test's setup reaches all of its file may use."""
    measured = json.loads((folder / "cov.json").read_text("utf-8"))["files"]
    by_line: dict[str, dict[int, set[str]]] = {}
    for name, found in measured.items():
        if not name.startswith(f"parambak/{room}"):
            continue
        by_line[name] = {}
        for line, contexts in found["contexts"].items():
            tests = {context.rpartition("|")[0] for context in contexts if context}
            shared = {each.partition("::")[0] for each in contexts if each.endswith("|setup")}
            by_line[name][int(line)] = tests | shared
    return by_line


def left_out(folder: Path, tests: Sequence[str]) -> list[str]:
    """Return what is not run with mutants."""
    files = [path for test in tests for path in sorted((folder / test).rglob("test_*.py"))]
    every = [path.relative_to(folder).as_posix() for path in files]
    return [
        f"{path}{left[len(path.rpartition('/')[2]) :]}"
        for path in every
        for left in LEFT_OUT
        if left.startswith(path.rpartition("/")[2])
    ]


class Chosen:
    """A plug-in of pytest: those tests alone, the quickest first."""

    def __init__(self, tests: set[str], without: Sequence[str], seconds: dict[str, float]) -> None:
        self.tests = tests
        self.without = tuple(without)
        self.seconds = seconds

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        """Leave out and sort."""
        kept = [item for item in items if self._asked(item.nodeid)]
        items[:] = sorted(kept, key=lambda item: self.seconds.get(item.nodeid, 0.0))

    def _asked(self, test: str) -> bool:
        if test.startswith(self.without):
            return False
        return test in self.tests or test.partition("::")[0] in self.tests


def _pytest_here(folder: Path, tests: set[str], plugin: Chosen) -> None:
    """Run tests in this process, unheard, and end it with their answer."""
    nothing = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(nothing, stream)
    code = 1
    try:
        os.chdir(folder)
        sys.path[:] = [str(folder), *(path for path in sys.path if Path(path) != ROOT)]
        sys.dont_write_bytecode = True
        import pytest

        files = sorted({test.partition("::")[0] for test in tests})
        words = [
            "-x",
            "-q",
            "-p",
            "no:cacheprovider",
            "-p",
            "no:xdist",
            "-p",
            "no:cov",
            "--assert=plain",
        ]
        code = int(pytest.main([*words, *files], plugins=[plugin]))
    finally:
        os._exit(code)


def survives(folder: Path, tests: set[str], without: Sequence[str], facts: Reached) -> bool:
    """Run tests in a process of their own; return whether all pass in good time."""
    usual = sum(t for test, t in facts.seconds.items() if tests & {test, test.partition("::")[0]})
    child = os.fork()
    if child == 0:
        os.setsid()
        signal.alarm(int(TIMES * usual + PATIENCE))
        _pytest_here(folder, tests, Chosen(tests, without, facts.seconds))
    _, status = os.waitpid(child, 0)
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(status) in {0, 5}  # 5: no test


def run(folder: Path, mutant: Mutant, facts: Reached, every: set[str], without: list[str]) -> bool:
    """Put one mutant into the folder and run its tests; return whether it is alive."""
    path = folder / mutant.file
    source, written = path.read_bytes(), path.stat().st_mtime_ns
    path.write_bytes(source[: mutant.start] + mutant.new.encode() + source[mutant.end :])
    os.utime(path, ns=(written + 10**10, written + 10**10))  # not the compiled file's
    try:
        near = facts.near(mutant) if mutant.in_function else every
        return survives(folder, near or every, without, facts)
    finally:
        path.write_bytes(source)
        os.utime(path, ns=(written, written))


def work(number: int, folder: Path, mutants: list[Mutant], run_it: Any) -> None:
    """Run a share of the mutants, and write down which are alive."""
    with (folder.parent / f"answers-{number}").open("w", encoding="utf-8") as answers:
        for mutant in mutants:
            alive = run_it(folder, mutant)
            answers.write(json.dumps([alive, mutant.words]) + "\n")
            answers.flush()
            if alive:
                sys.stdout.write(f"ALIVE {mutant.words}\n")
                sys.stdout.flush()


def shared_out(top: Path, mutants: list[Mutant], jobs: int, run_it: Any) -> list[tuple[bool, str]]:
    """Run all mutants in so many processes; return for each whether it is alive."""
    children = []
    for number in range(jobs):
        folder = top / f"copy-{number}"
        child = os.fork()
        if child == 0:
            try:
                work(number, folder, mutants[number::jobs], run_it)
            except BaseException:  # noqa: BLE001 - nothing goes up from here: this is a copy
                traceback.print_exc()
            os._exit(0)
        children.append(child)
    for child in children:
        os.waitpid(child, 0)
    files = [top / f"answers-{number}" for number in range(jobs)]
    return [tuple(json.loads(line)) for f in files for line in f.read_text("utf-8").splitlines()]


def selected(folder: Path, mutants: list[Mutant], words: argparse.Namespace) -> list[Mutant]:
    """Return the mutants that were asked for."""
    if words.only:
        mutants = [m for m in mutants if any(_is_at(m, where) for where in words.only)]
    if words.sample is not None and words.sample < len(mutants):
        mutants = random.Random(words.seed).sample(mutants, len(mutants))
    return list(islice((m for m in mutants if is_code(folder, m)), words.sample))


def _is_at(mutant: Mutant, where: str) -> bool:
    file, _, line = where.partition(":")
    return mutant.file.endswith(f"/{file}") and line in {"", str(mutant.line)}


def tests_of(room: str) -> list[str]:
    """Return where a room's own tests stand: its folder's, or the next one's above."""
    parts = Path(room.removesuffix(".py")).parts
    named = ["/".join(parts[:end]) for end in range(len(parts), 0, -1)]
    own = next((name for name in named if (ROOT / "tests" / name).is_dir()), parts[0])
    return [f"tests/{own}", *MORE.get(parts[0], ())]


def main() -> int:
    """Run, print what is alive, and return 1 where that is a tenth or more."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("room", help="a folder or file of parambak/")
    parser.add_argument("--sample", type=int)
    parser.add_argument("--seed", type=int, default=13)
    parser.add_argument("--jobs", type=int, default=1, help="processes at once")
    parser.add_argument("--only", nargs="*", metavar="FILE[:LINE]", help="the mutants of these")
    parser.add_argument("--tests", nargs="*", help="in place of the room's own")
    words = parser.parse_args()
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="parambak-mutants-") as made:
        top = Path(made)
        folders = [copied(top / f"copy-{number}") for number in range(words.jobs)]
        mutants = selected(folders[0], mutants_of(folders[0], words.room), words)
        tests = words.tests or tests_of(words.room)
        facts = reached(folders[0], words.room, tests)
        sys.stdout.write(
            f"{len(mutants)} mutants, {len(facts.seconds)} tests of "
            f"{sum(facts.seconds.values()):.0f} s\n"
        )
        sys.stdout.flush()
        for name in HEAVY:
            import_module(name)
        without = left_out(folders[0], tests)
        every = {test.partition("::")[0] for test in facts.seconds}

        if not survives(folders[0], every, without, facts):
            raise SystemExit("the tests fail without any mutant where many run in one process")

        def run_it(folder: Path, mutant: Mutant) -> bool:
            return run(folder, mutant, facts, every, without)

        answers = shared_out(top, mutants, words.jobs, run_it)
    alive = [text for lives, text in answers if lives]
    seconds = time.monotonic() - began
    sys.stdout.write("".join(f"ALIVE {text}\n" for text in sorted(alive)))
    sys.stdout.write(f"{len(answers)} mutants run, {len(alive)} alive, {seconds:.0f} s\n")
    return 1 if 10 * len(alive) >= len(answers) else 0


if __name__ == "__main__":
    sys.exit(main())
