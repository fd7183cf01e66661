from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

PATHS = re.compile(r"`((?:parambak|tests|formats|documents|shared|benchmarks|fixtures)/[\w./-]*)`")


def absent(text: str, root: Path) -> list[str]:
    """Return the files and folders that a page names and that are not there."""
    return sorted({name for name in PATHS.findall(text) if not (root / name).exists()})


def test_what_the_developers_page_names_is_there(root: Path) -> None:
    """A newcomer who follows the page finds each file."""
    text = (root / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert len(PATHS.findall(text)) > 30
    assert not absent(text, root)


def test_a_name_that_leads_nowhere_is_caught(root: Path) -> None:
    """Both files and folders."""
    text = "`parambak/errors.py`, `parambak/attic.py`, `tests/attic/`"
    assert absent(text, root) == ["parambak/attic.py", "tests/attic/"]
