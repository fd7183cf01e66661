"""Persons: an object holds the name, records hold its digest as a mark.

The salt keeps a mark from being guessed from a list of names, and keeps one person's marks
in two vessels' records apart, so that a vessel can leave with its own.
"""

from __future__ import annotations

import os
from typing import Annotated

import msgspec
from msgspec import Meta, Struct

from parambak.vault.faults import NOT_A_PERSON, UNFIT
from parambak.vault.files import disk
from parambak.vault.records import Identity, canonical

MAX_NAME = 200  # characters


class _Person(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    name: Annotated[str, Meta(min_length=1, max_length=MAX_NAME)]
    salt: Identity


_DECODER = msgspec.json.Decoder(_Person)


def encode(name: str) -> bytes:
    """Return a new object for a person of that name."""
    try:
        data = canonical(_Person(name=name, salt=os.urandom(16).hex()))
        _DECODER.decode(data)
    except (ValueError, msgspec.MsgspecError) as error:
        expected = f"a name of 1 to {MAX_NAME} characters"
        raise UNFIT.error(expected=expected, found=disk.shown(str(error))) from error
    return data


def decode(data: bytes, file: str) -> str:
    """Return the name that a person's object holds; `vault-not-a-person` if it holds no name."""
    try:
        person = _DECODER.decode(data)
    except (ValueError, RecursionError, msgspec.MsgspecError) as error:
        raise NOT_A_PERSON.error(file=file, found=disk.shown(str(error))) from error
    return person.name
