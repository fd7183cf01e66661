"""Files near to sound ones, given to four unrelated programs as well as to this reader."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from parambak.dumps.registry import read_dump
from parambak.errors import DumpRefused
from tests.outside.judges import SREC_CAT, asked, verdict
from tests.outside.mutations import FORMATS, mutated, sound

PAGE = (Path(__file__).parents[2] / "formats" / "reader-differences.md").read_text("utf-8")
pytestmark = pytest.mark.skipif(SREC_CAT is None, reason="srec_cat is not installed")
RULES = set(re.findall(r"^\| `((?:hex|srec)-[a-z0-9-]+)` \|", PAGE, re.MULTILINE))
HEX_FOUR, HEX_END = b":040010001122334442\n", b":00000001FF\n"
S_FOUR, S_END = b"S107001011223344" + b"3E\n", b"S9030000FC\n"

BORNE_OUT = {
    "hex-after-end": HEX_FOUR + HEX_END + HEX_END,
    "hex-both-bases": b":020000021000EC\n:020000040001F9\n" + HEX_FOUR + HEX_END,
    "hex-no-end": HEX_FOUR,
    "hex-span": HEX_FOUR + b":02000004FFFFFC\n" + HEX_FOUR + HEX_END,
    "hex-wrap": b":04FFFE00112233445" + b"5\n:020000021000EC\n" + HEX_FOUR + HEX_END,
    "srec-after-end": S_FOUR + S_END + b"S5030001FB\n",
    "srec-count-twice": S_FOUR + b"S5030001FB\nS5030001FB\n" + S_END,
    "srec-data-after-count": S_FOUR + b"S5030001FB\nS1050020AABB75\n" + S_END,
    "srec-no-data": S_END,
    "srec-no-end": S_FOUR,
    "srec-odd-end": S_FOUR + b"S5030001FB\nS804000000FB\nS9030000FC\n",
    "srec-span": S_FOUR + b"S306FFFFFFFC01FF\nS5030002FA\n" + S_END,
    "srec-two-ends": S_FOUR + b"S5030001FB\n" + S_END + S_END,
    "srec-width": b"S106FFFEAABBCCCB\n" + S_END,
}
"""A file for each rule that all the others read."""


def compare(format_name: str, data: bytes) -> str | None:
    """Compare with the others on a file; return our code if we refuse what all of them read.

    If this reader takes the file, at least two of the others (one of S-records, which
    fewer read) must give the same bytes, and none may give other bytes.
    """
    judges = asked(format_name)
    verdicts = [verdict(judge, format_name, data) for judge in judges]
    try:
        ours = read_dump("file", data, format=format_name).image
    except DumpRefused as error:
        return None if None in verdicts else error.code
    assert all(each in (None, ours) for each in verdicts), dict(zip(judges, verdicts, strict=True))
    assert len(verdicts) - verdicts.count(None) >= len(judges) - 2
    return None


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.integers(0, 2**40), changes=st.integers(0, 3))
@example(seed=0, changes=0)
@pytest.mark.parametrize("format_name", FORMATS)
def test_what_all_accept_we_accept_or_a_named_rule_says_why(
    format_name: str, seed: int, changes: int
) -> None:
    """The same bytes, or a refusal by a rule that is in the table with its reason."""
    rng = random.Random(seed)
    data = mutated(format_name, sound(format_name, rng), rng, changes)
    code = compare(format_name, data)
    assert code is None or code in RULES, data


@pytest.mark.parametrize("code", sorted(RULES | BORNE_OUT.keys()))
def test_each_rule_is_borne_out(code: str) -> None:
    """A rule stays in the table only while all the others read a file that it refuses."""
    format_name = "intel-hex" if code.startswith("hex") else "s-record"
    assert compare(format_name, BORNE_OUT[code]) == code


@pytest.mark.parametrize("format_name", FORMATS)
def test_sound_files_are_read_by_all(format_name: str) -> None:
    """The files that the changes start from are sound by everyone's reading."""
    for seed in range(30):
        data = sound(format_name, random.Random(seed))
        ours = read_dump("file", data, format=format_name).image
        assert [verdict(judge, format_name, data) for judge in asked(format_name)] == [
            ours for _ in asked(format_name)
        ]
