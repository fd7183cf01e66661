"""What goes wrong in a swap: each is stated, refused or carried through, and nothing is lost."""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from parambak.keeping.state.conditions import CONDITIONS, OPEN
from tests.cli.conftest import Ship
from tests.cli.invented import MEMORY, WHERE, archive_two, changed, dump
from tests.cli.test_swap_course import AT, BY, PROFILE, RELEASE, code, opened, read_backs, ready
from tests.cli.test_two_layouts import BOTH, NEW, OLD, RENAMES, new_memory, old_memory

if TYPE_CHECKING:
    from pathlib import Path

    from tests.cli.conftest import Result

TOLD = tuple(condition.name for condition in CONDITIONS if condition.required is OPEN)
OTHER = "grebe/stbd/U1"
THERE = ("--vessel", "grebe", "--unit", "stbd", "--position", "U1")
PASSED = (*BY, "--test", "stop=passed", "--old-card-to", "ashore")
LOAD = ("swap", "load-file", AT, "--as", "raw", "--out", "LOAD.BIN")
HOSTILE = ("\x1b[2J", "\u202eabc", "", "x" * 10_000, "\u200b")


@pytest.fixture
def verified(ship: Ship) -> Ship:
    """Return a ship with a verified copy."""
    archive_two(ship)
    return ship


def newer(ship: Ship) -> bytes:
    """Archive a newer verified copy; return its memory."""
    memory = changed(0x0300)
    ship.write("n1.hex", dump(memory), second=30)
    ship.write("n2.hex", dump(memory), second=31)
    written = ("--written", "set at the panel", "--by", "A. Person")
    assert ship.run("archive", "n1.hex", "n2.hex", *WHERE, *written).code == 0
    return memory


def sister(ship: Ship) -> bytes:
    """Archive a verified copy of another unit; return its memory."""
    memory = random.Random(9).randbytes(2048)
    ship.write("s1.hex", dump(memory), second=40)
    ship.write("s2.hex", dump(memory), second=41)
    assert ship.run("archive", "s1.hex", "s2.hex", *THERE).code == 0
    return memory


def told(ship: Ship) -> None:
    """Answer in one call all that only a person can tell."""
    words = [f"{name}=yes: seen to" for name in TOLD]
    assert ship.run("swap", "answer", AT, *words, *BY).code == 0


def said(result: Result) -> str:
    """Return all that was printed, as one line."""
    return " ".join((result.err + result.out).split())


def records(ship: Ship, kind: str) -> list[Path]:
    """Return the files of the records of one kind."""
    every = sorted(ship.vault.glob("records/*/*.json"))
    return [path for path in every if json.loads(path.read_bytes())["kind"] == kind]


def laptop(ship: Ship, name: str) -> Ship:
    """Return a copy of the ship's vault on another laptop."""
    other = Ship(ship.folder.with_name(f"{ship.folder.name}-{name}"))
    shutil.copytree(ship.folder, other.folder)
    shutil.rmtree(other.folder / "own", ignore_errors=True)
    return other


def merge(into: Ship, other: Ship) -> None:
    """Copy the files that are missing from one vault to the other."""
    for path in other.vault.rglob("*"):
        here = into.vault / path.relative_to(other.vault)
        if path.is_file() and path.parent.parent.name in {"records", "objects"}:
            here.parent.mkdir(parents=True, exist_ok=True)
            if not here.exists():
                shutil.copy2(path, here)


def test_several_answers_fit_one_call(verified: Ship) -> None:
    """All of them go on record, and what still wants is said."""
    opened(verified)
    words = ("permit=yes: permit 14", "authorised = no : nobody: yet")
    answer = verified.answer("swap", "answer", AT, *words, *BY)
    assert answer.document["answers"] == [
        {"condition": "permit", "answer": "yes"},
        {"condition": "authorised", "answer": "no"},
    ]
    assert "authorised" in answer.document["missing"]
    assert "permit" not in answer.document["missing"]
    assert "nobody: yet" in verified.run("swap", "check", AT).out


