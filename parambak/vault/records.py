"""The envelope of a record: canonical JSON, named by its own digest. formats/records.md.

The floor above knows what the bodies mean; here a body is text, whole numbers,
true and false, lists and objects of these, and nothing else.
"""

from __future__ import annotations

import re
from contextlib import suppress
from datetime import datetime
from functools import cache, lru_cache
from operator import lt
from typing import TYPE_CHECKING, Annotated, Any, Literal, NamedTuple

import msgspec
from msgspec import Meta, Struct

from parambak.memory.digests import sha256
from parambak.vault.faults import DAMAGED_RECORD, NEWER, UNFIT
from parambak.vault.files.disk import shown

if TYPE_CHECKING:
    from collections.abc import Iterable

FOLDER = "records"
SUFFIX = ".json"
FORMAT = 1
MAX_BYTES = 1 << 20  # of a record's file
MAX_DEPTH = 16  # objects and lists within each other, the body counted as the first
MAX_INTEGER = (1 << 63) - 1  # times in nanoseconds pass the 2^53 of RFC 8259 section 6

Digest = Annotated[str, Meta(pattern=r"\A[0-9a-f]{64}\Z")]
Identity = Annotated[str, Meta(pattern=r"\A[0-9a-f]{32}\Z")]
Kind = Annotated[str, Meta(pattern=r"\A[a-z][a-z0-9-]{0,31}\Z")]
Utc = Annotated[str, Meta(pattern=r"\A[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z\Z")]


_QUICK_DEPTH = 5  # of objects and lists within a body
_HEXADECIMAL = b"0123456789abcdef"
_KIND = re.compile(r"[a-z][a-z0-9-]{0,31}")
_FIRST = b'{"after":[],'  # how a record begins that is after nothing
_NAME = re.compile(r"[0-9a-f]{64}\.json")
_FILE = re.compile(r"(?:\A|[/\\ ])([0-9a-f]{64})(\.json)?\Z")


class Clock(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, gc=False):
    """What the laptop's clock showed: `utc` to the second, `offset` in minutes east of it."""

    utc: Utc
    offset: Annotated[int, Meta(ge=-1439, le=1439)]


class Record(
    Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True, gc=False
):
    """One thing that happened, as the vault holds it.

    `after` names the newest records about the same vessel at that time; `objects` every
    object that the record relies on, including the person `by` whom it was made. Both rising.
    `command` is common to the records of one command.
    """

    format: Literal[1]
    kind: Kind
    after: tuple[Digest, ...]
    clock: Clock
    writer: Identity
    objects: tuple[Digest, ...]
    body: dict[str, Any]
    vessel: Identity | None = None
    by: Digest | None = None
    command: Identity | None = None


class Stored(NamedTuple):
    """A record that is in the vault: its digest, itself, and its file within the vault."""

    digest: str
    record: Record
    file: str


class When(Struct, frozen=True, gc=False):
    """The part of a clock that orders two records of which neither is after the other."""

    utc: str


class Links(Struct, frozen=True, gc=False):
    """What puts a record into its place in the order: what it is after, and its clock."""

    after: tuple[str, ...]
    clock: When


class Link(NamedTuple):
    """A record's digest and its links, for uses that need no more."""

    digest: str
    record: Links


class _Version(Struct):
    format: int


_ENCODER = msgspec.json.Encoder(order="sorted")
_DECODER = msgspec.json.Decoder(Record)
_LINKS = msgspec.json.Decoder(Links)


def file_of(digest: str) -> str:
    """Return a record's file within the vault, with forward slashes."""
    return f"{FOLDER}/{digest[:2]}/{digest}{SUFFIX}"


def record_in(file: str) -> str | None:
    """Return the digest of the record that a file is named by, in any folder; None for another."""
    match = _FILE.search(file)
    return match[1] if match and match[2] else None


def names_object(file: str) -> bool:
    """Return whether a file is named by a digest alone, in any folder, as an object is."""
    match = _FILE.search(file)
    return match is not None and not match[2]


def named_by(name: str) -> bool:
    """Return whether a file's name is a digest and the suffix, as a record's is."""
    return _NAME.fullmatch(name) is not None


def tells_of_vessel(data: bytes, vessel: str) -> bool:
    """Return whether a record is about its vessel itself, or is after nothing.

    It is if a member `id` is the vessel's identity. The bytes alone show that: canonical JSON has
    one way to write such a member. Text cannot look like it, because its quotes are escaped.
    """
    return data.startswith(_FIRST) or f'"id":"{vessel}"'.encode() in data


