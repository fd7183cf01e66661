from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from parambak.memory.digests import sha256
from parambak.vault import objects, records, vault_toml
from parambak.vault.files import lock
from parambak.vault.index import index
from parambak.vault.records import decode
from tests.vault.home import FIRST

FORMATS = Path(__file__).parents[2] / "formats"
VAULT = (FORMATS / "vault.md").read_text(encoding="utf-8")
RECORDS = (FORMATS / "records.md").read_text(encoding="utf-8").split("\n## Bodies\n")[0]
COMMANDS = re.findall(r"```sh\n(.*?)\n```\n```\n(.*?)```", VAULT, re.DOTALL)
EXAMPLES = re.findall(r"```json\n(.*?\n)```\n\n`([0-9a-f]{64})`", RECORDS, re.DOTALL)


@pytest.mark.skipif(not shutil.which("sha256sum"), reason="there is no sha256sum here")
@pytest.mark.parametrize(("command", "printed"), COMMANDS, ids=[c[:20] for c, _ in COMMANDS])
def test_a_vault_can_be_read_by_hand(command: str, printed: str) -> None:
    """The commands of the page print what the page shows, in the vault in fixtures/."""
    done = subprocess.run(
        ["sh", "-c", command], cwd=FIRST, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == printed.strip()


def test_the_commands_find_damage(tmp_path: Path) -> None:
    """The page's own check fails for an object and for a record that was edited."""
    if not shutil.which("sha256sum"):
        pytest.skip("there is no sha256sum here")
    shutil.copytree(FIRST, tmp_path / "vault")
    for file in [*tmp_path.rglob("objects/*/*"), *tmp_path.rglob("records/*/*")]:
        file.write_bytes(file.read_bytes() + b" ")
    for command, printed in COMMANDS[:2]:
        done = subprocess.run(
            ["sh", "-c", command],
            cwd=tmp_path / "vault",
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode != 0
        assert printed.strip() not in done.stdout


@pytest.mark.parametrize(("text", "digest"), EXAMPLES, ids=[digest[:8] for _, digest in EXAMPLES])
def test_the_worked_records(text: str, digest: str) -> None:
    """Each example is a record, and has the digest that is below it."""
    assert decode(text.encode(), digest).format == 1


def test_there_are_examples() -> None:
    """The search finds what the pages hold."""
    assert len(COMMANDS) == VAULT.count("```sh\n") == 8
    assert len(EXAMPLES) == RECORDS.count("```json\n") == 3


def test_vault_toml_is_written_as_the_page_has_it() -> None:
    """Byte for byte, and so it is in the vault in fixtures/."""
    (block,) = re.findall(r"```toml\n(.*?)```", VAULT, re.DOTALL)
    assert vault_toml.encode("5ca1ab1e" * 4) == block.encode()
    assert (FIRST / "vault.toml").read_bytes() == block.encode()
    assert sha256(block.encode()) in RECORDS


@pytest.mark.parametrize(
    ("page", "words"),
    [
        (VAULT, f"more than {index.LOOSE} records"),
        (VAULT, f"up to {index.SMALL} records"),
        (VAULT, f"than {index.SETTLED // 10**9} s before"),
        (VAULT, f"an object {objects.MAX_BYTES >> 20} MiB, a record {records.MAX_BYTES >> 20} MiB"),
        (VAULT, f"`vault.toml` {vault_toml.MAX_BYTES} bytes"),
        (VAULT, f"waits {lock.WAIT:g} s"),
        (RECORDS, f"at most {records.MAX_DEPTH} objects"),
        (RECORDS, f"at most {records.MAX_BYTES:,} bytes"),
    ],
)
def test_the_numbers_of_the_pages_are_those_of_the_program(page: str, words: str) -> None:
    """A limit that changes in one place changes in the other."""
    assert words in " ".join(page.split())