@pytest.mark.parametrize(
    ("words", "refusal"),
    [
        ((), "swap-answer-shape"),
        (("permit",), "swap-answer-shape"),
        (("permit=yes",), "swap-answer-shape"),
        (("permit=perhaps: x",), "swap-answer-shape"),
        (("permit=yes: ",), "swap-answer-shape"),
        (("permit", "yes", " "), "swap-answer-shape"),
        (("permit=yes: a", "permit=no: b"), "swap-answer-twice"),
        (("permit=yes: a", "supply-voltages=yes: b"), "swap-condition"),
        (("permit=yes: a", "authorised=yes: \u202eb"), "text-character"),
    ],
)
def test_answers_of_which_one_is_wrong_are_none(
    verified: Ship, words: tuple[str, ...], refusal: str
) -> None:
    """Nothing of the call goes on record."""
    opened(verified)
    before = verified.tree()
    refused = verified.answer("swap", "answer", AT, *words, *BY)
    assert (refused.code, code(refused)) == (2, refusal)
    assert verified.tree() == before


def test_a_person_at_a_terminal_is_asked_one_by_one(verified: Ship) -> None:
    """What is left empty stays as it was."""
    pty = pytest.importorskip("pty")
    opened(verified)
    ours, theirs = pty.openpty()
    environment = {
        **os.environ,
        "PARAMBAK_VAULT": str(verified.vault),
        "PARAMBAK_OWN": str(verified.folder / "own"),
    }
    os.write(ours, b"yes\nfuses are good\n" + b"\n" * (len(TOLD) - 1))
    done = subprocess.run(
        [sys.executable, "-m", "parambak", "swap", "answer", AT, *BY],
        cwd=verified.folder,
        env=environment,
        stdin=theirs,
        capture_output=True,
        check=False,
        timeout=60,
    )
    os.close(ours)
    os.close(theirs)
    assert done.returncode == 0, done.stderr
    assert b"diagnosed, yes: fuses are good" in b" ".join(done.stdout.split())
    assert verified.answer("swap", "check", AT).document["missing"] == list(TOLD[1:])


def test_words_that_accept_nothing_are_refused(verified: Ship) -> None:
    """Whoever types a name and a reason means to put something on record."""
    opened(verified)
    before = verified.tree()
    refused = verified.answer("swap", "check", AT, *BY, "--reason", "stopped")
    assert (refused.code, code(refused)) == (2, "swap-accept-none")
    verified.write("c.hex", dump(), second=9)
    for words in (LOAD, ("swap", "read-back", AT, "c.hex")):
        refused = verified.answer(*words, "--reason", "stopped")
        assert (refused.code, code(refused)) == (2, "swap-accept-none")
    assert verified.tree() == before
    assert not (verified.folder / "LOAD.BIN").exists()


def test_a_swap_not_ready_says_how_to_go_on_and_what_was_accepted(verified: Ship) -> None:
    """The command for the answers, and the one for an emergency; at last that all was accepted."""
    opened(verified)
    assert "swap answer grebe/port-thruster/U12 'diagnosed=ANSWER: TEXT'" in said(
        verified.run("swap", "check", AT)
    )
    told(verified)
    verified.run("swap", "answer", AT, "permit=no: nobody", "authorised=no: nobody", *BY)
    page = said(verified.run("swap", "check", AT))
    assert "NOT READY: authorised, permit." in page
    assert f"`parambak swap check {AT} --accept authorised --by NAME --reason TEXT`" in page
    for condition in ("permit", "authorised"):
        words = ("--accept", condition, *BY, "--reason", "drifting")
        page = said(verified.run("swap", "check", AT, *words))
    assert "READY, by what is on record" in page
    assert page.index("ACCEPTED DEVIATIONS") < page.index("condition")


def test_a_supply_that_is_out_stops_the_swap(verified: Ship) -> None:
    """It kills the new card too; one that was not measured is not known, and stops nothing."""
    verified.write(
        "limits.toml",
        b'[limits]\ntitle = "x"\nsource = "invented"\n[[measurement]]\nname = "rail"\n'
        b'unit = "V"\nnominal = 12\ntolerance-percent = 5\nsupply = true\n',
    )
    assert verified.answer("swap", "check", AT).document["missing"] == []
    measure = ("measure", "grebe/port-thruster", *BY)
    verified.run(*measure, "rail=10,2V", "--limits", "limits.toml")
    assert verified.answer("swap", "check", AT).document["missing"] == ["supply-voltages"]
    assert verified.answer(*measure, "rail=12A").document["error"]["code"] == "measure-unit"
    verified.run(*measure, "rail=12,1V")
    assert verified.answer("swap", "check", AT).document["missing"] == []


