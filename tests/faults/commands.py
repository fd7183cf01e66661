"""Every command that writes, in one table: a new one is a new line, or a house test fails.

Each is called in this process, with folders of its own, a clock that does not move and chance that
repeats, so that one case can be tried again by its number.
"""

from __future__ import annotations

import io
import json
import os
import random
import traceback
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from parambak.cli import main
from parambak.cli.settings import Settings
from parambak.dumps.registry import write_dump
from parambak.keeping.state.conditions import CONDITIONS, OPEN
from parambak.memory.image import Image

if TYPE_CHECKING:
    from collections.abc import Iterator

MEMORY = random.Random(11).randbytes(128)
OTHER = bytes([*MEMORY[:16], MEMORY[16] ^ 1, *MEMORY[17:]])
LAYOUT = b"""[layout]
title = "invented, for the tests of faults"
memory = 128
byte-order = "big"

[[field]]
name = "level"
at = 0x0010
type = "u8"
"""
SHEET = b'[card]\nlinks = "J1 open"\n'
SHARED = Path(__file__).parents[2] / "shared"
TRACEBACK = -1  # the code of a call that ended in an exception
TIME = 1_700_000_000_000_000_000
FILES = {
    "a.hex": (0, write_dump(Image.of(MEMORY), "intel-hex")),
    "b.hex": (30, write_dump(Image.of(MEMORY), "intel-hex")),
    "c.hex": (60, write_dump(Image.of(OTHER), "intel-hex")),
    "d.hex": (90, write_dump(Image.of(OTHER), "intel-hex")),
    "layout.toml": (0, LAYOUT),
    "sheet.toml": (0, SHEET),
    "limits.toml": (0, (SHARED / "limits" / "thruster.toml").read_bytes()),
    "rules.toml": (0, (SHARED / "rules" / "default.toml").read_bytes()),
}


class Fixed(Settings):
    """Settings whose clock does not move."""

    @staticmethod
    def clock() -> datetime:
        """Return the time at which everything happens here."""
        return datetime(2026, 11, 25, 14, 49, 40, tzinfo=timezone(timedelta(hours=1)))


@dataclass(frozen=True)
class Outcome:
    """What one call answered; `error` is the refusal's code."""

    code: int
    document: dict[str, Any]
    said: str

    @property
    def error(self) -> str | None:
        """Return the code of the refusal, if it is one."""
        found: dict[str, Any] = self.document.get("error") or {}
        return found.get("code")


@dataclass(frozen=True)
class Writes:
    """A command that writes: how it is called, on what, and what it adds if it succeeds.

    `start` names a beginning in STARTS. `{here}` in a word is the case's folder. `adds` counts
    the records it adds by kind. `out` is a file next to the vault that it writes. `already` are
    the refusals that report, on the second call, that the request is already done.
    """

    name: str
    words: tuple[str, ...]
    start: str
    adds: dict[str, int] = field(default_factory=dict)
    code: int = 0
    out: str | None = None
    already: tuple[str, ...] = ()

    @property
    def command(self) -> str:
        """Return the command's name as COMMANDS has it."""
        return self.name.partition(",")[0]


def _where(position: str = "U12") -> tuple[str, ...]:
    return ("--vessel", "grebe", "--unit", "port-thruster", "--position", position)


def _archive(*words: str) -> tuple[str, ...]:
    return ("archive", *words, *_where(), "--by", "A. Person")


_VERIFIED = _archive("{here}/a.hex", "{here}/b.hex", "--layout", "{here}/layout.toml")
_BY = ("--by", "A. Person")
_VISIT = ("visit", "open", "grebe", *_BY, "--reader", "bench 2", "--new-vessel")
_BARE = (
    *("archive", "{here}/c.hex", "{here}/d.hex", "--unit", "port-thruster", "--position", "U12"),
    *("--written", "set at the panel"),
)
_NAMED = ("correct", "grebe", "--by", "A. Person", "--reason", "seen aboard")
_OFTEN = tuple((*_NAMED, "--display-name", f"Grebe {n}") for n in range(62))

_ELSEWHERE = ("--vault", "{here}/first")
_FIRST = (*_VERIFIED, *_ELSEWHERE)
_SWAP = ("swap", "open", "grebe/port-thruster/U12", *_BY, "--reason", "does not start")
_ANSWERS = (
    *("swap", "answer", "grebe/port-thruster/U12", *_BY),
    *(f"{condition.name}=yes: seen" for condition in CONDITIONS if condition.required is OPEN),
)
_PLACE = ("backup", "add", "red-stick", "{here}/stick")
_OTHER_UNIT = (
    *("archive", "{here}/c.hex", "{here}/d.hex", "--vessel", "grebe", "--unit", "stbd-thruster"),
    *("--position", "U12", "--by", "A. Person", "--position-confirmed"),
)
_SPARE = ("card", "add", "grebe", "PC-1", *_BY)

