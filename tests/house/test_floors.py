from __future__ import annotations

import ast

import pytest

from tests.house.parsed import parsed

FLOORS = {
    "errors": 1,
    "version": 1,
    "memory": 2,
    "dumps": 3,
    "reads": 3,
    "layouts": 3,
    "find": 4,
    "differences": 4,
    "vault": 4,
    "keeping": 5,
    "swap": 6,
    "reports": 7,
    "demo": 7,
    "answers": 8,
    "api": 9,
    "cli": 9,
}


def room_of(module: str) -> str:
    """Return the room of a dotted module: `parambak.dumps.raw` is in `dumps`."""
    return "cli" if module == "parambak.__main__" else module.split(".")[1]


def imported(text: str, module: str, *, package: bool) -> list[tuple[int, str]]:
    """Return line and dotted name of each import of the program's own, also the lazy ones."""
    found = []
    for node in ast.walk(parsed(text)):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            parts = module.split(".") if package else module.split(".")[:-1]
            above = parts[: len(parts) - node.level + 1] if node.level else []
            source = ".".join([*above, *(node.module or "").split(".")]).strip(".")
            found += [(node.lineno, f"{source}.{alias.name}") for alias in node.names]
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            name = node.value  # what importlib may be given
            if name.startswith("parambak.") and name.replace(".", "").isidentifier():
                found.append((node.lineno, name))
    return [(line, name) for line, name in found if name.split(".")[0] == "parambak"]


def violations(path: str, text: str) -> list[str]:
    """Return what a file imports that is neither below its floor nor in its own room."""
    module = path.removesuffix(".py").replace("/", ".")
    package = module.endswith(".__init__")
    module = module.removesuffix(".__init__")
    if module == "parambak":
        return []
    room = room_of(module)
    if room not in FLOORS:
        return [f"{path}: the house has no room {room}"]
    wrong = []
    for line, name in imported(text, module, package=package):
        if name == "parambak":
            continue
        other = room_of(name)
        if other != room and FLOORS.get(other, 99) >= FLOORS[room]:
            wrong.append(f"{path}:{line}: {room} imports {name}")
    return wrong


def test_the_house_is_kept(sources: dict[str, str]) -> None:
    """A file imports only from floors below its own, or from its own room."""
    found = [fault for path, text in sources.items() for fault in violations(path, text)]
    assert not found, "\n".join(found)


def steps_of_keeping(sources: dict[str, str]) -> list[str]:
    """Return what in keeping/ imports upwards: `state`, then its top, then `recording`."""

    def step(module: str) -> int:
        part = module.removeprefix("parambak.keeping.").split(".")[0]
        return {"state": 0, "recording": 2}.get(part, 1)

    return [
        f"{path}:{line}: imports {name}"
        for path, text in sources.items()
        for line, name in imported(text, path.removesuffix(".py").replace("/", "."), package=False)
        if path.startswith("parambak/keeping/") and name.startswith("parambak.keeping.")
        if step(name) > step(path.removesuffix(".py").replace("/", "."))
    ]


def test_what_the_records_say_knows_nothing_of_what_is_put_on_record(
    sources: dict[str, str],
) -> None:
    """In keeping/, state is read by all, and recording is on top."""
    assert steps_of_keeping(sources) == []
    upwards = {"parambak/keeping/state/a.py": "from parambak.keeping.recording import take_in"}
    assert steps_of_keeping(upwards)
    middle = {"parambak/keeping/assess.py": "from parambak.keeping.recording.texts import NAME"}
    assert steps_of_keeping(middle)
    downwards = {"parambak/keeping/recording/a.py": "from parambak.keeping.state import select"}
    assert steps_of_keeping(downwards) == []


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ("parambak/memory/a.py", "from parambak.dumps.raw import read"),
        ("parambak/memory/a.py", "import parambak.cli.main"),
        ("parambak/memory/a.py", "from parambak import keeping"),
        ("parambak/dumps/a.py", "from parambak.layouts import model"),
        ("parambak/dumps/a.py", "from ..reads import agreement"),
        ("parambak/differences/a.py", "from parambak.vault.files.disk import write"),
        ("parambak/differences/__init__.py", "from ..vault import files"),
        ("parambak/reports/a.py", "def f():\n    from parambak.demo import story"),
        ("parambak/errors.py", "from parambak.memory.image import Image"),
        ("parambak/errors.py", "from . import memory"),
        ("parambak/keeping/a.py", "import importlib\nimportlib.import_module('parambak.cli.main')"),
        ("parambak/attic/a.py", ""),
        ("parambak/memory/a.py", "from parambak.attic import box"),
    ],
)
def test_an_import_upwards_or_sideways_is_caught(path: str, text: str) -> None:
    """Each way of writing an import that the house forbids is found."""
    assert violations(path, text)


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ("parambak/__init__.py", "from parambak.cli import main"),
        ("parambak/__main__.py", "from parambak.cli.main import run"),
        ("parambak/dumps/a.py", "from parambak.dumps import faults\nfrom . import raw"),
        ("parambak/dumps/a.py", "from parambak.memory.image import Image\nimport json"),
        ("parambak/dumps/deep/a.py", "from ..faults import X\nfrom ...errors import Fault"),
        ("parambak/memory/a.py", "from parambak.version import __version__"),
        ("parambak/cli/a.py", "from parambak.demo import story"),
    ],
)
def test_an_import_downwards_passes(path: str, text: str) -> None:
    """Floors below, the own room and other people's libraries are free."""
    assert violations(path, text) == []
