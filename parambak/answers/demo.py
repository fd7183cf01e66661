"""An invented scenario, run for real: its steps, and whether each ended as expected."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

from parambak.answers.forms import NO, YES, Answer, Part, Question
from parambak.demo.scenario import scenario
from parambak.demo.steps import File, Scene
from parambak.vault.files.given import shipped

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.answers.session import Session
    from parambak.demo.steps import Call

LAYOUTS = ("thruster.toml", "towing-winch.toml")


class DemoQuestion(Question["DemoAnswer"], frozen=True):
    """The folder in which it runs."""

    folder: str


class StepShown(Part, frozen=True):
    """One command: why it is called, how it is typed, its exit code, and what it printed."""

    why: str
    command: str
    exit_code: int
    expected: int
    output: str


class DemoAnswer(Answer, frozen=True):
    """Where the demo ran, and its steps."""

    folder: str
    vault: str
    steps: tuple[StepShown, ...]

    @property
    def exit_code(self) -> int:
        """Return 1 if a step did not end as expected."""
        return YES if all(step.exit_code == step.expected for step in self.steps) else NO


def answer(
    session: Session,
    question: DemoQuestion,
    *,
    begin: Callable[[Scene], None],
    write: Callable[[File], None],
    run: Callable[[Call], StepShown],
) -> DemoAnswer:
    """Run the scenario; raise if the installation does not have a file of it.

    `begin` is called before each scene, `write` writes a file in the folder, and `run` runs a
    command there as a person types it.
    """
    del session
    layouts = {name: shipped(f"layouts/{name}") for name in LAYOUTS}
    steps = []
    for step in scenario(layouts, shipped("limits/thruster.toml")):
        if isinstance(step, Scene):
            begin(step)
        elif isinstance(step, File):
            write(step)
        else:
            steps.append(run(step))
    folder = question.folder
    return DemoAnswer(folder=folder, vault=str(PurePath(folder) / "vault"), steps=tuple(steps))
