"""The demo runs the whole job, and touches nothing outside its folder."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from parambak.answers import demo
from parambak.demo.steps import Call, Scene
from tests.cli.conftest import Ship

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.cli.conftest import Result


def test_the_demo_shows_every_part_of_the_job(ship: Ship) -> None:
    """Each step ends as the story says: reads, refusals, differences, a swap, a caught bit."""
    result = ship.answer("demo", "here")
    assert result.code == 0
    steps = result.document["steps"]
    assert all(step["exit_code"] == step["expected"] for step in steps)
    calls = [(step["command"].split("vault vault ")[1], step) for step in steps]

    def outputs(beginning: str) -> list[str]:
        return [step["output"] for words, step in calls if words.startswith(beginning)]

    archived = outputs("archive")
    assert "1 read only" in archived[0]
    assert "already on record" in archived[1]
    assert "VERIFIED: separate reads agree" in archived[2]
    assert sum("position-other-unit" in text for text in archived) == 1
    assert "340 A" in outputs("decode")[0]
    difference, summer, turned = outputs("diff")
    assert "ramp_up_time  12.5 s    9.0 s     -3.5    parameter" in difference
    assert "run_hours     8421.7 h  9377.4 h  +955.7  running" in difference
    assert "UNMAPPED at 0x0740" in difference
    assert "tolerance" in summer
    assert "bytes of every 16-bit word are swapped" in turned
    port, winch = outputs("history")
    assert "Alternates: ramp_up_time" in port
    assert "after the propeller" in port
    assert "Cells may be fading: 0x1A20" in winch
    assert "Differs most: grebe/" in outputs("compare-units")[0]
    assert "grebe/stbd-thruster/U12" in outputs("visit close")[2]
    assert "The most urgent is grebe/stbd-thruster/U12" in outputs("due")[0]
    refused, ready, spare, well = outputs("swap check")
    assert "NOT READY: diagnosed" in refused
    assert "read-twice" in refused.split("NOT READY")[1]
    assert "READY, by what is on record" in ready
    assert "new-card" in spare.split("NOT READY")[1]
    assert "needs 2-3, has 1-2" in spare
    assert "READY, by what is on record" in well
    assert "8 entries, all the same" in well
    wrong, right, powered, *_ = outputs("swap read-back")
    assert "NOT LOADED CORRECTLY" in wrong
    assert "ramp_up_time" in wrong
    assert "LOADED CORRECTLY: no byte differs that must be the same, before-power" in right
    assert "LOADED CORRECTLY: no byte differs that must be the same, after-power" in powered
    kept_open, closed, abandoned, done = outputs("swap close")
    assert "swap-not-finished" in kept_open
    assert "is CLOSED" in closed
    assert "is abandoned" in abandoned
    assert "is CLOSED" in done
    for name in ("avocet", "winch", "stbd"):
        page = (ship.folder / "here" / f"{name}-swap.html").read_text("utf-8")
        assert "Change record" in page
    assert {path.suffix for path in (ship.folder / "here").iterdir()} >= {".HEX", ".S19", ".BIN"}


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> tuple[Ship, Result]:
    """Return where the demo ran once, in its folder `here`, and what it printed."""
    ship = Ship(tmp_path_factory.mktemp("short"))
    return ship, ship.run("demo", "here")


def test_the_short_story_fits_a_screen_and_the_transcript_has_both(
    short: tuple[Ship, Result],
) -> None:
    """60 lines of 80 columns: each step's sentence and result; every command is in the file."""
    ship, result = short
    lines = result.out.splitlines()
    assert result.code == 0
    assert len(lines) <= 60
    assert max(map(len, lines)) <= 80
    numbers = [line[:2].strip() for line in lines if line[:2].strip().isdigit()]
    assert numbers == [str(number) for number in range(1, len(numbers) + 1)]
    assert lines[-3] == "The demo is done. Every step ended as expected."
    assert "transcript.txt" in lines[-2]
    assert lines[-1].startswith("Do next: cd here")
    kept = (ship.folder / "here" / "transcript.txt").read_text("utf-8")
    assert kept.startswith("\n".join(lines[:-2]))
    assert kept.count("\n$ parambak --vault vault ") == kept.count("\n(exit code ") > 50


