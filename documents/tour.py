"""README.md: the output shown under each `$ parambak …` is what that command prints.

The blocks marked `console` are run in their order in one empty folder. A block may also
hold `$ cd FOLDER` and `$ echo $?`; other commands are shown as they are written, and not
run. If README does not begin with the demo, the demo is run first. A line `…` is
for any number of lines left out.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)
LEFT_OUT = "…"
CODES = {0, 1, 2, 3}
CRASH = "Traceback (most recent call last):"
VARYING = [
    (re.compile(r"\b\d{4}-\d\d-\d\d([T ]\d\d:\d\d(:\d\d(\.\d+)?)?)?(Z|[+-]\d\d:?\d\d)?"), "<time>"),
    (re.compile(r"\b[0-9a-f]{12,64}\b"), "<digest>"),
]

ROOT = Path(__file__).resolve().parents[1]


class Step(NamedTuple):
    """A command as README shows it, and the output shown under it."""

    command: str
    shown: str


def page(old: str, kind: type[Shell] | None = None) -> str:
    """Return README.md with the output that its commands give now; `old` is its text.

    `kind` is the shell that runs them, in place of `Shell`.
    """
    with tempfile.TemporaryDirectory() as folder:
        shell = (kind or Shell)(Path(folder).resolve())
        if not first_command(old).startswith("parambak demo"):
            shell.run("parambak demo")
        return BLOCK.sub(lambda block: f"```console\n{refresh(block[1], shell)}```", old)


def first_command(text: str) -> str:
    """Return the first of our commands that README shows, or "" if there is none."""
    commands = [step.command for block in BLOCK.findall(text) for step in steps(block)]
    return next((command for command in commands if command.startswith("parambak")), "")


def steps(block: str) -> list[Step]:
    """Return the commands of a block, each with what is shown under it."""
    parts = re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]
    return [Step(*part.partition("\n")[::2]) for part in parts]


def refresh(block: str, shell: Shell) -> str:
    """Return a block with what its commands print now; output that is right stays as it is."""
    parts = [block.partition("$ ")[0]]
    for step in steps(block):
        printed = shell.run(step.command)
        if printed is None or agrees(step.shown, printed):
            text = step.shown
        else:
            blank = "\n" if step.shown.endswith("\n\n") else ""
            text = f"{printed.rstrip()}\n{blank}" if printed.strip() else blank
        parts.append(f"$ {step.command}\n{text}")
    return "".join(parts)


def agrees(shown: str, printed: str) -> bool:
    """Return whether the output shown is the one printed, except times, digests and cuts."""
    pattern = "".join(
        r"(?:.*\n)*" if line.strip() == LEFT_OUT else re.escape(line) + r"\n"
        for line in normal(shown).splitlines()
    )
    return re.fullmatch(pattern, normal(printed) + "\n") is not None


def normal(text: str) -> str:
    """Return a text with times and long digests replaced, and no blanks at line ends or below."""
    for pattern, name in VARYING:
        text = pattern.sub(name, text)
    return "\n".join(line.rstrip() for line in text.splitlines()).rstrip("\n")


class Shell:
    """Runs README's commands in a folder of its own, and remembers the last exit code."""

    def __init__(self, folder: Path) -> None:
        """Begin in an empty folder."""
        self.top = folder
        self.folder = folder
        self.code = 0

    def run(self, command: str) -> str | None:
        """Run one command; return what it printed, or None if it is not one to run.

        A command that crashes is an error: nothing of it comes into the page.
        """
        words = shlex.split(command, comments=True)
        if words[:1] == ["cd"]:
            self.folder = (self.folder / words[1]).resolve()
            return ""
        if words == ["echo", "$?"]:
            return f"{self.code}\n"
        if words[:1] != ["parambak"]:
            return None
        if {"|", ">", "&&", ";"} & set(words):
            raise ValueError(f"README's commands are run without a shell: {command}")
        code, printed = self.called(words)
        if CRASH in printed or code not in CODES:
            raise ValueError(f"{command} crashed (exit {code}):\n{printed}")
        self.code = code
        return printed.replace(f"{self.top}{os.sep}", "")

    def called(self, words: list[str]) -> tuple[int, str]:
        """Return the exit code of a command, and what it printed."""
        done = subprocess.run(  # noqa: S603 - our own program, with the words that README shows
            [sys.executable, "-m", *words],
            cwd=self.folder,
            env=self.environment(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            encoding="utf-8",
            check=False,
            timeout=120,
        )
        return done.returncode, done.stdout

    def environment(self) -> dict[str, str]:
        """Return an environment of fixed width, and with a home folder of its own."""
        home = str(self.top / ".home")
        keep = {name: text for name, text in os.environ.items() if not name.startswith("PARAMBAK")}
        homes = dict.fromkeys(
            ("HOME", "USERPROFILE", "APPDATA", "LOCALAPPDATA", "XDG_DATA_HOME", "XDG_CONFIG_HOME"),
            home,
        )
        # The program of this working copy, not an installed one.
        ours = {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"}
        return keep | homes | ours | {"COLUMNS": "80", "NO_COLOR": "1", "TZ": "UTC"}
