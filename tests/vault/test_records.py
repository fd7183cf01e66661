from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.errors import ParambakError
from parambak.memory.digests import sha256
from parambak.vault.records import MAX_DEPTH, Clock, Record, canonical, clock_of, decode, encode
from tests.vault.home import FIRST, GREBE

# The worked example of formats/records.md: these bytes may never change.
GOLDEN = (
    b'{"after":[],"body":{"text":"first note, invented"},'
    b'"by":"cea4f1ebd8b7a9307321f0642862d0b7161da37ed2fd89916864884602f2c3cd",'
    b'"clock":{"offset":60,"utc":"2026-11-25T13:49:40Z"},"format":1,"kind":"note",'
    b'"objects":["40aff2e9d2d8922e47afd4648e6967497158785fbd1da870e7110266bf944880",'
    b'"cea4f1ebd8b7a9307321f0642862d0b7161da37ed2fd89916864884602f2c3cd"],'
    b'"vessel":"3fa2c0de3fa2c0de3fa2c0de3fa2c0de","writer":"0b5e55ed0b5e55ed0b5e55ed0b5e55ed"}\n'
)
GOLDEN_DIGEST = "03310cd0e2bb7dc28a0e077eba2e1b3ce4ab72c0a9691e699f5c15369e047619"
ANA = "cea4f1ebd8b7a9307321f0642862d0b7161da37ed2fd89916864884602f2c3cd"
CONTENT = "40aff2e9d2d8922e47afd4648e6967497158785fbd1da870e7110266bf944880"
JSON = st.recursive(
    st.booleans() | st.integers(-(2**63) + 1, 2**63 - 1) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


def record(**changes: Any) -> Record:
    """Return the golden record, with members changed."""
    members: dict[str, Any] = {
        "format": 1,
        "kind": "note",
        "vessel": GREBE,
        "after": (),
        "clock": Clock(utc="2026-11-25T13:49:40Z", offset=60),
        "writer": "0b5e55ed0b5e55ed0b5e55ed0b5e55ed",
        "by": ANA,
        "objects": (CONTENT, ANA),
        "body": {"text": "first note, invented"},
    }
    return Record(**{**members, **changes})


def test_a_fixed_record_encodes_to_fixed_bytes() -> None:
    """Bytes and digest are those of the specification, permanently."""
    assert encode(record()) == (GOLDEN_DIGEST, GOLDEN)


def test_the_golden_record_reads_back() -> None:
    """Its bytes give the record again, under the digest that is its name."""
    assert decode(GOLDEN, GOLDEN_DIGEST) == record()


@pytest.mark.parametrize("file", sorted(FIRST.glob("records/*/*.json")), ids=lambda f: f.name[:8])
def test_records_made_without_our_code_are_read_and_written_alike(file: Any) -> None:
    """Records written by Python's own json and hashlib decode, and encode to the same bytes."""
    data = file.read_bytes()
    assert encode(decode(data, file.stem)) == (file.stem, data)


@given(st.dictionaries(st.text(), JSON, max_size=5))
def test_canonical_json_is_that_of_pythons_json(body: dict[str, Any]) -> None:
    """Sorted keys, no spaces, plain UTF-8 and escapes are as json.dumps writes them."""
    expected = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert canonical(body) == (expected + "\n").encode()


@given(st.dictionaries(st.text(), JSON, max_size=5))
def test_round_trip(body: dict[str, Any]) -> None:
    """Everything that a body may hold comes back as it was."""
    digest, data = encode(record(body=body))
    assert decode(data, digest).body == body
    assert sha256(data) == digest


def nested(levels: int) -> dict[str, Any]:
    """Return objects within each other, `levels` deep."""
    value: dict[str, Any] = {}
    for _ in range(levels - 1):
        value = {"in": value}
    return value


@pytest.mark.parametrize(
    ("changes", "found"),
    [
        ({"body": {"a": 0.5}}, "float"),
        ({"body": {"a": float("nan")}}, "float"),
        ({"body": {"a": [1, {"b": float("inf")}]}}, "float"),
        ({"body": {"a": None}}, "null"),
        ({"body": {"a": b"bytes"}}, "bytes"),
        ({"body": {"a": datetime(2026, 11, 25, tzinfo=UTC)}}, "datetime"),
        ({"body": {"a": 2**63}}, "larger"),
        ({"body": {1: "a"}}, "type"),
        ({"body": nested(MAX_DEPTH + 1)}, "more"),
        ({"body": {"a": "\ud800"}}, "surrogate"),
        ({"body": {"a": "x" * (1 << 20)}}, "bytes"),
        ({"kind": "Note"}, "kind"),
        ({"kind": ""}, "kind"),
        ({"vessel": "grebe"}, "vessel"),
        ({"writer": "../../x"}, "writer"),
        ({"after": ("ff",)}, "after"),
        ({"after": (CONTENT, CONTENT)}, "order"),
        ({"objects": (ANA, CONTENT)}, "order"),
        ({"objects": ()}, "person"),
        ({"format": 2}, "format"),
        ({"clock": Clock(utc="2026-13-25T13:49:40Z", offset=0)}, "month"),
        ({"clock": Clock(utc="2026-11-25T13:49:40Z\n", offset=0)}, "utc"),
        ({"clock": Clock(utc="2026-11-25T13:49:40Z", offset=1440)}, "offset"),
    ],
)
def test_what_a_record_cannot_hold_is_refused(changes: dict[str, Any], found: str) -> None:
    """No floats, null, deep nesting or over-long record is ever written."""
    with pytest.raises(ParambakError) as caught:
        encode(record(**changes))
    assert caught.value.code == "vault-record-unfit"
    assert found in str(caught.value.found)


def test_the_deepest_body_that_is_allowed() -> None:
    """Sixteen levels are written and read."""
    digest, data = encode(record(body=nested(MAX_DEPTH)))
    assert decode(data, digest).body == nested(MAX_DEPTH)


def rewritten(old: bytes, new: bytes) -> bytes:
    """Return the golden record with a part of its text replaced."""
    assert old in GOLDEN
    return GOLDEN.replace(old, new, 1)


DEFECTS = {
    "empty": b"",
    "cut in half": GOLDEN[: len(GOLDEN) // 2],
    "no newline": GOLDEN[:-1],
    "two newlines": GOLDEN + b"\n",
    "carriage return": GOLDEN[:-1] + b"\r\n",
    "byte-order mark": b"\xef\xbb\xbf" + GOLDEN,
    "a space": rewritten(b'"body":', b'"body": '),
    "keys out of order": rewritten(
        b'"offset":60,"utc":"2026-11-25T13:49:40Z"', b'"utc":"2026-11-25T13:49:40Z","offset":60'
    ),
    "key twice": rewritten(b'{"after":[],', b'{"after":[],"after":[],'),
    "unknown member": rewritten(b'{"after":[],', b'{"aaa":1,"after":[],'),
    "missing member": rewritten(b'"format":1,', b""),
    "null member": rewritten(b'"kind":"note",', b'"kind":null,'),
    "null vessel": rewritten(b'"3fa2c0de3fa2c0de3fa2c0de3fa2c0de"', b"null"),
    "null in body": rewritten(b'{"text":"first note, invented"}', b'{"text":null}'),
    "float": rewritten(b'{"text":"first note, invented"}', b'{"text":1.0}'),
    "exponent": rewritten(b'{"text":"first note, invented"}', b'{"text":1e2}'),
    "minus zero": rewritten(b'{"text":"first note, invented"}', b'{"text":-0}'),
    "NaN": rewritten(b'{"text":"first note, invented"}', b'{"text":NaN}'),
    "5000 digits": rewritten(b'{"text":"first note, invented"}', b'{"text":' + b"9" * 5000 + b"}"),
    "escaped letter": rewritten(b"first note", b"\\u0066irst note"),
    "lone surrogate": rewritten(b"first note", b"\\ud800"),
    "not UTF-8": rewritten(b"first note", b"\xff\xfe"),
    "upper-case digest": rewritten(b"40aff2e9", b"40AFF2E9"),
    "100000 brackets": b"[" * 100_000,
    "100000 deep in body": rewritten(b'"first note, invented"', b"[" * 100_000 + b"]" * 100_000),
    "17 levels": rewritten(b'"first note, invented"', b"[" * 16 + b"]" * 16),
    "over 1 MiB": rewritten(b"first note", b"x" * (1 << 20)),
    "a list": b"[]\n",
    "format 0": rewritten(b'"format":1', b'"format":0'),
    "format true": rewritten(b'"format":1', b'"format":true'),
    "offset a float": rewritten(b'"offset":60', b'"offset":60.0'),
    "trailing text": GOLDEN + GOLDEN,
}


@pytest.mark.parametrize("data", DEFECTS.values(), ids=DEFECTS)
def test_a_damaged_record_is_refused(data: bytes) -> None:
    """Each defect is refused even if the file's name is the digest of its bytes."""
    with pytest.raises(ParambakError) as caught:
        decode(data, sha256(data))
    assert caught.value.code == "vault-damaged-record"
    assert caught.value.exit_code == 3
    assert caught.value.expected is not None
    assert caught.value.found is not None


def test_a_record_under_a_wrong_name_is_refused() -> None:
    """The name is the digest, or it is damaged."""
    with pytest.raises(ParambakError) as caught:
        decode(GOLDEN, "0" * 64)
    assert caught.value.code == "vault-damaged-record"
    assert caught.value.found == GOLDEN_DIGEST


def test_a_newer_record_is_not_called_damaged() -> None:
    """For a record of a later format, a newer version is needed."""
    data = rewritten(b'"format":1', b'"format":2')
    with pytest.raises(ParambakError) as caught:
        decode(data, sha256(data))
    assert caught.value.code == "vault-newer"


@given(st.binary(max_size=300))
def test_no_bytes_raise_anything_else(data: bytes) -> None:
    """Arbitrary bytes are refused with our own error."""
    with pytest.raises(ParambakError):
        decode(data)


@given(st.integers(0, len(GOLDEN) - 1), st.integers(1, 255))
def test_no_flipped_byte_passes(place: int, change: int) -> None:
    """One byte changed anywhere no longer answers to its digest."""
    data = bytearray(GOLDEN)
    data[place] ^= change
    with pytest.raises(ParambakError):
        decode(bytes(data), GOLDEN_DIGEST)


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        (datetime(2026, 11, 25, 14, 49, 40, 999_999, tzinfo=timezone(timedelta(hours=1))), 60),
        (datetime(2026, 11, 25, 8, 19, 40, tzinfo=timezone(-timedelta(hours=5, minutes=30))), -330),
        (datetime(2026, 11, 25, 13, 49, 40, tzinfo=UTC), 0),
    ],
)
def test_the_clock_is_kept_as_utc_and_offset(moment: datetime, expected: int) -> None:
    """A local time becomes UTC to the second, and the minutes east of it."""
    assert clock_of(moment) == Clock(utc="2026-11-25T13:49:40Z", offset=expected)


def test_a_clock_without_offset_is_a_mistake() -> None:
    """A naive time is a mistake of the program, not of the user."""
    with pytest.raises(ValueError, match="offset"):
        clock_of(datetime(2026, 11, 25))  # noqa: DTZ001 - the mistake itself


def test_msgspec_sorts_members_at_every_depth() -> None:
    """What the encoding relies on: a struct's and a dict's members, sorted by code point."""
    value = {"b": {"ä": 1, "z": 2, "\U0001f6a2": 3, "\uffff": 4}, "B": Clock(utc="x", offset=1)}
    assert canonical(value) == (
        '{"B":{"offset":1,"utc":"x"},"b":{"z":2,"ä":1,"\uffff":4,"\U0001f6a2":3}}\n'.encode()
    )
    assert msgspec.json.decode(canonical(value))["b"]["z"] == 2
