"""A vault of an older format, carried over into a new one beside it.

A record keeps its bytes and so its digest for ever; new are `vault.toml` and the first record.
formats/vault.md, "Versions".
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from parambak.vault import objects, records
from parambak.vault.check.recover import refuse_other_vault, refuse_unfit_target
from parambak.vault.files import disk
from parambak.vault.joining import Joined, Piece, join
from parambak.vault.own import Own
from parambak.vault.vault import Vault

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime
    from pathlib import Path


def carry_over(
    old: Vault, root: Path, *, own: Path, clock: Callable[[], datetime], cache: Path | None = None
) -> tuple[Vault, Joined]:
    """Make a vault of the present format in `root` that holds all that `old` holds.

    Each file is hashed on the way; what is damaged or missing in `old` is told and left out.
    Raises `recover-inside` and `recover-not-empty` where `root` is no new folder beside it.
    """
    refuse_unfit_target(root, [old.root])
    refuse_other_vault(root, old.identity)
    new = Vault(root, old.identity, own=Own(own), clock=clock, made=True, cache=cache)
    with new.writing() as writing:
        joined = join(new, writing, _pieces(old.root), loose=True)
    return new, joined


def _pieces(root: Path) -> Iterator[Piece]:
    """Yield every file that stands where an object or a record belongs."""
    for sort in (objects.FOLDER, records.FOLDER):
        is_record = sort == records.FOLDER
        limit = records.MAX_BYTES if is_record else objects.MAX_BYTES
        file_of = records.file_of if is_record else objects.file_of
        for folder in disk.names_in(root / sort):
            for name in disk.names_in(root / sort / folder):
                digest = name.removesuffix(records.SUFFIX) if is_record else name
                file = f"{sort}/{folder}/{name}"
                if objects.DIGEST.fullmatch(digest) and file == file_of(digest):
                    read = partial(disk.read_file, f"{root}/{file}", limit)
                    yield Piece(file, digest, is_record, read)
