from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

import parambak

if TYPE_CHECKING:
    from pathlib import Path


def test_a_working_copy_tests_itself(root: Path, tmp_path: Path) -> None:
    """Here and in a process that a test starts, even if another package is installed."""
    code = "import parambak; print(parambak.__file__)"
    started = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    expected = str(root / "parambak" / "__init__.py")
    assert parambak.__file__ == started.stdout.strip() == expected
