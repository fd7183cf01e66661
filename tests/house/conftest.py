from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="session")
def root() -> Path:
    """Return the top folder of the repository."""
    return ROOT


@pytest.fixture(scope="session")
def sources() -> dict[str, str]:
    """Return the program's source files: path below the top folder, with slashes, to text."""
    files = sorted((ROOT / "parambak").rglob("*.py"))
    return {file.relative_to(ROOT).as_posix(): file.read_text(encoding="utf-8") for file in files}
