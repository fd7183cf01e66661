"""`recover`: a new vault from the files that survived."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.recover import RecoverQuestion
from parambak.cli.command import asks
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.recover import MissingFile, RecoverAnswer
    from parambak.cli.screen import Screen

MOST_SHOWN = 20  # of the files that are missing, and of those that could not be used


@asks(RecoverQuestion, example="parambak recover /media/stick rescued --vault new-vault")
@click.argument("folders", metavar="FOLDER...", nargs=-1, required=True)
def command(screen: Screen, recovered: RecoverAnswer) -> None:
    """Build a new vault of all that can be proven among the files in FOLDER.

    The files may have any names, and lie in folders within folders. They may be a damaged
    vault, several vaults, or packs. They are only read. What is missing is listed.
    """
    files, records = counted(recovered.objects, "file"), counted(recovered.records, "record")
    screen.say(f"{counted(recovered.files, 'file')} read. Proven: {files} and {records}.")
    unnamed = recovered.unnamed
    facts = [("vault", recovered.vault)]
    identity = "as it was" if recovered.identity_known else "new: no record states the old one"
    facts.append(("identity", identity))
    if unnamed:
        facts.append(("left out", f"{counted(unnamed, 'file')} that no record names"))
    screen.facts(facts)
    for word, proven in (("NOT USED", False), ("REFUSED", True)):
        unused = [file for file in recovered.refused if file.proven is proven]
        _listed(screen, [f"{file.file}: {file.text}" for file in unused], word)
    _listed(screen, [_missing(file) for file in recovered.missing], "MISSING")
    if recovered.whole:
        screen.good("Recovered: nothing on record is missing.")
        screen.say("Do next: compare your seals with it: `parambak recheck --seal SEAL`.")
        return
    if recovered.missing:
        screen.bad(f"Recovered, with {counted(len(recovered.missing), 'file')} MISSING.")
    else:
        doubtful = counted(len(recovered.in_doubt), "file")
        screen.bad(f"Recovered, but {doubtful} could not be used, and may hold what is lost.")
    screen.say(
        "Do next: look for them on other sticks and laptops. Then recover from all folders at "
        "once into another new vault. `parambak recheck` lists what is still missing. If nobody "
        "has it: `parambak accept-loss VESSEL --by NAME --reason TEXT`."
    )


def _missing(missing: MissingFile) -> str:
    lost = "; ".join(loss.text for loss in missing.lost)
    return f"{missing.file}: lost with it: {lost}." if lost else f"{missing.file}."


def _listed(screen: Screen, lines: list[str], word: str) -> None:
    for line in lines[:MOST_SHOWN]:
        screen.say(f"{word} {line}", indent=2)
    if len(lines) > MOST_SHOWN:
        screen.say(f"{word} {len(lines) - MOST_SHOWN} more; --json lists them.", indent=2)
