"""A swap from its opening to its end, as a user and a script meet it."""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING, Any

import pytest

from parambak.cli.commands.swap.check import CAUTION
from parambak.dumps.registry import write_dump
from parambak.keeping.state.conditions import CONDITIONS, OPEN
from parambak.memory.image import Image
from parambak.swap.readiness import CAUTIONS
from tests.cli.invented import MEMORY, WHERE, archive_two, changed, dump

if TYPE_CHECKING:
    from tests.cli.conftest import Result, Ship

TOLD = tuple(condition.name for condition in CONDITIONS if condition.required is OPEN)
AT = "grebe/port-thruster/U12"
BY = ("--by", "A. Fitter")
RELEASE = ("--unverified", "--confirm", "UNVERIFIED", *BY, "--reason", "stopped at sea")


def opened(ship: Ship, *words: str) -> None:
    """Open a swap."""
    result = ship.run("swap", "open", AT, *BY, "--reason", "does not start", *words)
    assert result.code == 0, result.err


def tell_all(ship: Ship) -> None:
    """Answer everything that only a person can tell."""
    for name in TOLD:
        assert ship.run("swap", "answer", AT, name, "yes", "seen to", *BY).code == 0


def read_backs(ship: Ship, *memories: bytes, stage: str = "before-power", at: int = 10) -> Result:
    """Read the card back, each memory in a file of its own time."""
    names = [
        ship.write(f"c{at}-{n}.hex", dump(memory), second=at + n)
        for n, memory in enumerate(memories)
    ]
    return ship.answer("swap", "read-back", AT, *names, "--stage", stage)


@pytest.fixture
def verified(ship: Ship) -> Ship:
    """Return a ship with a verified copy."""
    archive_two(ship)
    return ship


def code(result: Result) -> Any:
    """Return the code of a refusal."""
    return result.document["error"]["code"]


def test_a_swap_goes_from_open_to_closed(verified: Ship) -> None:
    """Not ready until all is stated; released, read back twice, tested; the cards have moved."""
    opened(verified, "--old-card", "PC-1", "--new-card-serial", "PC-2")
    first = verified.answer("swap", "check", AT)
    assert first.code == 1
    assert first.document["open"] is True
    assert first.document["missing"] == list(TOLD)
    tell_all(verified)
    assert verified.answer("swap", "check", AT).document["ready"] is True
    loaded = verified.answer("swap", "load-file", AT, "--as", "raw", "--out", "LOAD.BIN")
    assert loaded.document["verified"] is True
    assert (verified.folder / "LOAD.BIN").read_bytes() == MEMORY
    assert code(verified.answer("swap", "close", AT, *BY, "--test", "a=passed")) == (
        "swap-contents-not-proven"
    )
    assert read_backs(verified, MEMORY, MEMORY).code == 0
    assert code(verified.answer("swap", "close", AT, *BY)) == "swap-not-tested"
    closed = verified.answer("swap", "close", AT, *BY, "--test", "stop=passed: at once")
    assert closed.code == 0
    assert closed.document["outcome"] == "closed"
    assert closed.document["reads_taken_in"] == 2
    assert code(verified.answer("swap", "close", AT, *BY)) == "swap-none-open"
    records = "".join(p.read_text("utf-8") for p in verified.vault.glob("records/*/*.json"))
    assert '"facts":{"location":"in a unit","unit":"port-thruster"}' in records
    assert '"facts":{"location":"ashore","unit":""}' in records


def test_what_was_read_after_power_is_the_newest_copy_once_closed(verified: Ship) -> None:
    """A counter moved on; before the swap is closed it is no copy, then it is verified."""
    opened(verified)
    moved = changed(0x0023)
    assert read_backs(verified, MEMORY, MEMORY).code == 0
    after = read_backs(verified, moved, moved, stage="after-power", at=20)
    assert after.code == 0
    listed = verified.answer("catalogue", AT).document["positions"][0]
    assert listed["copies"] == 1
    assert verified.run("swap", "close", AT, *BY, "--test", "stop=passed").code == 0
    listed = verified.answer("catalogue", AT).document["positions"][0]
    assert (listed["copies"], listed["verified"]) == (2, True)
    same = verified.run("diff", f"{AT}@latest", "c20-0.hex")
    assert same.code == 0


