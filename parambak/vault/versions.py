"""The formats that this version of the program knows. formats/vault.md, "Versions".

Format 1 is the first, so no older one is known yet. When a second comes, what reads a
`vault.toml` and the records of format 1 moves here, as an entry of `OLDER`.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from parambak.vault.records import Record

PRESENT = 1


class Older(NamedTuple):
    """How what an older format wrote is read.

    `identity` returns the vault's identity from the members of vault.toml; `record` what a
    record's bytes tell, None where they are no record of that format.
    """

    identity: Callable[[Mapping[str, Any]], object]
    record: Callable[[bytes], Record | None]


OLDER: Mapping[int, Older] = MappingProxyType({})