def test_full_shows_every_command_with_its_answer(ship: Ship) -> None:
    """The commands on the screen are those of the transcript."""
    result = ship.run("demo", "here", "--full")
    kept = (ship.folder / "here" / "transcript.txt").read_text("utf-8")
    commands = kept.partition("Every command with its answer\n")[2]
    assert result.code == 0
    assert commands.strip() in result.out
    assert "First visit" not in result.out


def _wrong(*_: object) -> Iterator[Scene | Call]:
    """Yield a story of two steps, of which the second does not end as it expects."""
    yield Scene("The help is shown.", "A list.")
    yield Call("Which commands are there?", ("--help",))
    yield Scene("The fleet is listed.", "No vessel yet.")
    yield Call("Which vessels are there?", ("catalogue", "no-such-vessel"))


@pytest.mark.parametrize("options", [("demo",), ("demo", "--full"), ("--json", "demo")])
def test_a_step_that_goes_wrong_is_shown(
    ship: Ship, monkeypatch: pytest.MonkeyPatch, options: tuple[str, ...]
) -> None:
    """The exit code is 1; the step shows the command and both exit codes, and no result."""
    monkeypatch.setattr(demo, "scenario", _wrong)
    result = ship.run(*options, "here")
    assert result.code == 1
    kept = (ship.folder / "here" / "transcript.txt").read_text("utf-8")
    short, _, commands = kept.partition("Every command with its answer\n")
    assert "A list." in short
    assert "No vessel yet." not in short
    assert "NOT AS EXPECTED" in short
    assert "no-such-vessel: exit code 2, expected 0" in " ".join(short.split())
    assert "The demo is NOT as expected: 1 command marked above." in short
    assert "(exit code 2, NOT AS EXPECTED: 0)" in commands
    if options == ("demo",):
        assert "NOT AS EXPECTED" in result.out
    if "--json" not in options:
        assert "The demo is NOT as expected: 1 command marked above." in result.out


def test_the_demo_writes_only_in_its_folder(short: tuple[Ship, Result]) -> None:
    """Neither the user's own folder nor the vault that the environment names is touched."""
    ship, result = short
    assert result.code == 0
    assert [path.name for path in ship.folder.iterdir()] == ["here"]


def test_the_demos_vault_goes_on(short: tuple[Ship, Result], tmp_path: Path) -> None:
    """What the demo leaves is a sound vault that the next command goes on with."""
    ship = Ship(tmp_path)
    shutil.copytree(short[0].folder / "here", tmp_path / "here")
    vault = str(tmp_path / "here" / "vault")
    recheck = ship.answer("--vault", vault, "recheck")
    assert (recheck.code, recheck.document["damaged"]) == (0, [])
    states = ship.answer("--vault", vault, "catalogue").document["positions"]
    assert [each["verified"] for each in states] == [True] * 4


def test_a_second_demo_goes_beside_the_first(ship: Ship, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a folder's name it takes the next one that is free."""
    monkeypatch.setattr(demo, "scenario", lambda *_: iter([Scene("The help is shown.", "A list.")]))
    assert ship.answer("demo").document["folder"] == "parambak-demo"
    assert ship.answer("demo").document["folder"] == "parambak-demo-2"


def test_the_demo_leaves_a_folder_with_something_in_it_alone(ship: Ship) -> None:
    """It refuses, with the code and what to do."""
    (ship.folder / "here").mkdir()
    ship.write("here/notes.txt", b"mine")
    result = ship.answer("demo", "here")
    assert (result.code, result.document["error"]["code"]) == (2, "demo-folder")
    assert [path.name for path in (ship.folder / "here").iterdir()] == ["notes.txt"]
