"""A script that uses only the contract does the complete job with files of another program.

The dumps are made by srec_cat (Debian package srecord); without it the test states
so and is skipped.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
import time
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from pathlib import Path

LAYOUT = """
[layout]
title = "invented, for this test"
memory = 2048
byte-order = "big"

[[field]]
name = "ramp_up_time"
at = 0x0040
type = "u16"
scale = 0.1
unit = "s"
"""


def parambak(folder: Path, *words: str) -> tuple[int, Any]:
    environment = {
        **os.environ,
        "PARAMBAK_VAULT": str(folder / "vault"),
        "PARAMBAK_OWN": str(folder / "own"),
    }
    done = subprocess.run(
        [sys.executable, "-m", "parambak", "--json", *words],
        cwd=folder,
        env=environment,
        capture_output=True,
        check=False,
    )
    return done.returncode, json.loads(done.stdout)


@pytest.mark.skipif(shutil.which("srec_cat") is None, reason="srec_cat is not installed")
@pytest.mark.parametrize(("output", "suffix"), [("-intel", "hex"), ("-motorola", "s19")])
def test_two_reads_a_decoded_value_and_a_flipped_bit(
    tmp_path: Path, output: str, suffix: str
) -> None:
    """Two reads verify, a value decodes as computed here, one flipped bit is not loaded."""
    memory = random.Random(20).randbytes(2048)
    (tmp_path / "memory.bin").write_bytes(memory)
    (tmp_path / "layout.toml").write_text(LAYOUT, encoding="utf-8")
    for name in ("first", "second", "read-back"):
        subprocess.run(
            ["srec_cat", "memory.bin", "-binary", "-o", f"{name}.{suffix}", output],
            cwd=tmp_path,
            check=True,
        )
        time.sleep(0.02)
    where = ["--vessel", "grebe", "--unit", "port-thruster", "--position", "U12"]
    dumps = [f"first.{suffix}", f"second.{suffix}"]
    code, archived = parambak(tmp_path, "archive", *dumps, *where, "--layout", "layout.toml")
    assert (code, archived["verified"], archived["unmet"]) == (0, True, [])

    code, decoded = parambak(tmp_path, "decode", archived["copy"])
    field = decoded["fields"][0]
    raw = int.from_bytes(memory[0x40:0x42], "big")
    assert code == 0
    assert field["field"] == "ramp_up_time"
    assert Decimal(field["value"]) == Decimal(raw) / 10
    assert field["raw"] == memory[0x40:0x42].hex().upper()

    code, loaded = parambak(tmp_path, "swap", "read-back", archived["where"], f"read-back.{suffix}")
    assert (code, loaded["loaded_correctly"]) == (0, True)

    flipped = bytearray(memory)
    flipped[0x0123] ^= 0x10
    (tmp_path / "flipped.bin").write_bytes(flipped)
    code, loaded = parambak(tmp_path, "swap", "read-back", archived["where"], "flipped.bin")
    assert (code, loaded["loaded_correctly"]) == (1, False)
    assert loaded["differences"] == [
        {
            "start": 0x0123,
            "old": f"{memory[0x0123]:02X}",
            "new": f"{flipped[0x0123]:02X}",
        }
    ]
