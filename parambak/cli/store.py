"""Opening the vault, and what commands take from it by the names a user types."""

from __future__ import annotations

__all__ = [
    "Given",
    "chip_named",
    "chip_table",
    "every_given",
    "given",
    "open_vault",
    "warnings_of",
]

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from parambak.answers import given_files
from parambak.answers.session import chip_in, chip_table
from parambak.keeping.assess import Assessor
from parambak.keeping.state import select
from parambak.keeping.state.fold import fleet
from parambak.vault.files.given import names_a_file

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from parambak.cli.settings import Settings
    from parambak.keeping.chips import Chip
    from parambak.keeping.state.model import Copy, Fleet, Position
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image
    from parambak.vault.vault import Vault


def open_vault(settings: Settings, *, create: bool = False) -> Vault:
    """Return the vault of the call's session; `create` makes it where there is none."""
    return settings.session.open(create=create)


def _notes(vault: Vault) -> tuple[str, ...]:
    return tuple(finding.text for finding in vault.warnings)


def chip_named(table: Mapping[str, Chip], name: str) -> Chip:
    """Return the chip of that part number; raise CallRefused with the nearest ones."""
    return chip_in(table, name)


def warnings_of(vault: Vault) -> tuple[str, ...]:
    """Return what the vault has to say that stops nothing, and that it was made."""
    made = (f"a new vault was made in {vault.root}",) if vault.made else ()
    return (*made, *_notes(vault))


@dataclass(frozen=True)
class Given:
    """The bytes that a COPY or a file names, and what is known of them.

    `position`, `copy` and `assessor` are None for a file.
    """

    name: str
    image: Image
    layout: Layout | None = None
    position: Position | None = None
    copy: Copy | None = None
    assessor: Assessor | None = None


def given(settings: Settings, text: str) -> Given:
    """Return what a COPY names; an existing file, or one written with a folder, goes first."""
    return every_given(settings, (text,))[0]


def every_given(settings: Settings, texts: Iterable[str]) -> list[Given]:
    """Return what each COPY names, as `given`; the vault is opened once, where one is in it."""
    opened: list[tuple[Assessor, Fleet]] = []
    return [_given(settings, text, opened) for text in texts]


def _given(settings: Settings, text: str, opened: list[tuple[Assessor, Fleet]]) -> Given:
    if names_a_file(text):
        dump = given_files.read_dump_file(text, None, given_files.terms_of(()))
        return Given(Path(text).name, dump.image)
    if not opened:
        vault = open_vault(settings)
        opened.append((Assessor(vault, chip_table()), fleet(vault)))
    assessor, known = opened[0]
    position, copy = select.find_copy(known, text)
    layout = assessor.layout(position.layout) if position.layout else None
    name = select.copy_name(position, copy)
    if copy.reconstructed:
        name += " (RECONSTRUCTED by a vote, never verified by itself)"
    return Given(name, assessor.image(copy.image), layout, position, copy, assessor)
