from __future__ import annotations

import ast

import pytest

from tests.house.parsed import parsed

Named = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def is_overload(node: Named) -> bool:
    """Return whether a function only declares types, for another that has the docstring."""
    return any("overload" in ast.unparse(item) for item in node.decorator_list)


def public(body: list[ast.stmt]) -> list[Named]:
    """Return the public classes and functions of a body, and those of its public classes."""
    found = []
    for node in body:
        if isinstance(node, Named) and not node.name.startswith("_") and not is_overload(node):
            found += [node, *(public(node.body) if isinstance(node, ast.ClassDef) else [])]
    return found


def violations(path: str, text: str) -> list[str]:
    """Return what is in a module without a docstring, including the module."""
    tree = parsed(text)
    own = [] if ast.get_docstring(tree) or not tree.body else [f"{path}: the module"]
    bare = [node for node in public(tree.body) if ast.get_docstring(node) is None]
    return own + [f"{path}:{node.lineno}: {node.name}" for node in bare]


def test_what_is_public_says_what_it_does(sources: dict[str, str]) -> None:
    """Every module, public class, function and method has a docstring."""
    found = [fault for path, text in sources.items() for fault in violations(path, text)]
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    "text",
    [
        "a = 1",
        '"""Say."""\ndef f(): pass',
        '"""Say."""\nclass A: pass',
        '"""Say."""\nclass A:\n    """Say."""\n    def f(self): pass',
        '"""Say."""\nasync def f(): pass',
    ],
)
def test_a_missing_docstring_is_caught(text: str) -> None:
    """Module, function, class, method and coroutine."""
    assert len(violations("a.py", text)) == 1


def test_private_names_need_none() -> None:
    """What begins with an underscore is free to explain itself otherwise."""
    text = '"""Say."""\ndef _f(): pass\nclass _A:\n    def g(self): pass\n'
    assert violations("a.py", text) == []
