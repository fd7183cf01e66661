"""The worked examples of formats/, run as they are, and their tables checked for completeness."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import documents.errors
from parambak.dumps import faults
from parambak.dumps.dump import ALLOWANCES, GAP, Terms
from parambak.dumps.registry import FORMATS
from parambak.errors import DumpRefused

ROOT = Path(__file__).parents[2]
PAGES = {name: (ROOT / "formats" / f"{name}.md").read_text("utf-8") for name in FORMATS}
EXAMPLE = re.compile(
    r"```(intel-hex|s-record|raw)([a-z -]*)\n(.*?)```\n\n(Read|Refused): ([^\n]*)\n", re.DOTALL
)
PREFIXES = {"intel-hex": "hex-", "s-record": "srec-", "raw": "raw-"}
EXAMPLES = [
    pytest.param(*found, id=f"{name}-{number}")
    for name, page in PAGES.items()
    for number, found in enumerate(EXAMPLE.findall(page), 1)
]


@pytest.mark.parametrize(("name", "allowed", "block", "verb", "outcome"), EXAMPLES)
def test_worked_example(name: str, allowed: str, block: str, verb: str, outcome: str) -> None:
    """Each block reads as the page shows, or is refused as it shows."""
    data = bytes.fromhex(block) if name == "raw" else block.encode()
    terms = Terms(frozenset(allowed.split()))
    if verb == "Refused":
        with pytest.raises(DumpRefused) as caught:
            FORMATS[name].read(data, terms=terms)
        assert f"{caught.value.code}, line {caught.value.line}" == outcome
        return
    blocks = FORMATS[name].read(data, terms=terms).image.blocks
    shown = "; ".join(f"0x{start:04X} {held.hex(' ').upper()}" for start, held in blocks)
    assert shown == outcome


@pytest.mark.parametrize("name", FORMATS)
def test_every_block_is_an_example(name: str) -> None:
    """Every tagged block has its outcome, so every block is checked."""
    tagged = PAGES[name].count(f"```{name}")
    assert tagged == sum(each.values[0] == name for each in EXAMPLES) > 0


@pytest.mark.parametrize("name", FORMATS)
def test_every_code_is_on_its_page(name: str) -> None:
    """Each refusal and each finding of a format is in its tables, and no other is."""
    prefix = PREFIXES[name]
    refusals = {fault.code for fault in documents.errors.faults([faults])}
    source = "".join(path.read_text("utf-8") for path in (ROOT / "parambak/dumps").glob("*.py"))
    findings = set(re.findall(r'"((?:hex|srec|raw)-[a-z0-9-]+)"', source))
    if name != "raw":
        shared = re.findall(r'f"\{(?:[a-z_.]+\.)?prefix\}-([a-z-]+)"', source)
        findings |= {prefix + each for each in shared} | {prefix.rstrip("-") + GAP}
    findings |= {f"{code}-accepted" for code in refusals if code.removeprefix(prefix) in ALLOWANCES}
    known = {code for code in refusals | findings if code.startswith(prefix)}
    assert set(re.findall(rf"`({prefix}[a-z0-9-]+)`", PAGES[name])) == known


def test_every_allowance_is_on_a_page() -> None:
    """What must be named is named on the page of its format."""
    pages = "".join(PAGES.values())
    assert all(f"`{name}`" in pages for name in ALLOWANCES)
