from __future__ import annotations

import ast
from typing import NamedTuple

import pytest

from tests.house.parsed import parsed


class Rule(NamedTuple):
    """An effect: the names that have it, the rooms that may, and names that have it not."""

    names: frozenset[str]
    rooms: frozenset[str]
    harmless: frozenset[str] = frozenset()


def words(text: str) -> frozenset[str]:
    """Return the words of a text."""
    return frozenset(text.split())


# `.name` is an attribute of that name on anything.
RULES = {
    "files": Rule(
        words(
            """open io.open io.FileIO os pathlib shutil tempfile sqlite3 mmap fcntl msvcrt glob
            fileinput linecache socket subprocess urllib.request http importlib.resources
            pkgutil.get_data fsspec .read_bytes .write_bytes .read_text .write_text .iterdir
            .rglob .unlink .rmdir .mkdir .touch .is_file .is_dir .symlink_to .hardlink_to
            .samefile .fsync"""
        ),
        words("vault cli api"),
        words("os.PathLike pathlib.PurePath pathlib.PurePosixPath pathlib.PureWindowsPath"),
    ),
    "clock": Rule(
        words(
            """time datetime.datetime.now datetime.datetime.utcnow datetime.datetime.today
            datetime.date.today email.utils.localtime os.times"""
        ),
        words("cli api"),
    ),
    "environment": Rule(
        words(
            """os.environ os.environb os.getenv os.putenv os.unsetenv os.getcwd os.getcwdb
            os.chdir os.getlogin os.path.expanduser os.path.expandvars os.path.abspath
            os.path.realpath sys.argv sys.orig_argv sys.stdin platformdirs getpass locale
            pathlib.Path.home pathlib.Path.cwd .expanduser socket.gethostname platform.node
            shutil.get_terminal_size os.get_terminal_size"""
        ),
        words("cli api"),
    ),
    "output": Rule(
        words(
            """print input breakpoint sys.stdout sys.stderr sys.__stdout__ sys.__stderr__ click
            rich logging warnings.warn pprint.pprint pprint.pp traceback.print_exc"""
        ),
        words("cli"),
    ),
    "exits": Rule(
        words("sys.exit SystemExit exit quit os._exit os.abort os.kill signal atexit"),
        words("cli"),
    ),
    "chance": Rule(words("random secrets uuid os.urandom"), words("vault cli keeping")),
}
# Waiting for a lock, or for a file that another program holds, asks no clock for the hour.
ALSO = {("clock", "vault"): words("time.sleep time.monotonic")}


def dotted(node: ast.expr) -> list[str]:
    """Return the parts of `a.b.c`, or of what follows a call or an index as `.c`."""
    if isinstance(node, ast.Attribute):
        return [*dotted(node.value), node.attr]
    return [node.id] if isinstance(node, ast.Name) else [""]


def used(text: str) -> list[tuple[int, str]]:
    """Return line and full name of each name used, imports and their new names resolved."""
    tree = parsed(text)
    known: dict[str, str] = {}
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                top = alias.name if alias.asname else alias.name.split(".")[0]
                known[alias.asname or top] = top
        elif isinstance(node, ast.ImportFrom) and not node.level:
            for alias in node.names:
                known[alias.asname or alias.name] = f"{node.module}.{alias.name}"
                found.append((node.lineno, f"{node.module}.{alias.name}"))
    names = [node for node in ast.walk(tree) if isinstance(node, ast.Name)]
    bound = {node.id for node in names if not isinstance(node.ctx, ast.Load)}
    inner = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) or (
            isinstance(node, ast.Name) and id(node) not in inner
        ):
            first, *rest = dotted(node)
            if first in bound and first not in known:
                first = ""
            whole = ".".join([known.get(first, first), *rest])
            found.append((node.lineno, whole))
            if rest and not whole.startswith("parambak."):
                found.append((node.lineno, f".{rest[-1]}"))
    return found


def falls_under(name: str, names: frozenset[str]) -> bool:
    """Return whether a full name is one of `names`, or something inside one."""
    parts = name.split(".")
    return any(".".join(parts[: n + 1]) in names for n in range(len(parts)))


