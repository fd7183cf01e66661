from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from parambak.vault import objects, records
from parambak.vault.packs import writing, zip_form

ROOT = Path(__file__).parents[3]
PAGE = (ROOT / "formats" / "packed-vessels.md").read_text(encoding="utf-8")
COMMANDS = re.findall(r"```sh\n(.*?)\n```\n```\n(.*?)```", PAGE, re.DOTALL)


@pytest.mark.skipif(
    not (shutil.which("unzip") and shutil.which("sha256sum")), reason="unzip, sha256sum"
)
@pytest.mark.parametrize(("command", "printed"), COMMANDS, ids=[c[:20] for c, _ in COMMANDS])
def test_a_pack_can_be_read_by_hand(command: str, printed: str, tmp_path: Path) -> None:
    """The commands of the page print what the page shows, for the pack in fixtures/."""
    shutil.copyfile(ROOT / "fixtures" / "packs" / "grebe.zip", tmp_path / "grebe.zip")
    done = subprocess.run(
        ["sh", "-c", command], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == printed.strip()


def test_there_are_commands() -> None:
    """The search finds what the page holds."""
    assert len(COMMANDS) == PAGE.count("```sh\n") == 3


@pytest.mark.parametrize(
    "words",
    [
        f"| members | {zip_form.MAX_MEMBERS:,} |",
        f"| the file | {zip_form.MAX_FILE:,} bytes",
        f"an object {objects.MAX_BYTES >> 20} MiB, a record {records.MAX_BYTES >> 20} MiB",
        f"the manifest {zip_form.MAX_MANIFEST >> 20} MiB",
        f"| all members, unpacked | {zip_form.MAX_TOTAL:,} bytes |",
        f"at most {zip_form.MAX_RATIO} times its packed length",
        f"the short name, 1 to {writing.MAX_NAME} characters",
    ],
)
def test_the_numbers_of_the_page_are_those_of_the_program(words: str) -> None:
    """A limit that changes in one place changes in the other."""
    assert words in " ".join(PAGE.split())
