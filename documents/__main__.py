"""Write the generated documents, or check them."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from documents import answers, api, commands, conditions, errors, schema, tour

if TYPE_CHECKING:
    from collections.abc import Callable

ROOT = Path(__file__).resolve().parent.parent
MAKERS: dict[str, Callable[[str], str]] = {
    "formats/errors.md": errors.page,
    "formats/commands.md": commands.page,
    "formats/ships-rules.md": conditions.page,
    "formats/field-layout.schema.json": schema.page,
    "formats/answers.md": answers.page,
    "formats/answers.schema.json": answers.schema,
    "parambak/__init__.py": api.page,
    "README.md": tour.page,
}


def main(arguments: list[str]) -> int:
    """Write what differs and return 0; with `--check`, write nothing and return 1 if any does."""
    checking = arguments == ["--check"]
    if arguments and not checking:
        sys.stderr.write("usage: python -m documents [--check]\n")
        return 2
    differing = 0
    for name, make in MAKERS.items():
        file = ROOT / name
        old = file.read_text(encoding="utf-8") if file.exists() else ""
        new = make(old)
        if new != old:
            differing += 1
            if not checking:
                file.write_text(new, encoding="utf-8", newline="\n")
        state = "as it was" if new == old else "differs" if checking else "written"
        sys.stdout.write(f"{name}: {state}\n")
    if differing and checking:
        sys.stdout.write("run `python3 dev.py documents`, and read what changed\n")
    return 1 if differing and checking else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