STARTS: dict[str, tuple[tuple[str, ...], ...]] = {
    "nothing": (),
    "one read": (_archive("{here}/a.hex"),),
    "verified": (_VERIFIED,),
    "visit": (_VERIFIED, _VISIT),
    "swap": (_VERIFIED, _SWAP),
    "a swap ready": (_VERIFIED, _SWAP, _ANSWERS),
    "placed": (_VERIFIED, _PLACE),
    "sent": (_VERIFIED, _PLACE, ("backup", "send", "red-stick"), _archive("{here}/c.hex")),
    "a vault elsewhere": (_FIRST,),
    "a pack": (_FIRST, ("pack", "grebe", "--out", "{here}/GREBE.ZIP", *_ELSEWHERE)),
    "two units": (_VERIFIED, _OTHER_UNIT),
    "many records": (_VERIFIED, *_OFTEN),  # so many that the next opening makes an index
}
WHERE = "grebe/port-thruster/U12"
TABLE = (
    Writes("archive, into nothing", _archive("{here}/a.hex"), "nothing", {"read": 1}),
    Writes("archive, a second read", _archive("{here}/b.hex"), "one read", {"read": 1}),
    Writes("archive, two with a layout", _VERIFIED, "one read", {"read": 1}),
    Writes("archive, within a visit", _BARE, "visit", {"read": 2}, already=("dump-on-record",)),
    Writes(
        "archive, a vote",
        _archive("{here}/a.hex", "{here}/b.hex", "{here}/c.hex", "--vote", "--no-file-times"),
        "nothing",
        {"read": 4},
    ),
    Writes("archive, with an index", _archive("{here}/c.hex"), "many records", {"read": 1}),
    Writes("visit open", _VISIT, "nothing", {"visit-opened": 1}, already=("visit-open-already",)),
    Writes(
        "visit close",
        ("visit", "close"),
        "visit",
        {"visit-closed": 1},
        already=("visit-none-open",),
    ),
    Writes(
        "card add",
        ("card", "add", "grebe", "PC-1", "--by", "B. Person"),
        "verified",
        {"entered": 1},
    ),
    Writes(
        "card record",
        ("card", "record", "grebe/port-thruster", "{here}/sheet.toml"),
        "verified",
        {"card-sheet": 1},
    ),
    Writes(
        "unit add",
        ("unit", "add", "grebe/winch", "--new-vessel", *_BY),
        "nothing",
        {"entered": 1},
        already=("add-on-record",),
    ),
    Writes(
        "position add",
        ("position", "add", "grebe/port-thruster/U13", *_BY),
        "verified",
        {"entered": 1},
        already=("add-on-record",),
    ),
    Writes(
        "layout attach",
        ("layout", "attach", WHERE, "{here}/layout.toml", *_BY),
        "one read",
        {"layout-attached": 1},
    ),
    Writes("correct, a vessel", (*_NAMED, "--display-name", "Grebe"), "verified", {"correct": 1}),
    Writes(
        "correct, a copy",
        ("correct", f"{WHERE}@latest", "--remark", "dusty"),
        "verified",
        {"correct": 2},
    ),
    Writes(
        "withdraw, a call",
        ("withdraw", f"{WHERE}@latest", *_BY, "--reason", "the chip of the spare card"),
        "verified",
        {"withdrawn": 1},
        already=("position-no-copy", "copy-none", "where-vessel"),
    ),
    Writes(
        "undo, a vessel's name",
        ("undo", *_BY),
        "verified",
        {"withdrawn": 1},
        already=("undo-nothing",),
    ),
    Writes(
        "swap load-file",
        ("swap", "load-file", WHERE, "--as", "raw", "--out", "{here}/LOAD.BIN"),
        "a swap ready",
        {"load-file": 1},
        out="LOAD.BIN",
        already=("vault-export-exists",),
    ),
    Writes(
        "swap read-back",
        ("swap", "read-back", WHERE, "{here}/c.hex"),
        "verified",
        {"read-back": 1},
        code=1,
    ),
    Writes("recheck", ("recheck",), "verified", {"recheck": 1}),
    Writes("swap open", _SWAP, "verified", {"swap-opened": 1}, already=("swap-open-already",)),
    Writes(
        "swap answer",
        ("swap", "answer", WHERE, "permit", "yes", "permit 14", *_BY),
        "swap",
        {"swap-answer": 1},
    ),
    Writes(
        "swap select",
        ("swap", "select", WHERE, *_BY, "--reason", "known good"),
        "swap",
        {"swap-copy-selected": 1},
    ),
    Writes(
        "swap close",
        ("swap", "close", WHERE, *_BY, "--abandoned", "--reason", "no card"),
        "swap",
        {"swap-closed": 1},
        already=("swap-none-open",),
    ),
    Writes(
        "measure",
        (
            "measure",
            "grebe/port-thruster",
            "core_rail=3.31V",
            "--limits",
            "{here}/limits.toml",
            *_BY,
        ),
        "verified",
        {"measured": 1},
    ),
    Writes(
        "rules record",
        ("rules", "record", "grebe", "{here}/rules.toml", *_BY),
        "verified",
        {"ships-rules": 1},
    ),
    Writes(
        "card cross-over",
        (
            "card",
            "cross-over",
            "grebe/port-thruster",
            "grebe/stbd-thruster",
            "--reason",
            "to see",
            *_BY,
        ),
        "two units",
        {"cards-crossed-over": 1},
        already=("cross-over-already",),
    ),
    Writes("backup add", _PLACE, "verified", {"backup-location": 1}),
    Writes("backup send", ("backup", "send", "red-stick"), "placed", {"held": 1}),
    Writes("backup send, what is new", ("backup", "send", "red-stick"), "sent", {"held": 1}),
    Writes(
        "backup remove",
        ("backup", "remove", "red-stick"),
        "placed",
        {"backup-location": 1},
        already=("backup-unknown",),
    ),
    Writes(
        "pack",
        ("pack", "grebe", "--out", "{here}/OUT.ZIP"),
        "verified",
        out="OUT.ZIP",
        already=("vault-export-exists",),
    ),
    Writes("unpack, into nothing", ("unpack", "{here}/GREBE.ZIP"), "a pack", {"read": 2}),
    Writes(
        "recover",
        ("recover", "{here}/first"),
        "a vault elsewhere",
        {"read": 2},
        already=("recover-not-empty",),
    ),
    Writes("rebuild", ("rebuild",), "many records", {}),
    Writes(
        "report copy",
        ("report", "copy", WHERE, "--out", "{here}/U12.html"),
        "verified",
        out="U12.html",
        already=("vault-export-exists",),
    ),
    Writes("tables", ("tables", "--out", "{here}/tables", "--replace"), "verified"),
    Writes(
        "due",
        ("due", "--calendar", "{here}/due.ics"),
        "verified",
        out="due.ics",
        already=("vault-export-exists",),
    ),
    Writes(
        "export",
        ("export", WHERE, "--as", "s-record", "--out", "{here}/OUT.S19"),
        "verified",
        out="OUT.S19",
        already=("vault-export-exists",),
    ),
)
# Commands that write neither into a vault nor a file of a vessel's data.
NEVER = {
    "demo": "an invented scenario; it writes by running the commands above",
    "inspect": "reads dumps alone",
    "catalogue": "reads the vault",
    "decode": "reads a copy or a file",
    "history": "reads the vault",
    "diff": "reads copies or files",
    "compare-units": "reads the vault; with --on-purpose it adds one record, as `correct` does",
    "swap check": "reads the vault",
    "card list": "reads the vault",
    "card compare": "reads the vault",
    "card blank": "writes an empty sheet beside the vault, as `export` writes its file",
    "card program": "reads a dump",
    "backup list": "reads the vault",
    "accept-loss": "needs a vault with a loss; it adds one record, as `correct` does",
    "seal": "reads the vault",
    "report visit": "writes a page beside the vault, as `report copy` does",
    "report swap": "writes a page beside the vault, as `report copy` does",
    "layout check": "reads a layout",
    "layout map": "reads a layout",
    "layout draft": "writes an empty layout beside the vault, as `export` writes its file",
    "layout find": "reads dumps; its layout is written as `export` writes its file",
}
NEEDS_ANSWER = ("recheck", "swap read-back", "backup send")
"""Commands that answer even if nothing could be put on record, and report it in a note."""
BIT_BY_BIT = ("recover",)
"""Commands that stop between two records: their vault reports that the later ones are missing."""


