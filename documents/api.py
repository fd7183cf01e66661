"""The face of the package in parambak/__init__.py: the API's functions and every question."""

from __future__ import annotations

from documents.answers import jobs
from parambak import api, errors

BEGIN = "# --- written by `python3 dev.py documents` from the answers; do not edit by hand ---\n"
END = "# --- the end of what is written by `python3 dev.py documents` ---\n"


def page(old: str) -> str:
    """Return the module with the part between the two marks made again."""
    before, rest = old.split(BEGIN)
    _, after = rest.split(END)
    return f"{before}{BEGIN}{_block(modules())}{END}{after}"


def modules() -> dict[str, list[str]]:
    """Return the modules of the API, below `parambak`, and the names that each gives."""
    names = {"api": api.__all__, "answers.session": ["Session"]}
    names["errors"] = [name for name, kind in vars(errors).items() if _is_error(kind)]
    for job in jobs():
        for kind in (job.question, *job.answers):
            names.setdefault(kind.__module__.removeprefix("parambak."), []).append(kind.__name__)
    return {module: sorted(names[module]) for module in sorted(names)}


def _is_error(kind: object) -> bool:
    return isinstance(kind, type) and issubclass(kind, errors.ParambakError)


def _block(names: dict[str, list[str]]) -> str:
    listed = _quoted([*(name for of in names.values() for name in of), "__version__"])
    mapped = (_lines(f'"{module}": [', _quoted(of), "],") for module, of in names.items())
    imports = (_import(module, of) for module, of in names.items())
    return (
        "__all__ = [\n"
        + "".join(f"    {name},\n" for name in sorted(listed))
        + f"]\n_NAMES = {{\n{''.join(mapped)}}}\n\nif TYPE_CHECKING:\n{''.join(imports)}\n"
    )


def _quoted(names: list[str]) -> list[str]:
    return [f'"{name}"' for name in names]


def _import(module: str, names: list[str]) -> str:
    head = f"from parambak.{module} import "
    line = _lines(head, names, "")
    return line if line.count("\n") == 1 else _lines(f"{head}(", names, ")")


def _lines(opening: str, names: list[str], closing: str) -> str:
    """Return names in one line; those that are too long for one, in a line each."""
    line = f"    {opening}{', '.join(names)}{closing}\n"
    inner = "".join(f"        {name},\n" for name in names)
    return line if len(line) <= 101 else f"    {opening}\n{inner}    {closing}\n"
