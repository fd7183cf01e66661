"""Words that people type in place of a command, and the command that they intend.

No word here is a command: the call is refused, and the refusal names the right one.
"""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

TYPED: dict[str, tuple[str, ...]] = {
    "inspect": ("check", "checksum", "dump", "hash", "validate", "verify"),
    "archive": (
        *("add", "backup", "copy", "create", "dump", "import", "init", "new", "read", "save"),
        *("store", "upload"),
    ),
    "visit open": ("open", "visit begin", "visit start"),
    "visit close": ("close", "visit end", "visit stop"),
    "measure": ("measurements",),
    "catalogue": ("list", "show", "status", "vessel"),
    "history": ("changes", "log"),
    "diff": ("compare", "difference"),
    "compare-units": ("alike", "compare"),
    "due": ("status", "todo"),
    "decode": ("show", "values", "view"),
    "report": ("page", "pages", "print"),
    "report copy": ("copy",),
    "report swap": ("swap print", "swap report", "swap show", "swap status"),
    "report visit": ("visit print", "visit report", "visit show"),
    "tables": ("csv", "spreadsheet"),
    "swap open": ("exchange", "replace", "swap begin", "swap start"),
    "swap answer": ("swap condition", "swap confirm"),
    "swap select": ("swap choose", "swap mean"),
    "swap check": ("check", "swap show", "swap status"),
    "swap load-file": ("burn", "flash", "load", "restore", "swap export", "swap load", "write"),
    "swap read-back": ("read", "readback", "swap verify", "verify"),
    "swap close": ("swap abandon", "swap cancel", "swap end", "swap finish"),
    "card add": ("card new", "card place"),
    "card list": ("card catalogue", "card show"),
    "card record": ("card sheet",),
    "card compare": ("card check", "card diff", "compare"),
    "card cross-over": ("card exchange", "card swap", "exchange"),
    "rules record": ("rules add", "rules set"),
    "export": ("copy", "dump", "restore", "write"),
    "backup": ("location", "locations", "place", "sync"),
    "backup add": ("backup", "backup create", "backup new"),
    "backup send": (
        *("backup", "backup check", "backup restore", "backup run", "backup start"),
        *("backup sync", "backup verify"),
    ),
    "backup list": ("backup catalogue", "backup show", "backup status"),
    "backup remove": ("backup delete", "delete", "remove"),
    "unpack": ("import", "load"),
    "layout check": ("check", "layout test", "layout validate", "validate"),
    "layout map": ("layout show", "layout view"),
    "layout draft": ("layout create", "layout new"),
    "layout attach": ("layout add", "layout record", "layout set"),
    "unit add": ("unit create", "unit new", "unit record"),
    "position add": ("position create", "position new", "position record"),
    "layout find": ("find", "layout search", "search"),
    "correct": ("amend", "change", "delete", "edit", "rename", "vessel"),
    "recheck": ("check", "verify"),
    "seal": ("closing-line",),
    "recover": ("backup restore", "repair", "rescue", "restore"),
}
"""The command, and what is typed for it. A group alone matches any other word after it."""


def intended(group: str, word: str, commands: Iterable[str]) -> tuple[str, ...]:
    """Return the commands that a word may be typed for: by the table, else by its spelling.

    `group` is the group before the word, "" for none; `commands` are those of the group.
    """
    typed = f"{group} {word}".strip()
    by_table = tuple(command for command, words in TYPED.items() if typed in words)
    if by_table:
        return by_table
    near = get_close_matches(word[:40].casefold(), commands, n=1, cutoff=0.75)
    if near:
        return (f"{group} {near[0]}".strip(),)
    return tuple(command for command, words in TYPED.items() if group and group in words)