@pytest.mark.parametrize(
    "intervals",
    [
        [("before-power", [MEMORY])],
        [("before-power", [MEMORY]), ("after-power", [MEMORY])],
        [("before-power", [MEMORY, MEMORY]), ("after-power", [changed(0x0100)])],
        [
            ("before-power", [MEMORY]),
            ("before-power", [changed(0x0100)]),
            ("before-power", [MEMORY]),
        ],
    ],
)
def test_contents_are_not_proven_by_less(
    verified: Ship, intervals: list[tuple[str, list[bytes]]]
) -> None:
    """One read, one of each stage, a worse one since, a bad one between: the swap stays open."""
    opened(verified)
    for at, (stage, memories) in enumerate(intervals):
        read_backs(verified, *memories, stage=stage, at=10 * at)
    refused = verified.answer("swap", "close", AT, *BY, "--test", "stop=passed")
    assert refused.code == 1
    assert code(refused) == "swap-contents-not-proven"


def test_one_file_given_twice_is_one_read_back(verified: Ship) -> None:
    """The same time betrays it."""
    opened(verified)
    verified.write("c1.hex", dump(), second=5)
    verified.write("c2.hex", dump(), second=5)
    assert verified.run("swap", "read-back", AT, "c1.hex", "c2.hex").code == 0
    assert verified.run("swap", "close", AT, *BY, "--test", "stop=passed").code == 1


def test_a_failed_function_test_keeps_the_swap_open_and_is_on_record(verified: Ship) -> None:
    """It is not to be left out of the history."""
    opened(verified)
    read_backs(verified, MEMORY, MEMORY)
    refused = verified.answer("swap", "close", AT, *BY, "--test", "stop=failed: slow")
    assert code(refused) == "swap-test-failed"
    records = "".join(p.read_text("utf-8") for p in verified.vault.glob("records/*/*.json"))
    assert '"tests":[{"name":"stop","result":"failed","text":"slow"}]' in records
    assert verified.run("swap", "close", AT, *BY, "--test", "stop=passed").code == 0


def test_a_swap_given_up_needs_its_reason_and_frees_the_position(verified: Ship) -> None:
    """Nothing that was read back becomes a copy."""
    opened(verified)
    read_backs(verified, changed(0x0100))
    assert code(verified.answer("swap", "close", AT, *BY, "--abandoned")) == "swap-abandoned-why"
    given_up = verified.answer("swap", "close", AT, *BY, "--abandoned", "--reason", "no spare")
    assert given_up.document["outcome"] == "abandoned"
    assert verified.answer("catalogue", AT).document["positions"][0]["copies"] == 1
    opened(verified)


def test_one_swap_is_open_at_a_time(verified: Ship) -> None:
    """The second is refused, and leaves the vault as it was."""
    opened(verified)
    before = verified.tree()
    second = verified.answer("swap", "open", AT, *BY, "--reason", "again")
    assert code(second) == "swap-open-already"
    assert verified.tree() == before


def test_a_deviation_is_accepted_in_one_call_and_stays_visible(verified: Ship) -> None:
    """Yes in that call alone; on every later page it stands first."""
    opened(verified)
    tell_all(verified)
    verified.run("swap", "answer", AT, "permit", "no", "nobody to sign", *BY)
    assert verified.answer("swap", "check", AT).document["missing"] == ["permit"]
    words = ("--accept", "permit", "--confirm", "permit", *BY, "--reason", "drifting")
    accepted = verified.answer("swap", "check", AT, *words)
    assert accepted.code == 0
    assert accepted.document["deviations"][0]["in_this_call"] is True
    later = verified.answer("swap", "check", AT)
    assert later.code == 1
    assert later.document["deviations"][0] == {
        "condition": "permit",
        "text": accepted.document["deviations"][0]["text"],
        "reason": "drifting",
        "by": accepted.document["deviations"][0]["by"],
        "in_this_call": False,
    }
    for command in (("check",), ("load-file", "--as", "raw", "--out", "L.BIN")):
        page = verified.run("swap", *command, AT).out
        assert "ACCEPTED DEVIATIONS" in page
        assert page.index("ACCEPTED DEVIATIONS") < page.index("Caution")