def clock_of(moment: datetime) -> Clock:
    """Return the clock member for an aware local time."""
    offset = moment.utcoffset()
    if offset is None:
        raise ValueError("the clock must have an offset from UTC")
    utc = (moment - offset).replace(tzinfo=None).isoformat(timespec="seconds")
    return Clock(utc=f"{utc}Z", offset=int(offset.total_seconds()) // 60)


def canonical(value: object) -> bytes:
    """Return canonical JSON: UTF-8, sorted keys, no spaces, one newline at the end."""
    return _ENCODER.encode(value) + b"\n"


def encode(record: Record) -> tuple[str, bytes]:
    """Return a record's digest and its bytes; `vault-record-unfit` if it cannot be one."""
    wrong = unfit(record.body)
    if wrong is not None:
        raise UNFIT.error(expected=wrong[0], found=wrong[1])
    try:
        data = canonical(record)
    except (TypeError, ValueError, msgspec.MsgspecError) as error:
        raise UNFIT.error(expected="text in Unicode", found=shown(str(error))) from error
    checked = _checked(data)
    if not isinstance(checked, Record):
        raise UNFIT.error(expected=checked[0], found=checked[1])
    return sha256(data), data


def decode(data: bytes, digest: str | None = None) -> Record:
    """Return the record that `data` holds, having checked every rule of the format.

    `digest` is the name of its file. Raises `vault-damaged-record`, or
    `vault-newer` for a record of a later format.
    """
    if digest is not None:
        found = sha256(data)
        if found != digest:
            raise DAMAGED_RECORD.error(expected=f"SHA-256 {digest}", found=found)
    checked = _checked(data)
    if isinstance(checked, Record):
        return checked
    version = _version(data)
    if version > FORMAT:
        raise NEWER.error(expected=f"record format {FORMAT}", found=str(version))
    raise DAMAGED_RECORD.error(expected=checked[0], found=checked[1])


def decode_checked(data: bytes) -> Record:
    """Return the record in `data`, which `decode` has checked before.

    The caller has hashed the bytes. Raises `vault-damaged-record` if it is no record after all.
    """
    with suppress(ValueError, RecursionError, msgspec.MsgspecError):
        record = _named_right(_quick()[0].decode(data))
        if record is not None:
            return record
    return decode(data)


def links_of(data: bytes) -> Links:
    """Return the links of a record that `decode` has checked before; as `decode_checked`."""
    try:
        return _LINKS.decode(data)
    except (ValueError, RecursionError, msgspec.MsgspecError):
        record = decode(data)
        return Links(record.after, When(record.clock.utc))


def unfit(body: dict[str, Any]) -> tuple[str, str] | None:
    """Return what was expected and found if a body breaks a rule, else None."""
    level: list[Any] = [body]
    for _ in range(MAX_DEPTH):
        deeper: list[Any] = []
        for outer in level:
            if isinstance(outer, dict):
                if set(map(type, outer)) - {str}:
                    return "member names of text", "another type"
                inside = outer.values()
            else:
                inside = outer
            for value in inside:
                kind = type(value)
                if kind is dict or kind is list or kind is tuple:
                    deeper.append(value)
                elif kind is not str and (wrong := _unfit_leaf(value)):
                    return wrong
        if not deeper:
            return None
        level = deeper
    return f"at most {MAX_DEPTH} levels", "more"


def _unfit_leaf(value: object) -> tuple[str, str] | None:
    if isinstance(value, str):
        return None
    if isinstance(value, int):  # true and false are of this type too
        if -MAX_INTEGER <= value <= MAX_INTEGER:
            return None
        return f"a whole number to {MAX_INTEGER}", "a larger one"
    found = "null" if value is None else type(value).__name__
    return "text, whole numbers, true, false, lists and objects", found


@cache
def _quick() -> tuple[msgspec.json.Decoder[Any], type[Struct]]:
    """Return a decoder that accepts most correct records by itself, made at first use.

    Each level within the body doubles the work of making it: deeper bodies go the slow way.
    """
    plain: Any = str | bool | Annotated[int, Meta(ge=-MAX_INTEGER, le=MAX_INTEGER)]
    body = plain
    for _ in range(_QUICK_DEPTH):
        body = plain | list[body] | dict[str, body]  # type: ignore[valid-type]
    fields: list[Any] = [
        ("format", Literal[1]),
        ("kind", str),
        ("after", tuple[str, ...]),
        ("clock", Clock),
        ("writer", str),
        ("objects", tuple[str, ...]),
        ("body", dict[str, body]),  # type: ignore[valid-type]
        ("vessel", str | None, None),
        ("by", str | None, None),
        ("command", str | None, None),
    ]
    made = msgspec.defstruct(
        "Quick", fields, kw_only=True, forbid_unknown_fields=True, omit_defaults=True, gc=False
    )
    return msgspec.json.Decoder(made), made


def _checked_quickly(data: bytes) -> Record | None:
    """Return the record if it is right as most are; None if `_checked` has to look."""
    try:
        quick = _quick()[0].decode(data)
        datetime.fromisoformat(quick.clock.utc[:-1])
        if canonical(quick) != data:
            return None
    except (ValueError, RecursionError, msgspec.MsgspecError):
        return None
    return _named_right(quick) if _unfit_digests(quick) is None else None


def _named_right(quick: Any) -> Record | None:
    """Return a quickly decoded record if digests, identities and kind have their shapes."""
    by = () if quick.by is None else (quick.by,)
    vessel = () if quick.vessel is None else (quick.vessel,)
    digests = (*quick.after, *quick.objects, *by)
    command = () if quick.command is None else (quick.command,)
    identities = (quick.writer, *vessel, *command)
    lengths = set(map(len, digests)) <= {64} and set(map(len, identities)) == {32}
    strange = "".join((*digests, *identities)).encode().translate(None, _HEXADECIMAL)
    if not lengths or strange or not _is_kind(quick.kind):
        return None
    return Record(
        format=1,
        kind=quick.kind,
        after=quick.after,
        clock=quick.clock,
        writer=quick.writer,
        objects=quick.objects,
        body=quick.body,
        vessel=quick.vessel,
        by=quick.by,
        command=quick.command,
    )


@lru_cache(maxsize=64)  # there are few, each met thousands of times
def _is_kind(kind: str) -> bool:
    return _KIND.fullmatch(kind) is not None


def _checked(data: bytes) -> Record | tuple[str, str]:
    """Return the record, or what was expected and found if `data` breaks a rule."""
    if len(data) > MAX_BYTES:
        return f"at most {MAX_BYTES} bytes", f"{len(data)} bytes"
    quickly = _checked_quickly(data)
    if quickly is not None:
        return quickly
    try:
        record = _DECODER.decode(data)
        datetime.fromisoformat(record.clock.utc[:-1])
        same = canonical(record) == data
    except (ValueError, RecursionError, msgspec.MsgspecError) as error:
        return "a record's members", shown(str(error))
    if not same:
        return "canonical JSON", "the same members in another form"
    if not _is_plain(record.body.values(), MAX_DEPTH - 1):
        wrong = unfit(record.body)
        if wrong is not None:
            return wrong
    return _unfit_digests(record) or record


def _is_plain(values: Iterable[object], deeper: int) -> bool:
    """Return quickly whether `unfit` would refuse, for values that came from JSON."""
    for value in values:
        kind = type(value)
        if kind is str or kind is bool:
            continue
        if isinstance(value, int):
            if not -MAX_INTEGER <= value <= MAX_INTEGER:
                return False
        elif not deeper:
            return False
        elif isinstance(value, dict):
            if not _is_plain(value.values(), deeper - 1):
                return False
        elif not isinstance(value, list) or not _is_plain(value, deeper - 1):
            return False
    return True


def _unfit_digests(record: Record) -> tuple[str, str] | None:
    if not (_rises(record.after) and _rises(record.objects)):
        name = "objects" if _rises(record.after) else "after"
        return f"`{name}` in rising order, each once", "another order"
    if record.by is not None and record.by not in record.objects:
        return "`by` among `objects`", "a person that is not"
    return None


def _rises(digests: tuple[str, ...]) -> bool:
    return len(digests) < 2 or all(map(lt, digests, digests[1:]))


def _version(data: bytes) -> int:
    try:
        return msgspec.json.decode(data[: MAX_BYTES + 1], type=_Version).format
    except (ValueError, RecursionError, msgspec.MsgspecError):
        return 0
