from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import sys
from contextlib import ExitStack
from typing import TYPE_CHECKING, Any, NamedTuple
from unittest.mock import patch

import pytest

from parambak.cli.main import call

if TYPE_CHECKING:
    from pathlib import Path


class Result(NamedTuple):
    """What one call gave."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        return json.loads(self.out)


class Ship:
    """A folder to work in, with a vault and a user's own folder that are its alone."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.vault = folder / "vault"
        self._environment = {
            **os.environ,
            "PARAMBAK_VAULT": str(self.vault),
            "PARAMBAK_OWN": str(folder / "own"),
        }

    def run(self, *words: str, **environment: str) -> Result:
        """Run the command as a user does, in this process: words, streams, folders given."""
        out, err = io.BytesIO(), io.BytesIO()
        encoding = environment.get("PYTHONIOENCODING", "utf-8")
        with ExitStack() as stack:
            stack.enter_context(contextlib.chdir(self.folder))
            stack.enter_context(patch.dict(os.environ, {**self._environment, **environment}))
            stack.enter_context(patch.object(sys, "stdin", io.StringIO()))
            for name, raw in (("stdout", out), ("stderr", err)):
                stream = io.TextIOWrapper(raw, encoding=encoding, write_through=True)
                stack.enter_context(patch.object(sys, name, stream))
                stack.callback(stream.detach)
            code = call(list(words))
        return Result(code, out.getvalue().decode("utf-8"), err.getvalue().decode("utf-8"))

    def answer(self, *words: str) -> Result:
        """Run the command with --json, and insist on one document and nothing next to it."""
        result = self.run("--json", *words)
        json.loads(result.out)
        return result

    def write(self, name: str, data: bytes, *, second: int = 0) -> str:
        """Write a file whose time is `second` seconds after the others'."""
        path = self.folder / name
        path.write_bytes(data)
        moment = 1_700_000_000_000_000_000 + second * 1_000_000_000
        os.utime(path, ns=(moment, moment))
        return name

    def tree(self) -> dict[str, str]:
        """Return every file of the vault by its name, with the digest of its bytes."""
        return {
            str(path.relative_to(self.folder)): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted(self.vault.rglob("*"))
            if path.is_file()
        }


@pytest.fixture
def ship(tmp_path: Path) -> Ship:
    return Ship(tmp_path)
