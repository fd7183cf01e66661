from __future__ import annotations

import ast
import subprocess
import sys
import tomllib
from typing import TYPE_CHECKING

import pytest

from tests.house.parsed import parsed

if TYPE_CHECKING:
    from pathlib import Path

HEAVY = ("anycrc", "bincopy", "deepdiff", "fsspec", "intelhex", "jinja2", "paramiko", "rich")


def imported(node: ast.AST, *, deep: bool) -> list[tuple[int, str]]:
    """Return line and top name of what is imported below a node, but not for types alone.

    `deep` goes into functions too; without it, only what runs as the module is imported.
    """
    if isinstance(node, ast.Import):
        return [(node.lineno, alias.name.split(".")[0]) for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        return [] if node.level else [(node.lineno, (node.module or "").split(".")[0])]
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and not deep:
        return []
    typing_only = isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
    inner = node.orelse if isinstance(node, ast.If) and typing_only else ast.iter_child_nodes(node)
    return [found for child in inner for found in imported(child, deep=deep)]


def heavy_at_start(path: str, text: str) -> list[str]:
    """Return the heavy libraries that a module imports as it is imported itself.

    The screen's own library may be imported at the top of a module of cli/, which is then
    itself imported late: `test_the_command_line_starts_without_heavy_libraries`.
    """
    allowed = ("rich",) if path.startswith("parambak/cli/") else ()
    found = imported(parsed(text), deep=False)
    return [
        f"{path}:{line}: {name}" for line, name in found if name in HEAVY and name not in allowed
    ]


def foreign(path: str, text: str, declared: set[str]) -> list[str]:
    """Return imports that are neither Python's, nor our own, nor a declared dependency."""
    known = declared | sys.stdlib_module_names | {"parambak"}
    found = imported(parsed(text), deep=True)
    return [f"{path}:{line}: {name}" for line, name in found if name not in known]


def test_heavy_libraries_wait(sources: dict[str, str]) -> None:
    """No module imports a heavy library at its top: the program must start fast."""
    found = [fault for path, text in sources.items() for fault in heavy_at_start(path, text)]
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    "text",
    [
        "import bincopy",
        "from rich.table import Table",
        "try:\n    import intelhex\nexcept ImportError:\n    pass",
        "class A:\n    import anycrc",
        "if TYPE_CHECKING:\n    pass\nelse:\n    import deepdiff",
        "try:\n    import json\nexcept ImportError:\n    import rich",
        "with a:\n    import anycrc",
    ],
)
def test_a_heavy_import_is_caught(text: str) -> None:
    """Anywhere outside a function, it runs at start-up."""
    assert heavy_at_start("parambak/swap/a.py", text)


@pytest.mark.parametrize(
    "text",
    [
        "def f():\n    import bincopy",
        "class A:\n    def f(self):\n        from rich.table import Table",
        "if TYPE_CHECKING:\n    from rich.table import Table",
        "import json",
    ],
)
def test_a_late_import_passes(text: str) -> None:
    """Inside a function, or for types alone, it costs nothing at start-up."""
    assert heavy_at_start("parambak/swap/a.py", text) == []


def test_only_the_command_line_may_hold_the_screens_library() -> None:
    """Other heavy libraries wait in cli/ too."""
    assert heavy_at_start("parambak/cli/a.py", "import rich") == []
    assert heavy_at_start("parambak/cli/a.py", "import bincopy")


def test_the_command_line_starts_without_heavy_libraries() -> None:
    """Importing the command line loads none of them, in any way."""
    code = f"import sys, parambak.cli.main; print(*(set({HEAVY}) & set(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.split() == []


def declared_names(root: Path) -> set[str]:
    """Return the names of the dependencies that pyproject.toml declares, the extras' too."""
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    lines = [
        *project["dependencies"],
        *(e for name in extras if name != "dev" for e in extras[name]),
    ]
    return {line.split(">=")[0].split("==")[0].strip() for line in lines}


def test_every_library_is_declared(root: Path, sources: dict[str, str]) -> None:
    """The program imports nothing that an installation does not bring along."""
    names = declared_names(root)
    found = [fault for path, text in sources.items() for fault in foreign(path, text, names)]
    assert not found, "\n".join(found)


def test_an_undeclared_library_is_caught() -> None:
    """A library of the tests, or one that happens to be there, is found in a function too."""
    assert foreign("parambak/memory/a.py", "def f():\n    import hexrec", {"click"})
    assert foreign("parambak/memory/a.py", "import click, json", {"click"}) == []
