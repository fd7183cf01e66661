"""What stories use: laptops on which commands are typed, each in this process.

A story types whole lines, as a user does: `laptop.yes("swap check grebe/thruster/U12")`. The
laptop's clock is the story's: it moves on by a minute with each command, and to `laptop.now`.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import shlex
import sys
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple
from unittest.mock import patch

import pytest

from parambak.cli.main import call
from parambak.cli.settings import Settings
from parambak.dumps.registry import write_dump
from parambak.memory.image import Image

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from pathlib import Path

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
CONTROL_C = "\x03"
"""A line that a person at a terminal does not finish, but interrupts."""


class Result(NamedTuple):
    """What one command gave: its exit code, its text, and its notes and refusal."""

    code: int
    out: str
    err: str

    @property
    def text(self) -> str:
        """Return all that a person reads, with single spaces in place of line ends."""
        return " ".join(f"{self.out} {self.err}".split())

    @property
    def json(self) -> Any:
        """Return the one document of an answer with --json."""
        return json.loads(self.out)

    @property
    def error(self) -> Any:
        """Return the members of a refusal with --json."""
        return self.json["error"]


class Terminal(io.StringIO):
    """A person at a terminal, who types lines; `CONTROL_C` interrupts."""

    def isatty(self) -> bool:
        """Return True: questions are asked."""
        return True

    def readline(self, size: int | None = -1, /) -> str:  # type: ignore[override]
        """Return the next line that is typed."""
        line = super().readline(-1 if size is None else size)
        if line.strip() == CONTROL_C:
            raise KeyboardInterrupt
        return line


@contextlib.contextmanager
def environment(variables: Mapping[str, str]) -> Iterator[None]:
    """Set variables of the environment while the block runs; the others are not copied."""
    before = {name: os.environ.get(name) for name in variables}
    os.environ.update(variables)
    try:
        yield
    finally:
        for name, text in before.items():
            if text is None:
                del os.environ[name]
            else:
                os.environ[name] = text


class Laptop:
    """A folder to work in, with a vault, a user's own folder and a clock that are its alone."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.vault = folder / "vault"
        self.own = folder / "own"
        self.now = START

    def run(self, line: str, *, typed: str | None = None) -> Result:
        """Run one line as a user types it; `typed` are the lines typed at a terminal then."""
        self.now += MINUTE
        out, err = io.BytesIO(), io.BytesIO()
        folders = {"PARAMBAK_VAULT": str(self.vault), "PARAMBAK_OWN": str(self.own)}
        with ExitStack() as stack:
            stack.enter_context(contextlib.chdir(self.folder))
            stack.enter_context(environment(folders))
            stack.enter_context(patch.object(Settings, "clock", lambda _: self.now))
            person = io.StringIO() if typed is None else Terminal(typed)
            stack.enter_context(patch.object(sys, "stdin", person))
            for name, raw in (("stdout", out), ("stderr", err)):
                stream = io.TextIOWrapper(raw, encoding="utf-8", write_through=True)
                stack.enter_context(patch.object(sys, name, stream))
                stack.callback(stream.detach)
            code = call(shlex.split(line))
        return Result(code, out.getvalue().decode("utf-8"), err.getvalue().decode("utf-8"))

    def yes(self, line: str) -> str:
        """Run a line that is answered with yes (exit 0); return its text."""
        return self._text(line, 0)

    def no(self, line: str) -> str:
        """Run a line that is answered with no (exit 1); return its text."""
        return self._text(line, 1)

    def json(self, line: str, code: int = 0) -> Any:
        """Run a line with --json, which ends with this exit code; return its document."""
        result = self.run(f"--json {line}")
        assert result.code == code, (line, result)
        return result.json

    def refused(self, line: str, fault: str, code: int = 2) -> Any:
        """Run a line that is refused for one fault and changes no byte of the vault.

        Return the members of the refusal.
        """
        before = self.files()
        error = self.json(line, code).get("error", {})
        assert error.get("code") == fault, (line, error)
        assert self.files() == before, line
        return error

    def dump(self, name: str, memory: bytes, kind: str = "raw") -> str:
        """Write a dump as a reader does, at this minute; return its name."""
        return self.write(name, write_dump(Image.of(memory), kind))

    def write(self, name: str, data: bytes | str) -> str:
        """Write a file, at this minute; return its name."""
        self.now += MINUTE
        path = self.folder / name
        path.write_bytes(data.encode() if isinstance(data, str) else data)
        moment = int(self.now.timestamp()) * 1_000_000_000
        os.utime(path, ns=(moment, moment))
        return name

    def files(self) -> dict[str, bytes]:
        """Return every file of the vault that is no index, by its name."""
        return {
            str(path.relative_to(self.vault)): path.read_bytes()
            for path in sorted(self.vault.rglob("*"))
            if path.is_file() and not path.name.startswith("index")
        }

    def _text(self, line: str, code: int) -> str:
        result = self.run(line)
        assert result.code == code, (line, result.code, result.text)
        return result.text


@pytest.fixture
def laptop(tmp_path: Path) -> Laptop:
    """Return a laptop with an empty vault."""
    return Laptop(tmp_path / "laptop")


@pytest.fixture
def laptops(tmp_path: Path) -> Callable[[str], Laptop]:
    """Return what makes a laptop of any name, as for a second person or an office."""
    return lambda name: Laptop(tmp_path / name)


@pytest.fixture(autouse=True)
def _no_flush(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the wait for the disk: no story ends in a power cut."""
    monkeypatch.setattr("os.fsync", lambda _: None)
