"""Packs made by hand, right or wrong in one way: a ZIP writer of the tests' own.

Written from the page and from PKWARE's APPNOTE.TXT, without the program's writer.
"""

from __future__ import annotations

import json
import struct
import zlib
from dataclasses import dataclass, field
from typing import Any

from parambak.memory.digests import sha256

GREBE = "3fa2c0de" * 4
VAULT = "5ca1ab1e" * 4


@dataclass
class Part:
    """A member, and what to write otherwise than it is."""

    name: str | bytes
    data: bytes
    packed: bytes | None = None  # else stored
    method: int = 0
    flags: int = 0
    version: int = 20
    date: int = 0x21
    crc: int | None = None
    size: int | None = None
    extra: bytes = b""
    attributes: int = 0o100644 << 16
    before: bytes = b""
    central: dict[str, Any] = field(default_factory=dict)

    @property
    def raw_name(self) -> bytes:
        """Return the name as bytes."""
        return self.name.encode() if isinstance(self.name, str) else self.name


def deflated(name: str, data: bytes, **words: Any) -> Part:
    """Return a member packed with deflate."""
    packer = zlib.compressobj(6, zlib.DEFLATED, -15)
    packed = packer.compress(data) + packer.flush()
    return Part(name, data, packed=packed, method=8, **words)


def canonical(value: object) -> bytes:
    """Return canonical JSON, by the standard library."""
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return text.encode() + b"\n"


def object_part(data: bytes, **words: Any) -> Part:
    """Return an object as a member."""
    digest = sha256(data)
    return Part(f"objects/{digest[:2]}/{digest}", data, **words)


def record_part(
    vessel: str | None = GREBE,
    objects: tuple[str, ...] = (),
    after: tuple[str, ...] = (),
    **body: Any,
) -> Part:
    """Return a record as a member."""
    record: dict[str, Any] = {
        "after": sorted(after),
        "body": body,
        "clock": {"offset": 0, "utc": "2026-11-25T13:49:40Z"},
        "format": 1,
        "kind": "note",
        "objects": sorted(objects),
        "writer": "0" * 32,
        **({"vessel": vessel} if vessel else {}),
    }
    data = canonical(record)
    digest = sha256(data)
    return Part(f"records/{digest[:2]}/{digest}.json", data)


def manifest_part(parts: list[Part], **changes: Any) -> Part:
    """Return the manifest of these members."""
    manifest: dict[str, Any] = {
        "files": [{"bytes": len(part.data), "file": str(part.name)} for part in parts],
        "format": 1,
        "vault": VAULT,
        "vessels": [{"id": GREBE, "name": "grebe"}],
        **changes,
    }
    return Part("manifest.json", canonical(manifest))


def forged(
    parts: list[Part], *, start: bytes = b"", comment: bytes = b"", behind: bytes = b""
) -> bytes:
    """Return the ZIP of these members, in this order."""
    out = bytearray(start)
    directory = bytearray()
    for part in parts:
        out += part.before
        at = len(out)
        body = part.data if part.packed is None else part.packed
        crc = zlib.crc32(part.data) if part.crc is None else part.crc
        size = len(part.data) if part.size is None else part.size
        told: dict[str, Any] = {
            "version": part.version,
            "flags": part.flags,
            "method": part.method,
            "date": part.date,
            "crc": crc,
            "packed": len(body),
            "size": size,
            "name": part.raw_name,
            "attributes": part.attributes,
            "at": at,
            "extra": part.extra,
        }
        out += _header(b"PK\x03\x04", told) + part.raw_name + part.extra + body
        told.update(part.central)
        directory += _header(b"PK\x01\x02\x14\x03", told)
        directory += struct.pack("<HHHII", 0, 0, 0, told["attributes"], told["at"])
        directory += told["name"] + told["extra"]
    at, count = len(out), len(parts)
    out += directory
    out += struct.pack(
        "<4sHHHHIIH", b"PK\x05\x06", 0, 0, count, count, len(directory), at, len(comment)
    )
    return bytes(out + comment + behind)


def _header(sign: bytes, told: dict[str, Any]) -> bytes:
    numbers = (told["version"], told["flags"], told["method"], 0, told["date"])
    lengths = (told["crc"], told["packed"], told["size"], len(told["name"]), len(told["extra"]))
    return sign + struct.pack("<5H3I2H", *numbers, *lengths)


def pack_of(*parts: Part, **changes: Any) -> bytes:
    """Return a pack of these members, with the manifest that fits them."""
    return forged([manifest_part(list(parts), **changes), *parts])


def good_parts(data: bytes = b"a dump, invented") -> list[Part]:
    """Return an object, and a record that names it."""
    part = object_part(data)
    return [part, record_part(objects=(sha256(data),))]