def violations(path: str, text: str) -> list[tuple[str, str]]:
    """Return each effect that a file has and its room may not: its kind, and where."""
    parts = path.removesuffix(".py").split("/")
    room = "cli" if parts[1] == "__main__" else parts[1]
    wrong = []
    for line, name in used(text):
        for kind, rule in RULES.items():
            harmless = rule.harmless | ALSO.get((kind, room), frozenset())
            has_it = falls_under(name, rule.names) and not falls_under(name, harmless)
            if has_it and room not in rule.rooms:
                wrong.append((kind, f"{path}:{line}: {name}"))
    return wrong


def test_effects_stay_in_their_rooms(sources: dict[str, str]) -> None:
    """Files, clock, environment, output, exits and chance are only where the house allows."""
    found = [fault for path, text in sources.items() for fault in violations(path, text)]
    assert not found, "\n".join(map(str, found))


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("files", "with open('a') as file: pass"),
        ("files", "from pathlib import Path"),
        ("files", "import pathlib as p\np.Path('a')"),
        ("files", "import os\nos.replace('a', 'b')"),
        ("files", "import os.path\nos.path.exists('a')"),
        ("files", "def f(where): return where.read_bytes()"),
        ("files", "def f(where): return (where / 'a').iterdir()"),
        ("files", "def f():\n    import sqlite3\n    sqlite3.connect('a')"),
        ("files", "import tempfile as t\nt.mkdtemp()"),
        ("files", "from shutil import copy"),
        ("clock", "import time\ntime.time()"),
        ("clock", "from time import monotonic as m"),
        ("clock", "import datetime as dt\ndt.datetime.now(dt.UTC)"),
        ("clock", "from datetime import date\ndate.today()"),
        ("clock", "from datetime import datetime as d\nf = d.now"),
        ("environment", "import os\nos.environ['A']"),
        ("environment", "from os import getenv"),
        ("environment", "import sys\nsys.argv[1:]"),
        ("environment", "import platformdirs\nplatformdirs.user_data_path()"),
        ("environment", "from pathlib import Path\nPath.home()"),
        ("output", "print('a')"),
        ("output", "import sys\nsys.stdout.write('a')"),
        ("output", "import click\nclick.echo('a')"),
        ("output", "def f():\n    from rich.table import Table"),
        ("output", "import logging\nlogging.info('a')"),
        ("exits", "import sys\nsys.exit(1)"),
        ("exits", "raise SystemExit(1)"),
        ("exits", "import os\nos._exit(1)"),
        ("chance", "import random\nrandom.random()"),
        ("chance", "from secrets import token_hex"),
        ("chance", "import uuid\nuuid.uuid4()"),
        ("chance", "import os\nos.urandom(8)"),
    ],
)
def test_an_effect_in_a_pure_room_is_caught(kind: str, text: str) -> None:
    """Each kind of effect is found in a pure room, and allowed in cli/."""
    assert kind in [found for found, _ in violations("parambak/memory/a.py", text)]
    assert violations("parambak/cli/a.py", text) == []


@pytest.mark.parametrize(
    ("room", "text", "kinds"),
    [
        ("vault", "import os\nos.fsync(3)", []),
        ("vault", "import secrets\nsecrets.token_hex()", []),
        ("vault", "import time\ntime.sleep(0.1)", []),
        ("vault", "import time\ntime.time()", ["clock"]),
        ("vault", "import os\nos.environ", ["environment"]),
        ("vault", "print()", ["output"]),
        ("keeping", "import secrets\nsecrets.token_hex()", []),
        ("keeping", "open('a')", ["files"]),
        ("demo", "print()", ["output"]),
        ("dumps", "import random\nrandom.random()", ["chance"]),
    ],
)
def test_each_room_has_its_own_leave(room: str, text: str, kinds: list[str]) -> None:
    """What one room may do is not allowed in the next."""
    assert [kind for kind, _ in violations(f"parambak/{room}/a.py", text)] == kinds


@pytest.mark.parametrize(
    "text",
    [
        "from pathlib import PurePosixPath\nPurePosixPath('a').suffix",
        "from datetime import date\ndate.fromisoformat('2026-01-02')",
        "import io\nio.BytesIO(b'')",
        "def f(reader): return reader.open(), reader.time, reader.print",
        "import sys\nsys.byteorder",
        "time = 3\ntime + 1",
        "from parambak.layouts import texts\ntexts.read_text(b'')",
    ],
)
def test_pure_code_passes(text: str) -> None:
    """Names that only look like an effect are left alone."""
    assert violations("parambak/memory/a.py", text) == []