def test_a_file_written_before_the_swap_may_begin_says_so(verified: Ship) -> None:
    """Without an open swap; while something is missing in one, no file is written."""
    assert "no swap is open" in verified.run(*LOAD).err
    opened(verified)
    before = verified.tree()
    early = verified.answer(*LOAD, "--replace")
    assert (early.code, code(early)) == (1, "swap-not-ready")
    assert early.document["error"]["text"].endswith(f": {', '.join(TOLD)}")
    assert "'diagnosed=ANSWER: TEXT'" in early.document["error"]["next"]
    assert verified.tree() == before
    told(verified)
    assert verified.run(*LOAD, "--replace").code == 0


def test_a_release_without_verification_stays_told(ship: Ship) -> None:
    """On every later page of the swap, and of the copy once the swap is closed."""
    ship.write("a.hex", dump())
    assert ship.run("archive", "a.hex", *WHERE).code == 0
    ready(ship)
    assert ship.run(*LOAD, *RELEASE).code == 0
    told_so = "a file of an UNVERIFIED copy was released (A. Fitter"
    assert told_so in said(ship.run("swap", "check", AT))
    assert told_so in said(ship.run("swap", "answer", AT, "permit=yes: 14", *BY))
    back = read_backs(ship, MEMORY, MEMORY)
    assert "read-twice (1 read only" in back.document["deviations"][0]
    assert "): stopped at sea (A. Fitter" in back.document["deviations"][0]
    assert told_so in back.document["deviations"][1]
    read_backs(ship, MEMORY, stage="after-power", at=20)
    closed = ship.answer("swap", "close", AT, *PASSED)
    assert told_so in closed.document["deviations"][1]
    conditions = ship.answer("swap", "check", AT).document["conditions"]
    twice = next(each for each in conditions if each["condition"] == "read-twice")
    assert "3 read-backs of a card that was loaded from this copy not counted" in twice["text"]
    assert twice["met"] is False
    ship.write("b.hex", dump(), second=70)
    ship.write("c.hex", dump(), second=71)
    assert ship.run("archive", "b.hex", "c.hex", *WHERE).code == 0
    assert "UNVERIFIED" not in said(ship.run(*LOAD, "--replace"))


def test_contents_held_against_another_copy_are_not_proven(verified: Ship) -> None:
    """The copy was chosen again behind the read-backs: that is stated, and the swap stays open."""
    memory = newer(verified)
    ready(verified)
    verified.run("swap", "select", f"{AT}@previous", *BY, "--reason", "before the fault")
    assert verified.run(*LOAD).code == 0
    assert read_backs(verified, MEMORY, MEMORY, at=50).document["proven"] is True
    anew = verified.run("swap", "select", f"{AT}@latest", *BY, "--reason", "that one after all")
    assert "a file of another copy was released" in said(anew)
    assert "the newest copy" in said(verified.run("swap", "check", AT))
    refused = verified.answer("swap", "close", AT, *PASSED)
    assert code(refused) == "swap-not-finished"
    assert "a copy that is not the one selected" in refused.document["error"]["found"]
    assert read_backs(verified, memory, at=60).document["proven"] is False
    assert read_backs(verified, memory, at=70).document["proven"] is True
    read_backs(verified, memory, stage="after-power", at=80)
    assert verified.run("swap", "close", AT, *PASSED).code == 0


