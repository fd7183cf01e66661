from __future__ import annotations

import ast

import pytest

from tests.house.parsed import parsed

CHANGING = {"add", "append", "appendleft", "clear", "discard", "extend", "insert", "pop"}
CHANGING |= {"popitem", "popleft", "remove", "reverse", "setdefault", "sort", "update"}


def targets(node: ast.stmt) -> list[ast.expr]:
    """Return what an assignment assigns to; nothing for other statements."""
    if isinstance(node, ast.Assign):
        return node.targets
    return [node.target] if isinstance(node, ast.AnnAssign | ast.AugAssign) else []


def is_constant(name: str) -> bool:
    """Return whether a module's name is one for a constant, a type or a dunder."""
    bare = name.strip("_")
    return name.startswith("__") or bare.isupper() or bare[:1].isupper()


def makes_function(node: ast.stmt) -> bool:
    """Return whether a statement names a function that a call has made."""
    value = node.value if isinstance(node, ast.Assign) else None
    maker = ast.unparse(value.func).split(".")[-1] if isinstance(value, ast.Call) else ""
    return maker in ("partial", "make_pass_decorator")


def module_names(tree: ast.Module) -> dict[str, int]:
    """Return the names that a module itself assigns, and their lines; functions left out."""
    found = {}
    for node in tree.body:
        for target in [] if makes_function(node) else targets(node):
            for name in ast.walk(target):
                if isinstance(name, ast.Name):
                    found[name.id] = node.lineno
    return found


def root_name(node: ast.expr) -> str:
    """Return the name that `a[0].b[1]` begins with, or "" if there is none."""
    while isinstance(node, ast.Subscript | ast.Attribute):
        node = node.value
    return node.id if isinstance(node, ast.Name) else ""


def changes(function: ast.AST) -> list[tuple[int, str]]:
    """Return line and name of everything that a function changes inside."""
    found = []
    for node in ast.walk(function):
        if isinstance(node, ast.Global):
            found += [(node.lineno, name) for name in node.names]
        elif isinstance(node, ast.Assign | ast.AnnAssign | ast.AugAssign | ast.Delete):
            aims = node.targets if isinstance(node, ast.Delete) else targets(node)
            inner = [aim for aim in aims if isinstance(aim, ast.Subscript | ast.Attribute)]
            found += [(node.lineno, root_name(aim)) for aim in inner]
        elif isinstance(node, ast.Attribute) and node.attr in CHANGING:
            found.append((node.lineno, root_name(node.value)))
    return found


def violations(path: str, text: str) -> list[str]:
    """Return the variables of a module, and what changes one of its constants."""
    tree = parsed(text)
    names = module_names(tree)
    wrong = [f"{path}:{line}: {name}" for name, line in names.items() if not is_constant(name)]
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            local = {arg.arg for arg in ast.walk(node.args) if isinstance(arg, ast.arg)}
            wrong += [
                f"{path}:{line}: {node.name} changes {name}"
                for line, name in changes(node)
                if name in names and name not in local
            ]
    return wrong


def test_there_is_no_global_state(sources: dict[str, str]) -> None:
    """Modules hold constants alone, and nothing changes them."""
    found = [fault for path, text in sources.items() for fault in violations(path, text)]
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    "text",
    [
        "cache = {}",
        "_seen: set[int] = set()",
        "COUNT = 0\ndef f():\n    global COUNT\n    COUNT += 1",
        "TABLE = {}\ndef f():\n    TABLE[1] = 2",
        "TABLE = {}\ndef f():\n    del TABLE[1]",
        "TABLE = {}\ndef f():\n    TABLE.setdefault(1, []).append(2)",
        "TABLE = {1: []}\ndef f():\n    TABLE[1].append(2)",
        "class A:\n    def f(self):\n        SEEN.add(1)\nSEEN = set()",
        "THING = object()\ndef f():\n    THING.name = 3",
    ],
)
def test_state_is_caught(text: str) -> None:
    """A variable of a module, and each way to change a constant."""
    assert violations("a.py", text)


@pytest.mark.parametrize(
    "text",
    [
        "LIMIT = 3\n_TABLE = {1: 2}\n__all__ = ['f']\nReader = dict[str, int]",
        "import click\npass_it = click.make_pass_decorator(dict)",
        "TABLE = {}\ndef f(TABLE):\n    TABLE[1] = 2",
        "def f():\n    seen = set()\n    seen.add(1)\n    return seen",
        "TABLE = {1: 2}\ndef f():\n    return TABLE.get(1), TABLE[1]",
    ],
)
def test_constants_and_locals_pass(text: str) -> None:
    """Reading a constant and changing one's own is free."""
    assert violations("a.py", text) == []
