from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING, Any

import pytest

from tests.vault.forge import GREBE, Part, forged, good_parts, manifest_part, pack_of
from tests.vault.packs.test_refused import refused

if TYPE_CHECKING:
    from tests.vault.home import Home


def manifest_text(text: str) -> bytes:
    """Return a pack whose manifest is this text."""
    return forged([Part("manifest.json", text.encode()), *good_parts()])


GOOD = manifest_part(good_parts()).data.decode()


@pytest.mark.parametrize(
    "text",
    [
        GOOD.replace('"format":1', '"format":1,"format":1'),
        GOOD.replace('"format":1', '"format":NaN'),
        GOOD.replace('"format":1', '"format":1.0'),
        GOOD.replace('"format":1', '"format":"1"'),
        GOOD.replace('"format":1', '"format":0'),
        GOOD.replace('"format":1', '"extra":' + "[" * 50_000 + "]" * 50_000 + ',"format":1'),
        GOOD.replace('"name":"grebe"', '"name":' + "[" * 100_000),
        GOOD.replace('"name":"grebe"', '"name":""'),
        GOOD.replace('"name":"grebe"', '"name":"' + "x" * 201 + '"'),
        GOOD.replace(GREBE, GREBE.upper()),
        GOOD.replace('[{"id', '[{"id": "x"},{"id'),
        GOOD.replace(",", ", "),
        GOOD[:-1],
        GOOD + "\n",
        "",
        "[]",
        "null\n",
        json.dumps({"files": [], "format": 1, "vault": "0" * 32, "vessels": []}) + "\n",
    ],
    ids=range(18),
)
def test_a_manifest_in_another_form(home: Home, text: str) -> None:
    """A key twice, NaN, deep nesting, a fraction, other members, another way of writing."""
    started = time.monotonic()
    refused(home, manifest_text(text), "pack-manifest")
    assert time.monotonic() - started < 2


@pytest.mark.parametrize(
    "changes",
    [
        {"vessels": [{"id": GREBE, "name": "a"}, {"id": GREBE, "name": "b"}]},
        {"vessels": [{"id": "f" * 32, "name": "a"}, {"id": GREBE, "name": "b"}]},
        {"files": [{"bytes": 1, "file": "b"}, {"bytes": 1, "file": "a"}]},
        {"files": [{"bytes": -1, "file": "b"}]},
    ],
    ids=range(4),
)
def test_a_manifest_out_of_order(home: Home, changes: dict[str, Any]) -> None:
    """Vessels and files are in rising order, each once; the refusal states what was expected."""
    error = refused(home, pack_of(*good_parts(), **changes), "pack-manifest")
    assert error.found
    assert error.expected in {
        "vessels by rising identity, each once",
        "files by rising name, each once",
        "its members",
    }


def test_a_manifest_that_does_not_unpack(home: Home) -> None:
    """Without it nothing can be trusted."""
    made = manifest_part(good_parts())
    made.crc = 1
    refused(home, forged([made, *good_parts()]), "pack-manifest")


def test_a_newer_format(home: Home) -> None:
    """The refusal states it, with the number."""
    error = refused(home, pack_of(*good_parts(), format=2), "pack-newer")
    assert error.found is not None
    assert error.found.startswith("2")


def test_no_manifest(home: Home) -> None:
    """A ZIP of something else."""
    refused(home, forged(good_parts()), "pack-not-one")
