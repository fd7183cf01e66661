"""`recover`: a new vault from whatever survived."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.progress import Progress
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.losses import Loss, losses
from parambak.memory.counted import counted
from parambak.vault.check.recover import new_vault, refuse_unfit_target, surveyed
from parambak.vault.files.given import FILE_ABSENT
from parambak.vault.joining import join

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.vault.check.recheck import Damage
    from parambak.vault.joining import Joined
    from parambak.vault.vault import Vault

MOST_SHOWN = 20  # of the files that are missing, and of those that could not be used


class Recovered(NamedTuple):
    """What was built, and what is wanting."""

    vault: Vault
    files: int
    unnamed: int
    known: bool
    joined: Joined
    refused: tuple[Damage, ...]
    doubtful: tuple[Damage, ...]
    lost: dict[str, tuple[Loss, ...]]

    @property
    def whole(self) -> bool:
        """Tell whether nothing is known to be missing."""
        return not self.joined.missing and not self.joined.refused and not self.doubtful


@parambak_command("recover", example="parambak recover /media/stick rescued --vault new-vault")
@click.argument("folders", metavar="FOLDER...", nargs=-1, required=True)
@pass_settings
def command(settings: Settings, folders: tuple[str, ...]) -> Answer:
    """Build a new vault of all that can be proven among the files in FOLDER.

    The files may have any names, lie in folders within folders, be a damaged
    vault, several, or packs. They are only read. What is missing is listed.
    """
    sources = [Path(folder) for folder in folders]
    for source in sources:
        if not _may_be_there(source):
            raise FILE_ABSENT.error(file=str(source))
    refuse_unfit_target(settings.vault_folder, sources)
    recovered = _recover(settings, sources)
    return Answer(
        _document(recovered),
        lambda screen: _page(screen, recovered),
        exit_code=0 if recovered.whole else 1,
        warnings=store.warnings_of(recovered.vault),
    )


def _recover(settings: Settings, sources: list[Path]) -> Recovered:
    with Progress(quiet=settings.json) as progress, surveyed(sources, progress) as heap:
        root, own, cache = settings.vault_folder, settings.own_folder, settings.cache_folder
        vault = new_vault(root, heap, own, settings.clock, cache)
        with vault.writing() as writing:
            joined = join(vault, writing, heap.pieces(), loose=True)
    histories = (vault.records(vessel) for vessel in (None, *vault.vessels()))
    lost = losses(fleet(vault), histories, joined.missing) if joined.missing else {}
    known = heap.identity() is not None
    refused, doubtful = heap.refused, heap.doubtful
    return Recovered(vault, heap.count, heap.unnamed, known, joined, refused, doubtful, lost)


def _may_be_there(source: Path) -> bool:
    try:
        return source.exists()
    except OSError:  # told with the files that cannot be read
        return True


def _document(recovered: Recovered) -> dict[str, Any]:
    joined = recovered.joined
    return {
        "vault": str(recovered.vault.root),
        "identity": recovered.vault.identity,
        "identity_known": recovered.known,
        "files": recovered.files,
        "objects": joined.added_objects,
        "records": joined.added_records,
        "unnamed": recovered.unnamed,
        "missing": [
            {
                "file": file,
                "lost": [
                    {"text": loss.text, "vessel": loss.vessel, "where": loss.where}
                    for loss in recovered.lost.get(file, ())
                ],
            }
            for file in joined.missing
        ],
        "refused": [
            {"file": each.file, "text": each.text} for each in (*recovered.refused, *joined.refused)
        ],
    }


def _page(screen: Screen, recovered: Recovered) -> None:
    joined = recovered.joined
    objects = counted(joined.added_objects, "object")
    records = counted(joined.added_records, "record")
    screen.say(f"{counted(recovered.files, 'file')} looked at: {objects} and {records} proven.")
    unnamed = recovered.unnamed
    facts = [("vault", str(recovered.vault.root))]
    facts.append(("identity", "as it was" if recovered.known else "new: no record tells the old"))
    if unnamed:
        facts.append(("left out", f"{counted(unnamed, 'file')} that no record names"))
    screen.facts(facts)
    _listed(screen, [f"{each.file}: {each.text}" for each in recovered.refused], "NOT USED")
    _listed(screen, [f"{each.file}: {each.text}" for each in joined.refused], "REFUSED")
    _listed(screen, [_missing(recovered, file) for file in joined.missing], "MISSING")
    if recovered.whole:
        screen.good("Recovered: nothing is known to be missing.")
        screen.say("Do next: hold your closing lines against it, with recheck --known.")
        return
    if joined.missing:
        screen.bad(f"Recovered with holes: {counted(len(joined.missing), 'file')} missing.")
    else:
        unused = {*recovered.doubtful, *joined.refused}
        text = f"{counted(len(unused), 'file')} could not be used, and may hold what is lost"
        screen.bad(f"Recovered, but {text}.")
    screen.say(
        "Do next: look for them on other sticks and laptops and recover from all folders at once "
        "into another new vault; recheck goes on naming what is missing."
    )


def _missing(recovered: Recovered, file: str) -> str:
    lost = [loss.text for loss in recovered.lost.get(file, ())]
    return f"{file}: lost with it: {'; '.join(lost)}." if lost else f"{file}."


def _listed(screen: Screen, lines: list[str], word: str) -> None:
    for line in lines[:MOST_SHOWN]:
        screen.say(f"{word} {line}", indent=2)
    if len(lines) > MOST_SHOWN:
        screen.say(f"{word} {len(lines) - MOST_SHOWN} more; --json lists them.", indent=2)
