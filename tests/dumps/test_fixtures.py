"""One memory as five programs' files: the same image from each."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from parambak.dumps.dump import TEXT_AROUND, Terms
from parambak.dumps.registry import read_dump
from parambak.errors import DumpRefused
from parambak.memory.digests import sha256
from parambak.reads.plausibility import judge

DUMPS = Path(__file__).parents[2] / "fixtures" / "dumps"
README = (DUMPS / "README.md").read_text("utf-8")
WHOLE = {
    "thruster.bin": ("raw", set()),
    "thruster-srec_cat.hex": ("intel-hex", set()),
    "thruster-srec_cat.s19": ("s-record", {"srec-no-terminator"}),
    "thruster-objcopy.hex": ("intel-hex", {"hex-line-end"}),
    "thruster-objcopy.s19": ("s-record", {"srec-line-end"}),
    "thruster-session.txt": ("intel-hex", {"hex-line-end", "hex-text-around-accepted"}),
}


@pytest.mark.parametrize("name", WHOLE)
def test_each_file_gives_the_one_image(name: str) -> None:
    """The image's digest is the one that the README states; the image is plausible."""
    form, codes = WHOLE[name]
    terms = Terms(frozenset({TEXT_AROUND}), memory_size=2048)
    dump = read_dump(name, (DUMPS / name).read_bytes(), format=form, terms=terms)
    stated = re.search(r"`([0-9a-f]{64})`", README)
    assert stated is not None
    assert sha256(dump.image.content) == stated[1]
    assert {finding.code for finding in dump.findings} == codes
    assert judge(dump.image, memory_size=2048) == ()


def test_transfer_that_stopped_is_refused() -> None:
    """The file ends inside a record."""
    with pytest.raises(DumpRefused) as caught:
        read_dump("a.hex", (DUMPS / "thruster-cut-short.hex").read_bytes())
    assert caught.value.code == "hex-cut-short"


def test_every_file_is_accounted_for() -> None:
    """The README states where each file came from."""
    names = {path.name for path in DUMPS.iterdir()} - {"README.md"}
    assert names == set(re.findall(r"^\| `([^`]+)` \|", README, re.MULTILINE))
