"""A vault's folder as pieces to merge, and what comes of merging them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.vault.joining import Joined, Piece, join

if TYPE_CHECKING:
    from pathlib import Path

    from tests.vault.home import Home


def pieces_of(root: Path) -> list[Piece]:
    """Return every object and record of a vault's folder."""
    return [
        Piece(
            file.relative_to(root).as_posix(),
            file.name[:64],
            file.suffix == ".json",
            file.read_bytes,
        )
        for sort in ("objects", "records")
        for file in sorted((root / sort).rglob("*"))
        if file.is_file()
    ]


def merged(home: Home, pieces: list[Piece], *, loose: bool = False) -> Joined:
    """Merge pieces into a home's vault, made if there is none."""
    vault = home.open(create=True)
    with vault.writing() as writing:
        return join(vault, writing, pieces, loose=loose)