def test_a_chosen_copy_that_is_gone_is_not_replaced_by_another(verified: Ship) -> None:
    """Its reads were told to be of another position: nothing is loaded in its place."""
    memory = newer(verified)
    sister(verified)
    opened(verified)
    verified.run("swap", "select", f"{AT}@previous", *BY, "--reason", "before the fault")
    told(verified)
    moved = ("correct", f"{AT}@previous", "--position", OTHER, *BY, "--reason", "mixed up")
    assert verified.run(*moved).code == 0
    assert verified.answer("catalogue", AT).document["positions"][0]["copies"] == 1
    loaded = verified.answer(*LOAD)
    assert (loaded.code, code(loaded)) == (2, "swap-copy-lost")
    assert not (verified.folder / "LOAD.BIN").exists()
    back = read_backs(verified, memory, at=80)
    assert (back.code, code(back)) == (2, "swap-copy-lost")
    check = verified.answer("swap", "check", AT).document
    assert "copy" in check["missing"]
    chosen = verified.run("swap", "select", f"{AT}@latest", *BY, "--reason", "the one that is left")
    assert chosen.code == 0
    assert verified.run(*LOAD).code == 0


@pytest.mark.parametrize("how", ["changed", "gone"])
@pytest.mark.parametrize("kind", ["swap-opened", "swap-copy-selected"])
def test_a_lost_record_of_the_choice_loads_nothing(verified: Ship, kind: str, how: str) -> None:
    """The newest copy is not taken without a word; what is stated later settles nothing."""
    newer(verified)
    opened(verified)
    verified.run("swap", "select", f"{AT}@previous", *BY, "--reason", "before the fault")
    told(verified)
    (path,) = records(verified, kind)
    if how == "gone":
        path.unlink()
    else:
        path.write_bytes(path.read_bytes().replace(b"grebe", b"grebF") + b" ")
    refused = verified.answer(*LOAD)
    assert (refused.code, code(refused)) == (3, "swap-records-lost")
    assert path.name in json.loads(refused.out)["error"]["file"]
    assert not (verified.folder / "LOAD.BIN").exists()
    if kind == "swap-opened":
        ready(verified)
    verified.run("swap", "select", f"{AT}@previous", *BY, "--reason", "before the fault")
    check = verified.answer("swap", "check", AT)
    assert (check.code, check.document["missing"]) == (3, ["records-complete"])
    assert verified.answer(*LOAD).code == 3
    accepted = verified.answer("accept-loss", AT, *BY, "--reason", "no copy has it")
    assert (accepted.code, accepted.document["positions"]) == (0, [AT])
    assert verified.answer("swap", "check", AT).code == 0
    assert verified.run(*LOAD).code == 0
    assert (verified.folder / "LOAD.BIN").read_bytes() == MEMORY


def test_a_lost_answer_loses_no_later_one(verified: Ship) -> None:
    """What was stated behind it is not passed over."""
    opened(verified)
    told(verified)
    words = ("--accept", "counters", *BY, "--reason", "noted by hand")
    verified.run("swap", "check", AT, *words)
    path = records(verified, "swap-answer")[0]
    lost = json.loads(path.read_bytes())["body"]["condition"]
    path.unlink()
    check = verified.answer("swap", "check", AT)
    assert set(check.document["missing"]) == {lost, "records-complete"}
    assert check.document["deviations"][0]["reason"] == "noted by hand"


def test_a_damaged_record_of_no_shape_is_no_traceback(verified: Ship) -> None:
    """Its swap is a list: what cannot be is passed over or refused, never an exception."""
    from hashlib import sha256

    opened(verified)
    told(verified)
    record = json.loads(records(verified, "swap-answer")[0].read_bytes())
    record["body"]["swap"] = [7]
    data = (json.dumps(record, sort_keys=True, separators=(",", ":")) + "\n").encode()
    name = sha256(data).hexdigest()
    folder = verified.vault / "records" / name[:2]
    folder.mkdir(exist_ok=True)
    (folder / f"{name}.json").write_bytes(data)
    check = verified.run("swap", "check", AT)
    assert check.code in {0, 3}
    assert "Traceback" not in check.err


def test_a_failed_test_goes_on_record_before_the_contents_are_proven(verified: Ship) -> None:
    """It is not lost because the read-backs are missing."""
    opened(verified)
    refused = verified.answer("swap", "close", AT, *BY, "--test", "stop=failed: slow")
    assert code(refused) == "swap-not-finished"
    assert "function-tests: failed" in refused.document["error"]["found"]
    assert len(records(verified, "swap-tested")) == 1


