"""`demo`: an invented scenario, run for real in a folder of its own."""

from __future__ import annotations

import io
import os
import shlex
import textwrap
from contextlib import redirect_stderr, redirect_stdout
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from parambak.answers.demo import DemoQuestion, StepShown, answer
from parambak.cli import faults
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.demo import DemoAnswer
    from parambak.answers.session import Session
    from parambak.cli.screen import Screen
    from parambak.demo.steps import Call, File, Scene

FOLDER = "parambak-demo"
TRANSCRIPT = "transcript.txt"
COLUMNS = 80


@parambak_command("demo", example="parambak demo parambak-demo", vault=False)
@click.argument("folder", metavar="[DIR]", required=False)
@click.option("--full", is_flag=True, help="Show every command with its answer.")
@pass_settings
def command(settings: Settings, folder: str | None, *, full: bool) -> Answer:
    """Run an invented story through the whole job, in DIR.

    The story has two sister harbour tugs, four visits and three swaps. The screen shows a sentence
    and a result for each step. DIR/transcript.txt has every command with its answer too. The demo
    writes only under DIR, and its vault is DIR/vault. Without DIR it makes parambak-demo, or
    parambak-demo-2 if that is there already.
    """
    folder = folder or _free_name()
    top = _empty_folder(folder)
    story = _Story(folder, full=full, quiet=settings.json)
    before = Path.cwd()
    os.chdir(top)
    try:
        return settings.ask(story.play, DemoQuestion(folder=folder), partial(_page, story))
    finally:
        os.chdir(before)


def _free_name() -> str:
    later = (f"{FOLDER}-{number}" for number in range(2, 1000))
    return next((name for name in (FOLDER, *later) if not Path(name).exists()), FOLDER)


def _empty_folder(folder: str) -> Path:
    top = Path(folder)
    if top.exists() and (not top.is_dir() or any(top.iterdir())):
        raise faults.DEMO_FOLDER.error(
            file=folder, expected="an empty folder, or none", found="something is there"
        )
    top.mkdir(parents=True, exist_ok=True)
    return top


def _write(file: File) -> None:
    path = Path(file.name)
    path.write_bytes(file.data)
    os.utime(path, (file.modified, file.modified))


class _Story:
    """Shows the short story or every command while it runs, and keeps both as text."""

    def __init__(self, folder: str, *, full: bool, quiet: bool) -> None:
        self.folder = folder
        self._full = full
        self._quiet = quiet
        self._short = [f"An example with invented vessels. All commands run for real in {folder}."]
        self._commands: list[str] = []
        self._scene: Scene | None = None
        self._number = 0
        self._wrong: list[StepShown] = []
        if not quiet:
            click.echo(self._short[0] + "\n" * full)

    def play(self, session: Session, question: DemoQuestion) -> DemoAnswer:
        """Run the scenario in the present folder, and leave the transcript there."""
        played = answer(session, question, begin=self._begin, write=_write, run=self._run)
        self._end_scene()
        lines = (
            *self._short,
            "",
            self.outcome(played),
            "\n\nEvery command with its answer\n",
            *self._commands,
        )
        Path(TRANSCRIPT).write_text("\n".join(lines), encoding="utf-8")
        return played

    def outcome(self, played: DemoAnswer) -> str:
        """Return the one clear answer."""
        wrong = sum(step.exit_code != step.expected for step in played.steps)
        if not wrong:
            return "The demo is done. Every step ended as expected."
        return f"The demo is NOT as expected: {counted(wrong, 'command')} marked above."

    def _begin(self, scene: Scene) -> None:
        self._end_scene()
        self._scene = scene
        self._number += 1
        if scene.chapter:
            self._show("", scene.chapter)
        self._show(*_wrapped(f"{self._number:2}  {scene.sentence}"))

    def _end_scene(self) -> None:
        for step in self._wrong:
            ended = f"exit code {step.exit_code}, expected {step.expected}"
            self._show(*_wrapped(f"    NOT AS EXPECTED: {step.command}: {ended}"))
        if self._scene and not self._wrong:
            self._show(*_wrapped(f"    {self._scene.result}"))
        self._wrong = []

    def _run(self, call: Call) -> StepShown:
        """Run one command as a user would, and keep what it prints."""
        from parambak.cli.main import answered  # noqa: PLC0415 - the root imports this module

        words = ["--vault", "vault", *call.words]
        typed = f"parambak {shlex.join(words)}"
        printed = io.StringIO()
        with redirect_stdout(printed), redirect_stderr(printed):
            code = answered(words, Settings(own="own"))
        step = StepShown(call.why, typed, code, call.exit_code, printed.getvalue())
        ended = f"exit code {code}"
        if code != call.exit_code:
            self._wrong.append(step)
            ended += f", NOT AS EXPECTED: {call.exit_code}"
        text = f"# {call.why}\n$ {typed}\n{step.output}({ended})\n"
        self._commands.append(text)
        if self._full and not self._quiet:
            click.echo(text)
        return step

    def _show(self, *lines: str) -> None:
        self._short.extend(lines)
        if not self._full and not self._quiet:
            click.echo("\n".join(lines))


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, COLUMNS, subsequent_indent="    ", break_on_hyphens=False)


def _page(story: _Story, screen: Screen, demo: DemoAnswer) -> None:
    screen.say()
    (screen.bad if demo.exit_code else screen.good)(story.outcome(demo))
    screen.say(f"Every command with its answer: {Path(demo.folder) / TRANSCRIPT}")
    screen.say(f"Do next: cd {demo.folder}, then parambak --vault vault catalogue")
