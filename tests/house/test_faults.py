from __future__ import annotations

import ast
import inspect
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

import pytest

from documents.errors import faults, modules
from parambak import errors
from parambak.errors import DumpRefused, Fault

ROOT = Path(__file__).parents[2]
CODE = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
QUOTED = re.compile(rf"""["']({CODE.pattern})["']""")
NAME = re.compile(r"{(\w+)}")
PARTS = {"file", "line", "offset", "expected", "found"}


@pytest.fixture(scope="module")
def places() -> list[ModuleType]:
    """Return every module of the program."""
    return modules()


@pytest.fixture(scope="module")
def test_texts() -> str:
    """Return the texts of all tests that could meet a refusal."""
    files = sorted((ROOT / "tests").rglob("test_*.py"))
    skipped = {"house", "documents"}
    return "\n".join(f.read_text(encoding="utf-8") for f in files if f.parent.name not in skipped)


def untested(codes: list[str], texts: str) -> list[str]:
    """Return the codes that no test names, in quotation marks."""
    named = set(QUOTED.findall(texts))
    return [code for code in codes if code not in named]


def repeated(codes: list[str]) -> list[str]:
    """Return the codes that two faults share."""
    return [code for code, times in Counter(codes).items() if times > 1]


class Raise(NamedTuple):
    """A call of a fault's `at`: where, of which fault, with which names to fill in."""

    line: int
    fault: Fault
    names: set[str]


def raises(tree: ast.Module, names: dict[str, object]) -> list[Raise]:
    """Return each `FAULT.error(…)` of a module whose fault its names show."""
    found = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
            continue
        if node.func.attr == "error" and all(keyword.arg for keyword in node.keywords):
            fault = value_of(node.func.value, names)
            given = {keyword.arg or "" for keyword in node.keywords}
            if isinstance(fault, Fault):
                found.append(Raise(node.lineno, fault, given - PARTS))
    return found


def value_of(node: ast.expr, names: dict[str, object]) -> object:
    """Return the value of `NAME` or `module.NAME`, or None."""
    if isinstance(node, ast.Attribute):
        return getattr(value_of(node.value, names), node.attr, None)
    return names.get(node.id) if isinstance(node, ast.Name) else None


def misfit(call: Raise) -> bool:
    """Return whether a call leaves a placeholder open, or fills one that is not there."""
    return call.names != set(NAME.findall(call.fault.text + call.fault.next))


def made_by_hand(path: str, text: str) -> list[str]:
    """Return the errors whose code is written where they are made: no table has it."""
    kinds = {name for name, value in vars(errors).items() if inspect.isclass(value)} - {"Fault"}
    calls = [node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Call)]
    names = [(call, ast.unparse(call.func).split(".")[-1]) for call in calls]
    written = [(call.lineno, name) for call, name in names if name in kinds and has_literal(call)]
    return [f"{path}:{line}: {name}" for line, name in written]


def has_literal(call: ast.Call) -> bool:
    """Return whether a call's first argument, or its `code`, is written out."""
    codes = [*call.args[:1], *(each.value for each in call.keywords if each.arg == "code")]
    return any(not isinstance(code, ast.Name | ast.Attribute) for code in codes)


def test_there_are_faults(places: list[ModuleType]) -> None:
    """The search finds what the program declares."""
    assert len(faults(places)) > 20


def test_codes_are_stable_and_single(places: list[ModuleType]) -> None:
    """A code is kebab-case, and belongs to one fault alone."""
    codes = [fault.code for fault in faults(places)]
    assert repeated(codes) == []
    assert [code for code in codes if not CODE.fullmatch(code)] == []


def test_every_fault_says_what_to_do(places: list[ModuleType]) -> None:
    """No refusal leaves the user without a next step."""
    assert [fault.code for fault in faults(places) if not fault.next.strip()] == []
    assert [fault.code for fault in faults(places) if not fault.text.strip()] == []


def test_every_fault_is_met_by_a_test(places: list[ModuleType], test_texts: str) -> None:
    """Each code is named by at least one test outside the house's own."""
    missing = untested([fault.code for fault in faults(places)], test_texts)
    assert not missing, "\n".join(missing)


def test_every_fault_is_in_the_table() -> None:
    """Each `Fault` that the modules make is a constant of one, however it was made."""
    code = (
        "import gc; from documents.errors import *; known = faults(modules()); "
        "print([f.code for f in gc.get_objects() if isinstance(f, Fault) and f not in known])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
        timeout=60,
    )
    assert (done.stdout, done.stderr) == ("[]\n", "")


def test_every_refusal_is_declared(sources: dict[str, str]) -> None:
    """No error is made but through a `Fault`: its code is then in the table."""
    places = {path: text for path, text in sources.items() if path != "parambak/errors.py"}
    found = [made for path, text in places.items() for made in made_by_hand(path, text)]
    assert not found, "\n".join(found)


def test_an_error_made_by_hand_is_caught() -> None:
    """Raised or returned, by its bare name or its module's; one from an existing code is free."""
    assert made_by_hand("a.py", "raise CallRefused('a', 'b')")
    assert made_by_hand("a.py", "x = errors.ParambakError(code='a', text='b').document()")
    assert made_by_hand("a.py", "raise CallRefused(f'a-{b}', 'b')")
    assert not made_by_hand("a.py", "raise LayoutRefused(mistake.code, 'b')")
    assert not made_by_hand("a.py", "try:\n    f()\nexcept CallRefused as e:\n    raise G.error()")


def test_messages_are_filled_in(places: list[ModuleType]) -> None:
    """Each raise gives just the names that its fault's text and next have open."""
    calls = [(m, c) for m in places for c in raises(ast.parse(inspect.getsource(m)), vars(m))]
    found = [f"{m.__name__}:{c.line}: {c.fault.code}" for m, c in calls if misfit(c)]
    assert not found, "\n".join(found)
    raised = {call.fault.code for _, call in calls}
    assert raised, "no raise was recognised"


def test_a_second_use_of_a_code_is_caught() -> None:
    """Two faults with one code, and a code that no test names."""
    assert repeated(["hex-a", "hex-b", "hex-a"]) == ["hex-a"]
    assert untested(["hex-a", "hex-b"], '# hex-b\nassert code == "hex-a", "hex-b-x"') == ["hex-b"]


@pytest.mark.parametrize(
    ("code", "wrong"),
    [
        ("OPEN.error(line=1, size=3)", False),
        ("OPEN.error(line=1)", True),
        ("OPEN.error(line=1, size=3, colour=4)", True),
        ("room.OPEN.error(extent=3)", True),
        ("room.OPEN.error(size=3, found='a')", False),
    ],
)
def test_an_unfilled_message_is_caught(code: str, *, wrong: bool) -> None:
    """A name too few, too many, or another one."""
    room = ModuleType("room")
    fault = Fault("hex-open", DumpRefused, "{size} bytes", "look at {size}")
    vars(room)["OPEN"] = fault
    (call,) = raises(ast.parse(code), {"OPEN": fault, "room": room})
    assert misfit(call) == wrong
