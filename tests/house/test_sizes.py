from __future__ import annotations

import ast
from typing import TYPE_CHECKING

from tests.house.parsed import parsed

if TYPE_CHECKING:
    from pathlib import Path

FILE_LINES = 600
FUNCTION_LINES = 40
# "path::function": the reason why it reads better whole
RARE: dict[str, str] = {}

Function = ast.FunctionDef | ast.AsyncFunctionDef


def long_file(path: str, text: str) -> list[str]:
    """Return a line if a file has 600 lines or more."""
    lines = len(text.splitlines())
    return [f"{path}: {lines} lines"] if lines >= FILE_LINES else []


def function_lines(node: Function) -> int:
    """Return the lines of a function without its decorators and its docstring."""
    lines = (node.end_lineno or node.lineno) - node.lineno + 1
    first = node.body[0]
    if ast.get_docstring(node) is not None:
        lines -= (first.end_lineno or first.lineno) - first.lineno + 1
    return lines


def long_functions(path: str, text: str) -> dict[str, int]:
    """Return the functions that are too long, as `path::name`, and how long they are."""
    nodes = [node for node in ast.walk(parsed(text)) if isinstance(node, Function)]
    sizes = {f"{path}::{node.name}": function_lines(node) for node in nodes}
    return {name: lines for name, lines in sizes.items() if lines > FUNCTION_LINES}


def test_files_are_short(root: Path, sources: dict[str, str]) -> None:
    """No file has 600 lines or more: of the program, the tests, or next to them."""
    others = [root / "dev.py"]
    others += [f for d in ("tests", "documents", "benchmarks") for f in (root / d).rglob("*.py")]
    texts = {f.relative_to(root).as_posix(): f.read_text(encoding="utf-8") for f in others}
    both = sources | texts
    found = [fault for path, text in both.items() for fault in long_file(path, text)]
    assert not found, "\n".join(found)


def test_functions_are_short(sources: dict[str, str]) -> None:
    """No function has over 40 lines without its docstring, except those reasoned above."""
    found: dict[str, int] = {}
    for path, text in sources.items():
        found |= long_functions(path, text)
    long = [f"{name}: {lines} lines" for name, lines in found.items() if name not in RARE]
    assert not long, "\n".join(long)
    assert set(RARE) <= set(found), "an exception that is needed no more"


def test_a_long_file_is_caught() -> None:
    """The limit is exact."""
    assert long_file("a.py", "a = 1\n" * 600)
    assert not long_file("a.py", "a = 1\n" * 599)


def test_a_long_function_is_caught() -> None:
    """The limit is exact; neither docstring nor decorators count, in classes too."""
    head = '@a(\n    1,\n)\ndef f():\n    """Say.\n\n    More.\n    """\n'
    assert long_functions("a.py", head + "    b = 1\n" * 40) == {"a.py::f": 41}
    assert long_functions("a.py", head + "    b = 1\n" * 39) == {}
    method = "class A:\n    async def f(self):\n" + "        b = 1\n" * 40
    assert long_functions("a.py", method) == {"a.py::f": 41}