def test_the_cautions_are_in_full_where_a_swap_is_opened_and_one_line_elsewhere(
    verified: Ship,
) -> None:
    """Elsewhere two lines at most, which lead to all of them."""

    def listed(page: str) -> int:
        text = " ".join(page.split())
        return sum(caution in text for caution in CAUTIONS)

    words = ("swap", "open", AT, *BY, "--reason", "dead")
    assert listed(verified.run(*words).out) == len(CAUTIONS)
    verified.write("N.BIN", MEMORY, second=50)
    for command in (
        ("check", AT),
        ("load-file", AT, "--as", "raw", "--out", "L.BIN"),
        ("read-back", AT, "N.BIN"),
        ("close", AT, *BY, "--abandoned", "--reason", "tests"),
    ):
        page = verified.run("swap", *command).out
        assert listed(page) == 0
        lines = textwrap.wrap(CAUTION, 80, break_on_hyphens=False)
        assert len(lines) <= 2
        assert "\n".join(lines) in page
        for way in re.findall("`parambak ([^`]*)`", CAUTION):
            assert verified.run(*way.split(), "--help").code == 0


@pytest.mark.parametrize(
    ("words", "refusal"),
    [
        (("--accept", "permit"), "swap-accept-words"),
        (("--accept", "permit", "--confirm", "permit", *BY), "swap-accept-words"),
        (
            ("--accept", "permit", "--confirm", "authorised", *BY, "--reason", "x"),
            "swap-accept-words",
        ),
        (("--accept", "copy", "--confirm", "copy", *BY, "--reason", "x"), "swap-accept-condition"),
        (("--accept", "all", "--confirm", "all", *BY, "--reason", "x"), "swap-accept-condition"),
        (
            ("--accept", "checks-hold", "--confirm", "checks-hold", *BY, "--reason", "x"),
            "swap-accept-met",
        ),
    ],
)
def test_a_deviation_is_not_accepted_lightly(
    verified: Ship, words: tuple[str, ...], refusal: str
) -> None:
    """By name, reason and the condition typed again; what nothing can do without never."""
    opened(verified)
    before = verified.tree()
    refused = verified.answer("swap", "check", AT, *words)
    assert (refused.code, code(refused)) == (2, refusal)
    assert verified.tree() == before


def test_a_deviation_needs_an_open_swap(verified: Ship) -> None:
    """There is nothing that it could be visible on."""
    words = ("--accept", "card-sheet", "--confirm", "card-sheet", *BY, "--reason", "x")
    assert code(verified.answer("swap", "check", AT, *words)) == "swap-none-open"


@pytest.mark.parametrize(
    ("words", "refusal"),
    [
        (("swap", "answer", AT, "copy", "yes", "x", *BY), "swap-condition"),
        (("swap", "answer", AT, "permit", "yes", "x" * 4001, *BY), "text-length"),
        (("swap", "answer", AT, "permit", "yes", "\u202ex", *BY), "text-character"),
        (("swap", "close", AT, *BY, "--test", "stop"), "swap-test-shape"),
        (("swap", "close", AT, *BY, "--test", "=passed"), "swap-test-shape"),
        (("swap", "close", AT, *BY, "--test", "a\x07=passed"), "text-character"),
        (("swap", "select", f"{AT}@9", *BY, "--reason", "x"), "copy-none"),
        (("swap", "load-file", AT, "--out", "L.BIN"), "load-file-format"),
        (
            ("swap", "load-file", AT, "--as", "raw", "--out", "L.BIN", *RELEASE),
            "load-file-verified",
        ),
    ],
)
def test_what_is_refused_leaves_the_vault_as_it_was(
    verified: Ship, words: tuple[str, ...], refusal: str
) -> None:
    """Exit 2, the code, and what to do."""
    opened(verified)
    before = verified.tree()
    refused = verified.answer(*words)
    assert (refused.code, code(refused)) == (2, refusal)
    assert refused.document["error"]["next"]
    assert verified.tree() == before