def test_one_read_back_says_that_it_is_not_enough(verified: Ship) -> None:
    """With a swap open and without; why is stated, and what closing found."""
    assert "read the chip again" in " ".join(read_backs(verified, MEMORY).document["doubts"])
    ready(verified)
    one = read_backs(verified, MEMORY, at=20)
    assert one.document["proven"] is False
    assert "needs more proof" in " ".join(one.document["doubts"])
    refused = verified.answer("swap", "close", AT, *PASSED)
    assert "before-power: 1 read" in refused.document["error"]["found"]
    read_backs(verified, changed(0x0100), at=30)
    refused = verified.answer("swap", "close", AT, *PASSED)
    assert "c30-0.hex, was not loaded correctly" in refused.document["error"]["found"]


def test_a_card_loaded_with_the_sisters_copy_is_named(verified: Ship) -> None:
    """What was read is another copy aboard, byte for byte."""
    memory = sister(verified)
    ready(verified)
    wrong = read_backs(verified, memory)
    assert wrong.code == 1
    assert any(f"the same bytes as {OTHER}@" in each for each in wrong.document["doubts"])
    refused = verified.answer("swap", "select", OTHER, *BY, "--reason", "x")
    assert (refused.code, code(refused)) == (2, "swap-none-open")


def test_a_newer_copy_archived_since_the_release_is_told_as_that(verified: Ship) -> None:
    """The card is compared with the file that was released, and that is said."""
    ready(verified)
    assert verified.run(*LOAD).code == 0
    newer(verified)
    back = read_backs(verified, MEMORY, at=50)
    assert back.code == 0
    assert "archived since the file was released" in " ".join(back.err.split())


def test_two_chips_exchanged_and_half_a_pair_are_named(verified: Ship) -> None:
    """Each half in the other's chip; one half alone."""
    even, odd = MEMORY[0::2], MEMORY[1::2]
    verified.write("even.bin", even, second=5)
    verified.write("odd.bin", odd, second=6)
    verified.write("plain.bin", MEMORY, second=1)
    pair = ("--pair", "even-odd")
    good = verified.answer("swap", "read-back", AT, "even.bin", "odd.bin", *pair)
    assert good.code == 0
    crossed = verified.answer("swap", "read-back", AT, "odd.bin", "even.bin", *pair)
    assert crossed.code == 1
    assert "hold each other's half" in " ".join(crossed.document["doubts"])
    half = verified.answer("swap", "read-back", AT, "even.bin", *pair)
    assert (half.code, code(half)) == (2, "pair-count")
    assert code(verified.answer("swap", "read-back", AT, "even.bin")) == "raw-size"


def test_half_a_pair_without_a_size_is_named(ship: Ship) -> None:
    """No layout and no chip tell the size: the half is compared, and named."""
    ship.write("a.hex", dump())
    ship.write("b.hex", dump(), second=1)
    assert ship.run("archive", "a.hex", "b.hex", *WHERE).code == 0
    ship.write("even.bin", MEMORY[0::2], second=5)
    half = ship.answer("swap", "read-back", AT, "even.bin")
    assert half.code == 1
    assert "half as large" in " ".join(half.document["doubts"])


def test_a_pair_goes_from_the_files_to_the_end(verified: Ship) -> None:
    """Two files of short names, four dumps read back, closed."""
    ready(verified)
    verified.write("reader.toml", PROFILE)
    words = ("swap", "load-file", AT, "--profile", "reader.toml", "--pair", "even-odd")
    loaded = verified.answer(*words, "--out", "PAIR.HEX")
    assert [each["file"] for each in loaded.document["files"]] == ["PAIR.HEX", "PAIR2.HEX"]
    assert code(verified.answer(*words, "--out", "PAIRXXX2.HEX")) == "load-file-short-name"
    halves = (MEMORY[0::2], MEMORY[1::2])
    dumps = [
        verified.write(f"c{n}.bin", half, second=10 + n) for n, half in enumerate(halves + halves)
    ]
    back = verified.answer("swap", "read-back", AT, *dumps, "--pair", "even-odd")
    assert back.document["proven"] is True
    after = [verified.write(f"p{n}.bin", half, second=20 + n) for n, half in enumerate(halves)]
    powered = ("--pair", "even-odd", "--stage", "after-power")
    assert verified.answer("swap", "read-back", AT, *after, *powered).code == 0
    assert verified.answer("swap", "close", AT, *PASSED).document["reads_taken_in"] == 3
    assert verified.run("recheck").code == 0