def named(name: str) -> Writes:
    """Return the table's line of that name."""
    return next(each for each in TABLE if each.name == name)


def call(folder: Path, words: tuple[str, ...]) -> Outcome:
    """Call the command in this process, with --json."""
    settings = Fixed(json=True, vault=str(folder / "vault"), own=str(folder / "own"))
    given = [word.replace("{here}", str(folder)) for word in words]
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        try:
            code = main.answered(["--json", *given], settings)
        except Exception:  # noqa: BLE001 - a user must never see any such error
            return Outcome(TRACEBACK, {}, traceback.format_exc(limit=-3))
    said = out.getvalue()
    if "Traceback (most recent call last)" in err.getvalue():
        return Outcome(TRACEBACK, {}, err.getvalue())
    return Outcome(code, json.loads(said) if said else {}, said + err.getvalue())


@contextmanager
def repeating(seed: object, *, flushes: bool = False) -> Iterator[None]:
    """Make the program's chance repeat while the block runs, and flushes free."""
    chance = random.Random(str(seed))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "urandom", chance.randbytes)
        if not flushes:
            patch.setattr(os, "fsync", lambda _descriptor: None)
        yield


def begin(folder: Path, start: str) -> Path:
    """Make a folder with the dumps in it, and the vault that a start names."""
    folder.mkdir(parents=True)
    for name, (second, data) in FILES.items():
        path = folder / name
        path.write_bytes(data)
        moment = TIME + second * 1_000_000_000
        os.utime(path, ns=(moment, moment))
    for words in STARTS[start]:
        outcome = call(folder, words)
        assert outcome.code == 0, outcome.said
    return folder
