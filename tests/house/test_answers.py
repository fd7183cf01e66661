"""The command line turns words into questions and answers into lines: it decides nothing."""

from __future__ import annotations

from tests.house.test_floors import imported, room_of

BELOW = {"answers", "cli", "demo", "errors", "memory", "version"}
"""The rooms that `cli/` may import: the answers, and what shows numbers, names and errors."""
SHOWN = {
    "parambak.dumps.registry.format_named",  # the label of a format
    "parambak.differences.small_line.small_line",  # draws values as a line of blocks
}
"""Functions that show an answer's values and are on a lower floor because pages use them too."""


def intruders(path: str, text: str) -> list[str]:
    """Return what a file of `cli/` imports of rooms that decide, types included.

    Codes and labels, whose names are written in capitals, decide nothing.
    """
    module = path.removesuffix(".py").replace("/", ".")
    package = module.endswith(".__init__")
    return [
        f"{path}:{line}: {name}"
        for line, name in imported(text, module.removesuffix(".__init__"), package=package)
        if room_of(name) not in BELOW
        and name not in SHOWN
        and not name.rpartition(".")[2].isupper()
    ]


def test_the_command_line_stands_on_the_answers_alone(sources: dict[str, str]) -> None:
    """A command has no vault, no record and no rule in its hands."""
    cli = {path: text for path, text in sources.items() if path.startswith("parambak/cli/")}
    found = [line for path, text in cli.items() for line in intruders(path, text)]
    assert not found, "\n".join(found)


def test_a_command_that_decides_is_caught() -> None:
    """Everything that is no code, no label and no answer is found."""
    path = "parambak/cli/commands/a.py"
    assert intruders(path, "from parambak.vault.vault import Vault")
    assert intruders(path, "def f():\n    from parambak.swap.state import swap_state")
    assert not intruders(path, "from parambak.answers.archive import ArchiveQuestion, answer")
    assert not intruders(path, "from parambak.differences.fields import FADING")