def test_an_upgrade_goes_to_the_end_by_values(ship: Ship) -> None:
    """Closed by two reads of the same bytes; said to be by values; the new layout holds then."""
    for name, data in (("old.toml", OLD), ("new.toml", NEW), ("renames.toml", RENAMES)):
        ship.write(name, data)
    ship.write("a.bin", old_memory())
    ship.write("b.bin", old_memory(), second=1)
    assert ship.run("archive", "a.bin", "b.bin", *WHERE, "--layout", "old.toml").code == 0
    ready(ship)
    unlike = bytearray(new_memory())
    unlike[0x30] ^= 1
    unlike[126:] = (sum(unlike[:126]) & 0xFFFF).to_bytes(2, "little")
    ship.write("n1.bin", new_memory(), second=10)
    ship.write("n2.bin", bytes(unlike), second=11)
    both = ship.answer("swap", "read-back", AT, "n1.bin", "n2.bin", *BOTH)
    assert (both.code, both.document["proven"]) == (0, False)
    refused = ship.answer("swap", "close", AT, *PASSED)
    assert "the same bytes" in refused.document["error"]["found"]
    ship.write("n3.bin", new_memory(), second=12)
    assert ship.answer("swap", "read-back", AT, "n3.bin", *BOTH).document["proven"] is True
    ship.write("n4.bin", new_memory(), second=13)
    powered = ("--stage", "after-power")
    assert ship.run("swap", "read-back", AT, "n4.bin", *BOTH, *powered).code == 0
    closed = ship.run("swap", "close", AT, *PASSED)
    assert closed.code == 0
    assert "VALUES" in closed.out
    assert "match by bytes" not in closed.out
    fields = ship.answer("decode", AT).document["fields"]
    assert next(f["value"] for f in fields if f["field"] == "ramp_up") == "12.500"
    assert ship.run("recheck").code == 0


def test_a_moved_chip_goes_to_the_end(verified: Ship) -> None:
    """A file in between is for a duplicate; a chip the chip was damaged is not loaded again."""
    ready(verified, "--route", "move-chip")
    assert "for a duplicate" in " ".join(verified.run(*LOAD).err.split())
    verified.write("hurt.hex", dump(changed(0x0009)), second=9)
    hurt = verified.run("swap", "read-back", AT, "hurt.hex")
    assert hurt.code == 1
    assert "the chip was damaged" in said(hurt)
    assert read_backs(verified, MEMORY, MEMORY, at=20).document["proven"] is True
    read_backs(verified, MEMORY, stage="after-power", at=30)
    assert verified.run("swap", "close", AT, *PASSED).code == 0
    assert verified.run("recheck").code == 0


def test_two_swaps_opened_on_two_laptops_are_told_and_can_be_ended(verified: Ship) -> None:
    """After the merge one is intended, the other is named, and both can be ended in turn."""
    other = laptop(verified, "other")
    opened(verified)
    assert other.run("swap", "open", AT, "--by", "B", "--reason", "stays dark").code == 0
    merge(verified, other)
    told(verified)
    for words in (("swap", "check", AT), LOAD, ("swap", "answer", AT, "permit=yes: 14", *BY)):
        assert "2 swaps are open here" in " ".join(verified.run(*words).err.split())
    assert "2 swaps are open here" in " ".join(read_backs(verified, MEMORY, MEMORY).err.split())
    read_backs(verified, MEMORY, stage="after-power", at=20)
    assert verified.run("swap", "close", AT, *PASSED).code == 0
    assert verified.answer("swap", "check", AT).document["open"] is True
    given_up = verified.run("swap", "close", AT, *BY, "--abandoned", "--reason", "opened twice")
    assert given_up.code == 0
    assert verified.answer("swap", "check", AT).document["open"] is False
    assert verified.run("recheck").code == 0


