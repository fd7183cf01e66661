from __future__ import annotations

import pytest

from tests.house.test_floors import imported

# A circle that is still there; nothing may be added here.


def module_of(path: str) -> str:
    """Return the dotted name of a file: `parambak/dumps/__init__.py` is `parambak.dumps`."""
    return path.removesuffix(".py").replace("/", ".").removesuffix(".__init__")


def imports_of(sources: dict[str, str]) -> dict[str, set[str]]:
    """Return for each module those that it imports: at its top, later, or for types alone."""
    modules = {module_of(path) for path in sources}
    found: dict[str, set[str]] = {}
    for path, text in sources.items():
        module = module_of(path)
        names = imported(text, module, package=path.endswith("__init__.py"))
        # `from parambak.dumps import raw` names a module, `from parambak.errors import Fault` not.
        files = {name if name in modules else name.rpartition(".")[0] for _, name in names}
        found[module] = (files & modules) - {module}
    return found


def circles(imports: dict[str, set[str]]) -> list[list[str]]:
    """Return the modules that are in circles, those of one circle together, in order."""
    reached: dict[str, set[str]] = {}
    for module, imported_ones in imports.items():
        behind: set[str] = set()
        waiting = list(imported_ones)
        while waiting:
            name = waiting.pop()
            if name not in behind:
                behind.add(name)
                waiting += imports.get(name, ())
        reached[module] = behind
    rings = {
        frozenset(other for other in reached[module] if module in reached.get(other, ()))
        for module in imports
        if module in reached[module]
    }
    return sorted(map(sorted, rings))


def test_no_files_import_each_other_in_a_circle(sources: dict[str, str]) -> None:
    """Not by way of others either; late imports and those for types count too."""
    rings = circles(imports_of(sources))
    assert not rings, "\n".join(" -> ".join([*ring, ring[0]]) for ring in rings)


@pytest.mark.parametrize(
    "text",
    [
        "from parambak.dumps.b import read",
        "from parambak.dumps import b",
        "from . import b",
        "import parambak.dumps.b",
        "def f():\n    from parambak.dumps.b import read",
        "if TYPE_CHECKING:\n    from parambak.dumps.b import Dump",
    ],
)
def test_a_circle_is_caught(text: str) -> None:
    """Each way of writing the import, by way of a third file."""
    sources = {
        "parambak/dumps/a.py": text,
        "parambak/dumps/b.py": "from parambak.dumps.c import write",
        "parambak/dumps/c.py": "from parambak.dumps.a import sort",
        "parambak/dumps/d.py": "from parambak.dumps.a import sort",
    }
    ring = ["parambak.dumps.a", "parambak.dumps.b", "parambak.dumps.c"]
    assert circles(imports_of(sources)) == [ring]


def test_what_is_no_circle_passes() -> None:
    """Two ways to one file, and a name of a room's own."""
    sources = {
        "parambak/dumps/__init__.py": "",
        "parambak/dumps/a.py": "from parambak.dumps import b, c",
        "parambak/dumps/b.py": "from parambak.dumps.c import a",
        "parambak/dumps/c.py": "import json",
    }
    assert circles(imports_of(sources)) == []
