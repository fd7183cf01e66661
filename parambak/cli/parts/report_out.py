"""Writing a page that was made: whole, and never over another file unasked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from parambak.cli import store
from parambak.cli.settings import Answer
from parambak.keeping.assess import Assessor
from parambak.keeping.state.fold import fleet
from parambak.memory.digests import sha256
from parambak.reports.parts import Desk
from parambak.vault.files.given import refuse_within

if TYPE_CHECKING:
    from parambak.cli.settings import Settings


def desk_of(settings: Settings) -> Desk:
    """Return what a page is made from."""
    vault = store.open_vault(settings)
    return Desk(fleet(vault), Assessor(vault, store.chip_table()), settings.clock())


def written(desk: Desk, page: bytes, out: str, *, replace: bool) -> Answer:
    """Write a page, and answer where it is."""
    from parambak.vault.files.disk import write_export  # noqa: PLC0415 - for writing only

    vault = desk.assessor.vault
    refuse_within(out, vault.root)
    write_export(Path(out), page, replace=replace)
    return Answer(
        {"file": out, "sha256": sha256(page), "size": len(page)},
        lambda screen: screen.good(f"Written: {out}. Open it in a browser; it prints on A4."),
        warnings=store.warnings_of(vault),
    )
