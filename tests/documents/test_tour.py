from __future__ import annotations

import contextlib
import io
import os
import sys
from contextlib import ExitStack
from pathlib import Path
from unittest.mock import patch

import pytest

from documents import tour
from parambak.cli.main import call

ROOT = Path(__file__).parents[2]


class Echo(tour.Shell):
    """Prints the same for every command of ours."""

    def run(self, command: str) -> str | None:
        """Return two lines for our commands, None for others."""
        return f"read {command}\ndone\n" if command.startswith("parambak") else None


class InProcess(tour.Shell):
    """Runs our commands in this process, as the tests of commands do."""

    def called(self, words: list[str]) -> tuple[int, str]:
        """Return the exit code and what was printed, on both streams in their order."""
        printed = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True)
        with ExitStack() as stack:
            stack.enter_context(contextlib.chdir(self.folder))
            stack.enter_context(patch.dict(os.environ, self.environment(), clear=True))
            stack.enter_context(patch.object(sys, "stdin", io.StringIO()))
            stack.enter_context(patch.object(sys, "stdout", printed))
            stack.enter_context(patch.object(sys, "stderr", printed))
            code = call(words[1:])
        return code, printed.detach().getvalue().decode("utf-8")


class Crashing(tour.Shell):
    """Runs the package that is in its folder, in place of ours."""

    def environment(self) -> dict[str, str]:
        """Return the environment in which that package is first on the path."""
        return super().environment() | {"PYTHONPATH": str(self.top)}


def test_readme_shows_what_the_commands_print() -> None:
    """Each `$ parambak …` in README is run, and prints what is shown under it."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert tour.first_command(readme), "README shows no command of ours"
    assert tour.page(readme, InProcess) == readme


@pytest.mark.parametrize(
    ("shown", "printed"),
    [
        ("a\nb\n", "a\nb\n"),
        ("a\n…\nd\n", "a\nb\nc\nd\n"),
        ("…\n", "a\nb\n"),
        ("a\n\n", "a\n"),
        ("a  \n", "a\n"),
        ("on 2026-01-02\n", "on 2027-03-04\n"),
        ("at 2026-01-02 03:04:05+02:00\n", "at 2027-01-02T03:04Z\n"),
        (f"sha256 {'ab' * 32}\n", f"sha256 {'cd' * 32}\n"),
    ],
)
def test_output_that_agrees(shown: str, printed: str) -> None:
    """Times, long digests, blanks at line ends and what is left out by … may differ."""
    assert tour.agrees(shown, printed)


@pytest.mark.parametrize(
    ("shown", "printed"),
    [
        ("a\n", "b\n"),
        ("a\n", "a\nb\n"),
        ("a\nb\n", "a\n"),
        ("", "a\n"),
        ("a\n…\nd\n", "a\nb\nc\n"),
        ("a.c\n", "abc\n"),
        ("@3fa29c01\n", "@3fa29c02\n"),
        ("2 copies\n", "3 copies\n"),
    ],
)
def test_output_that_does_not_agree(shown: str, printed: str) -> None:
    """A line more, a line less, another number or another copy is a difference."""
    assert not tour.agrees(shown, printed)


def test_a_block_is_written_again_only_where_it_differs(tmp_path: Path) -> None:
    """What agrees stays letter for letter; other commands and remarks are left alone."""
    block = "$ ls\nx\n$ parambak a\nread parambak a\n…\n\n$ parambak b\nold\n"
    assert tour.refresh(block, Echo(tmp_path)) == (
        "$ ls\nx\n$ parambak a\nread parambak a\n…\n\n$ parambak b\nread parambak b\ndone\n"
    )


def test_only_our_commands_are_run(tmp_path: Path) -> None:
    """A foreign command is never run, and one of ours that needs a shell is an error."""
    shell = tour.Shell(tmp_path)
    assert shell.run("touch here") is None
    assert not (tmp_path / "here").exists()
    with pytest.raises(ValueError, match="without a shell"):
        shell.run("parambak inspect a.hex | more")


def test_a_crash_is_never_written_into_the_page(tmp_path: Path) -> None:
    """A traceback, or an exit code that no command has: the page is not made."""
    page = "```console\n$ parambak catalogue\nold\n```\n"
    for body in ("raise RuntimeError('x')", "import os; os._exit(70)"):
        package = tmp_path / "parambak"
        package.mkdir(exist_ok=True)
        (package / "__init__.py").touch()
        (package / "__main__.py").write_text(body, encoding="utf-8")
        with pytest.raises(ValueError, match="parambak catalogue crashed"):
            tour.refresh(page, Crashing(tmp_path))


def test_folder_and_exit_code_are_kept(tmp_path: Path) -> None:
    """`cd` holds for the commands after it; `echo $?` prints the last exit code."""
    (tmp_path / "in").mkdir()
    shell = tour.Shell(tmp_path)
    assert shell.run("cd in") == ""
    assert shell.folder == (tmp_path / "in").resolve()
    shell.code = 1
    assert shell.run("echo $?") == "1\n"


def test_nothing_reaches_the_users_own_folders(tmp_path: Path) -> None:
    """The commands see a home of their own, a fixed width, and no vault named outside."""
    environment = tour.Shell(tmp_path).environment()
    assert environment["HOME"] == str(tmp_path / ".home")
    assert environment["COLUMNS"] == "80"
    assert not [name for name in environment if name.startswith("PARAMBAK")]
