from __future__ import annotations

import re
import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

# Put together here, so that this file does not hold them.
WORDS = ["TO" + "DO", "FIX" + "ME", "HA" + "CK"]
FOUND = re.compile(rf"\b(?:{'|'.join(WORDS)})\b")


def open_ends(text: str) -> list[str]:
    """Return the marks of unfinished work in a text."""
    return FOUND.findall(text)


def tracked(root: Path) -> list[Path]:
    """Return the files that the repository keeps."""
    command = ["git", "-C", str(root), "ls-files", "-z"]
    listed = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    return [root / name for name in listed.stdout.split("\0") if name]


@pytest.mark.skipif(not shutil.which("git"), reason="git lists the files")
def test_nothing_is_marked_unfinished(root: Path) -> None:
    """No text file that is kept holds a mark of unfinished work."""
    found = []
    for file in tracked(root):
        content = file.read_bytes() if file.is_file() else b""
        if b"\0" not in content and open_ends(content.decode("utf-8", "replace")):
            found.append(str(file.relative_to(root)))
    assert not found, "\n".join(found)


@pytest.mark.parametrize("word", WORDS)
def test_a_mark_is_caught(word: str) -> None:
    """As a word of its own, not inside another."""
    assert open_ends(f"# {word}: later")
    assert not open_ends(f"# {word}S and METHOD{word}")
