"""The face of the package in parambak/__init__.py: the API's functions and every question."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from documents.answers import jobs
from parambak import api, errors

if TYPE_CHECKING:
    from documents.answers import Job

BEGIN = "# --- written by `python3 dev.py documents` from the answers; do not edit by hand ---\n"
END = "# --- the end of what is written by `python3 dev.py documents` ---\n"


def page(old: str) -> str:
    """Return the module with the part between the two marks made again."""
    before, rest = old.split(BEGIN)
    _, after = rest.split(END)
    return f"{before}{BEGIN}{_block(jobs())}{END}{after}"


def modules() -> dict[str, str]:
    """Return each name of the API and the module that has it, below `parambak`."""
    names = dict.fromkeys(api.__all__, "api")
    names |= {"Session": "answers.session"}
    names |= {name: "errors" for name, kind in vars(errors).items() if _is_error(kind)}
    for job in jobs():
        for kind in (job.question, *job.answers):
            names[kind.__name__] = kind.__module__.removeprefix("parambak.")
    return dict(sorted(names.items()))


def _is_error(kind: object) -> bool:
    return isinstance(kind, type) and issubclass(kind, errors.ParambakError)


def _block(every_job: list[Job]) -> str:
    names = modules()
    listed = "".join(f'    "{name}",\n' for name in sorted([*names, "__version__"]))
    mapped = "".join(f'    "{name}": "{module}",\n' for name, module in names.items())
    imports = _imports({name: of for name, of in names.items() if name != "ask"})
    asked = "".join(
        f"\n    @overload\n    def ask(session: Session, question: {job.question.__name__})"
        f" -> {_union(job)}: ...\n"
        for job in every_job
    )
    return (
        f"__all__ = [\n{listed}]\n_MODULES = {{\n{mapped}}}\n\nif TYPE_CHECKING:\n"
        f"    from typing import Any, overload\n\n{imports}{asked}\n"
        "    def ask(session: Session, question: Any) -> Any:\n"
        '        """Return the answer; raise ParambakError where there is none."""\n\n'
    )


def _union(job: Job) -> str:
    return " | ".join(kind.__name__ for kind in job.answers)


def _imports(names: dict[str, str]) -> str:
    by_module: dict[str, list[str]] = {}
    for name, module in names.items():
        by_module.setdefault(module, []).append(name)
    lines = []
    for module, of in sorted(by_module.items()):
        line = f"    from parambak.{module} import {', '.join(of)}\n"
        if len(line) > 101:
            inner = "".join(f"        {name},\n" for name in of)
            line = f"    from parambak.{module} import (\n{inner}    )\n"
        lines.append(line)
    return re.sub(r"\n+$", "\n", "".join(lines))