@pytest.mark.parametrize(
    ("words", "refusal"),
    [
        (
            (AT, *BY, "--reason", "x", "--old-card", "P1", "--new-card-serial", "p1"),
            "swap-same-card",
        ),
        (("grebe/port-thruster", *BY, "--reason", "x"), "where-shape"),
        (("grebe/card:P1/U12", *BY, "--reason", "x"), "swap-no-unit"),
        ((AT, *BY, "--reason", "\x1b[2J"), "text-character"),
    ],
)
def test_a_swap_that_cannot_be_is_not_opened(
    verified: Ship, words: tuple[str, ...], refusal: str
) -> None:
    """Each by its code."""
    verified.run("card", "add", "grebe", "P1")
    verified.write("own.hex", dump(changed(0x0200)), second=50)
    verified.run("archive", "own.hex", "--vessel", "grebe", "--card", "P1", "--position", "U12")
    refused = verified.answer("swap", "open", *words)
    assert (refused.code, code(refused)) == (2, refusal)


def test_an_older_copy_is_meant_with_a_reason(verified: Ship) -> None:
    """The check, the file and the read-back go by it; how it differs is shown."""
    newer = changed(0x0300)
    verified.write("n1.hex", dump(newer), second=30)
    verified.write("n2.hex", dump(newer), second=31)
    told = ("--written", "set at the panel", "--by", "A. Person")
    assert verified.run("archive", "n1.hex", "n2.hex", *WHERE, *told).code == 0
    opened(verified)
    chosen = verified.answer(
        "swap", "select", f"{AT}@previous", *BY, "--reason", "before the fault"
    )
    assert chosen.document["verified"] is True
    assert chosen.document["runs"][0]["start"] == 0x0300
    check = verified.answer("swap", "check", AT).document
    selected = next(c for c in check["conditions"] if c["condition"] == "copy-selected")
    assert "an older copy" in selected["text"]
    assert "before the fault" in selected["text"]
    assert verified.run("swap", "load-file", AT, "--as", "raw", "--out", "L.BIN").code == 0
    assert (verified.folder / "L.BIN").read_bytes() == MEMORY
    assert read_backs(verified, MEMORY, at=40).code == 0
    assert read_backs(verified, newer, at=50).code == 1


def test_one_read_only_is_released_marked_unverified(ship: Ship) -> None:
    """In its name, on the page, on record; with the values to check by hand."""
    ship.write("a.hex", dump())
    ship.write("layout.toml", _layout())
    ship.run("archive", "a.hex", *WHERE, "--layout", "layout.toml")
    opened(ship)
    plain = ship.answer("swap", "load-file", AT, "--as", "raw", "--out", "LOAD.BIN")
    assert (plain.code, code(plain)) == (1, "load-file-not-verified")
    words = ("swap", "load-file", AT, "--as", "raw", "--out", "LOAD.BIN")
    bare = ship.answer(*words, "--unverified")
    assert code(bare) == "load-file-unverified-words"
    released = ship.run(*words, *RELEASE)
    assert released.code == 0
    assert "UNVERIFIED" in released.out
    assert "level" in released.out
    assert (ship.folder / "LOAD-UNVERIFIED.BIN").read_bytes() == MEMORY
    assert not (ship.folder / "LOAD.BIN").exists()
    assert read_backs(ship, MEMORY).code == 0
    records = "".join(p.read_text("utf-8") for p in ship.vault.glob("records/*/*.json"))
    assert '"reason":"stopped at sea"' in records
    assert '"unverified":true' in records


def _layout() -> bytes:
    from tests.cli.invented import LAYOUT

    return LAYOUT


PROFILE = b"""
[reader]
name = "invented"
format = "intel-hex"
base = 0x8000
record-length = 8
short-names = true
"""


