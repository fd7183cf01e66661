"""formats/errors.md: every stable error code, from the constants that the program raises."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from typing import TYPE_CHECKING

import parambak
from parambak import errors as tree
from parambak.errors import Fault, ParambakError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from types import ModuleType

HEAD = """\
# Errors

Generated from the program by `python3 dev.py documents`; do not edit.

Each refusal says what is wrong, where (file, line or offset), what was expected, what was
found, and what to do next. The code is stable: scripts may rely on it, and with `--json` it
is the `code` of `error`. Words in braces are replaced by the names and values of the case.
"""


def page(_old: str = "") -> str:
    """Return the whole of formats/errors.md."""
    return render(faults(modules()))


def modules() -> list[ModuleType]:
    """Return every module of the program, imported."""
    packages = pkgutil.walk_packages(parambak.__path__, "parambak.")
    names = [module.name for module in packages if not module.name.endswith("__main__")]
    return [importlib.import_module(name) for name in names]


def faults(places: Iterable[ModuleType]) -> list[Fault]:
    """Return each fault that the modules declare, once, by exit code and code.

    A constant of a module is a fault, or a tuple with faults among its members.
    """
    constants = [value for module in places for value in vars(module).values()]
    members = [member for value in constants if isinstance(value, tuple) for member in value]
    declared = {id(each): each for each in (*constants, *members) if isinstance(each, Fault)}
    return sorted(declared.values(), key=lambda fault: (fault.kind.exit_code, fault.code))


def render(known: list[Fault]) -> str:
    """Return the page for these faults."""
    kinds = [
        kind
        for _, kind in inspect.getmembers(tree, inspect.isclass)
        if issubclass(kind, ParambakError) and kind is not ParambakError
    ]
    lines = [HEAD, "| kind | exit code | meaning |", "|---|---|---|"]
    kinds.sort(key=lambda kind: (kind.exit_code, kind.__name__))
    lines += [row(kind.__name__, str(kind.exit_code), first_line(kind)) for kind in kinds]
    lines += ["", f"{len(known)} codes:", "", "| code | exit code | kind | what is wrong | next |"]
    lines.append("|---|---|---|---|---|")
    for fault in known:
        exit_code = str(fault.kind.exit_code)
        code = f"`{fault.code}`"
        lines.append(row(code, exit_code, fault.kind.__name__, fault.text, fault.next))
    return "\n".join(lines) + "\n"


def first_line(kind: type) -> str:
    """Return the first line of a class's docstring."""
    return (inspect.getdoc(kind) or "").split("\n")[0]


def row(*cells: str) -> str:
    """Return one row of a Markdown table, its cells made safe."""
    safe = (" ".join(cell.split()).replace("|", "\\|").replace("<", "&lt;") for cell in cells)
    return f"| {' | '.join(safe)} |"