def test_what_another_laptop_told_of_a_closed_swap_is_not_lost(verified: Ship) -> None:
    """An answer is refused with how it ended; a bad read-back from there is said aloud."""
    ready(verified)
    other = laptop(verified, "other")
    read_backs(verified, MEMORY, MEMORY)
    read_backs(verified, MEMORY, stage="after-power", at=20)
    assert verified.run("swap", "close", AT, *PASSED).code == 0
    other.run("swap", "answer", AT, "permit=no: late", "--by", "B")
    read_backs(other, changed(0x0100), at=60)
    other.run("swap", "close", AT, "--by", "B", "--abandoned", "--reason", "a bit is wrong")
    merge(other, verified)
    refused = other.answer("swap", "answer", AT, "permit=yes: 14", "--by", "B")
    assert code(refused) == "swap-none-open"
    assert "closed on" in refused.document["error"]["found"]
    assert "abandoned on" in refused.document["error"]["found"]
    check = " ".join(other.run("swap", "check", AT).err.split())
    assert "by two laptops" in check
    assert "NOT loaded correctly" in check
    assert other.run("recheck").code == 0


def test_the_old_card_goes_back_by_the_way_that_was_told(verified: Ship) -> None:
    """Who gives a swap up reads it once more."""
    opened(verified)
    verified.run("swap", "answer", AT, "fallback-plan=yes: after two hours, by night", *BY)
    page = verified.run("swap", "close", AT, *BY, "--abandoned", "--reason", "no spare")
    assert "after two hours, by night" in said(page)


def test_a_vault_that_cannot_be_written_leaves_an_older_file_as_it_was(verified: Ship) -> None:
    """No file is released that is not on record, and none is lost."""
    (verified.folder / "LOAD.BIN").write_bytes(b"older")
    lock = verified.vault / "lock"
    lock.unlink(missing_ok=True)
    lock.mkdir()
    refused = verified.answer(*LOAD, "--replace")
    assert refused.code == 2
    assert (verified.folder / "LOAD.BIN").read_bytes() == b"older"


@pytest.mark.parametrize("out", ["", ".", "/"])
def test_a_release_to_no_files_name_is_refused(ship: Ship, out: str) -> None:
    """Marking such a name is no traceback."""
    ship.write("a.hex", dump())
    ship.run("archive", "a.hex", *WHERE)
    ready(ship)
    refused = ship.answer("swap", "load-file", AT, "--as", "raw", "--out", out, *RELEASE)
    assert (refused.code, code(refused)) == (2, "vault-export-unfit")


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_is_refused_in_every_field_and_changes_nothing(
    verified: Ship, text: str
) -> None:
    """With no traceback and no control character printed."""
    opened(verified)
    before = verified.tree()
    calls = (
        ("swap", "open", AT, "--by", text, "--reason", text, "--new-card-serial", text),
        ("swap", "answer", AT, f"permit=yes:{text}", *BY),
        ("swap", "answer", AT, f"{text}=yes:x", "--by", text),
        ("swap", "select", AT, "--by", text, "--reason", text),
        ("swap", "check", AT, "--accept", text, *BY, "--reason", text),
        ("swap", "close", AT, *BY, "--test", f"{text}=failed: {text}"),
    )
    for words in calls:
        refused = verified.run(*words)
        assert refused.code == 2, words
        assert "Traceback" not in refused.err
        assert not {"\x1b", "\u202e", "\u200b"} & set(refused.err + refused.out)
    assert verified.tree() == before


def test_before_a_swap_is_open_the_page_shows_what_an_open_one_requires(verified: Ship) -> None:
    """A plain no would read as not needed; what is required when open is so once it is open."""
    before = verified.answer("swap", "check", AT).document["conditions"]
    then = {each["condition"] for each in before if each["required_when_open"]}
    now = {each["condition"] for each in before if each["required"]}
    assert {"permit", "safeties-inhibited"} <= then - now
    page = verified.run("swap", "check", AT).out
    (line,) = [line for line in page.splitlines() if line.startswith("permit ")]
    assert line.split()[:4] == ["permit", "not", "known", "in"]
    opened(verified)
    after = verified.answer("swap", "check", AT).document["conditions"]
    assert {each["condition"] for each in after if each["required"]} == then
    assert "in a swap" not in verified.run("swap", "check", AT).out