def test_the_file_is_as_the_readers_profile_takes_it(verified: Ship) -> None:
    """Base address, record length, short names; no extended records below 64 KiB."""
    verified.write("reader.toml", PROFILE)
    words = ("swap", "load-file", AT, "--profile", "reader.toml")
    long = verified.answer(*words, "--out", "long-name.hex")
    assert code(long) == "load-file-short-name"
    assert verified.run(*words, "--out", "LOAD.HEX").code == 0
    lines = (verified.folder / "LOAD.HEX").read_text("ascii").splitlines()
    assert lines[0].startswith(":08800000")
    assert {line[7:9] for line in lines} == {"00", "01"}


def test_an_unverified_file_of_a_reader_with_short_names_has_one(ship: Ship) -> None:
    """The mark fits eight letters."""
    ship.write("a.hex", dump())
    ship.run("archive", "a.hex", *WHERE)
    ship.write("reader.toml", PROFILE)
    words = ("swap", "load-file", AT, "--profile", "reader.toml", "--out", "LOAD.HEX")
    assert ship.run(*words, *RELEASE).code == 0
    assert (ship.folder / "UNVERIFD.HEX").exists()


def test_a_pair_is_two_files(verified: Ship) -> None:
    """Even bytes, odd bytes, with the sums of each."""
    words = ("swap", "load-file", AT, "--as", "raw", "--out", "LOAD.BIN", "--pair", "even-odd")
    files = verified.answer(*words).document["files"]
    assert [each["file"] for each in files] == ["LOAD.BIN", "LOAD.BIN.2"]
    assert (verified.folder / "LOAD.BIN").read_bytes() == MEMORY[0::2]
    assert (verified.folder / "LOAD.BIN.2").read_bytes() == MEMORY[1::2]
    assert files[1]["sum16"] == f"{sum(MEMORY[1::2]) & 0xFFFF:04X}"


def test_start_up_that_wrote_over_the_parameters_is_named(verified: Ship) -> None:
    """After a good read-back before power; and by the new card's own memory, where known."""
    own = MEMORY[:0x100] + bytes(range(64)) + MEMORY[0x140:]
    verified.run("card", "add", "grebe", "PC-2")
    verified.write("own.bin", write_dump(Image.of(own), "raw"), second=60)
    card = ("--vessel", "grebe", "--card", "PC-2", "--position", "U12")
    assert verified.run("archive", "own.bin", *card).code == 0
    opened(verified, "--new-card-serial", "PC-2")
    read_backs(verified, MEMORY, MEMORY)
    after = read_backs(verified, own, stage="after-power", at=70)
    assert after.code == 1
    assert "the new card's own" in after.document["start_up"]
    other = read_backs(verified, changed(0x0100), stage="after-power", at=80)
    assert "before power the card held the copy" in other.document["start_up"]


def test_a_difference_before_power_is_explained(verified: Ship) -> None:
    """What it most looks like, and what to do."""
    opened(verified)
    wrong = read_backs(verified, changed(0x0100))
    assert wrong.document["start_up"] is None
    assert wrong.document["explanation"]["causes"]


def test_ships_rules_hold_once_they_are_on_record(verified: Ship) -> None:
    """What they add stops; what they waive is said aloud; none is said too."""
    assert "default rules" in verified.run("swap", "check", AT).err
    rules = (
        b"[rules]\ntitle = 'owner'\nsource = 'invented'\n"
        b"[swap]\nrequired = ['supply-voltages']\nwaived = ['within-limits']\n"
    )
    verified.write("rules.toml", rules)
    assert verified.run("rules", "record", "grebe", "rules.toml", *BY).code == 0
    check = verified.answer("swap", "check", AT)
    assert check.document["missing"] == ["supply-voltages"]
    assert check.document["rules"] == "owner"
    assert "do not require: within-limits" in verified.run("swap", "check", AT).err
    verified.write("bad.toml", b"[rules]\ntitle = 'x'\n")
    refused = verified.answer("rules", "record", "grebe", "bad.toml")
    assert (refused.code, code(refused)) == (2, "rules-entry")
