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
RELEASE = ("--accept", "read-twice", *BY, "--reason", "stopped at sea")
CLOSE = ("swap", "close", AT, *BY, "--old-card-to", "ashore")


def opened(ship: Ship, *words: str) -> None:
    """Open a swap."""
    result = ship.run("swap", "open", AT, *BY, "--reason", "does not start", *words)
    assert result.code == 0, result.err


def tell_all(ship: Ship) -> None:
    """Answer everything that only a person can tell."""
    for name in TOLD:
        assert ship.run("swap", "answer", AT, name, "yes", "seen to", *BY).code == 0


def ready(ship: Ship, *words: str) -> None:
    """Open a swap, and answer in one call everything that only a person can tell."""
    opened(ship, *words)
    answers = [f"{name}=yes: seen to" for name in TOLD]
    assert ship.run("swap", "answer", AT, *answers, *BY).code == 0


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
    early = verified.answer("swap", "close", AT, *BY, "--test", "a=passed")
    assert (early.code, code(early)) == (1, "swap-not-finished")
    assert early.document["error"]["text"].endswith(
        "contents-proven, read-back-before-power, read-back-after-power, old-card-state"
    )
    assert read_backs(verified, MEMORY, MEMORY).code == 0
    assert read_backs(verified, changed(0x0023), stage="after-power", at=20).code == 0
    missing = verified.answer("swap", "close", AT, *BY).document["error"]["text"]
    assert missing.endswith(": function-tests, old-card-state")
    closed = verified.answer(*CLOSE, "--test", "stop=passed: at once")
    assert closed.code == 0
    assert (closed.document["outcome"], closed.document["missing"]) == ("closed", [])
    assert closed.document["reads_taken_in"] == 3
    assert code(verified.answer("swap", "close", AT, *BY)) == "swap-none-open"
    records = "".join(p.read_text("utf-8") for p in verified.vault.glob("records/*/*.json"))
    assert '"facts":{"location":"in a unit","unit":"port-thruster"}' in records
    assert '"facts":{"location":"ashore","unit":""}' in records


def test_what_was_read_after_power_is_the_newest_copy_once_closed(verified: Ship) -> None:
    """A counter moved on; before the swap is closed it is no copy, then it is verified."""
    ready(verified)
    moved = changed(0x0023)
    assert read_backs(verified, MEMORY, MEMORY).code == 0
    after = read_backs(verified, moved, moved, stage="after-power", at=20)
    assert after.code == 0
    listed = verified.answer("catalogue", AT).document["positions"][0]
    assert listed["copies"] == 1
    assert verified.run(*CLOSE, "--test", "stop=passed").code == 0
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
    ready(verified)
    for at, (stage, memories) in enumerate(intervals):
        read_backs(verified, *memories, stage=stage, at=10 + 10 * at)
    refused = verified.answer(*CLOSE, "--test", "stop=passed")
    assert (refused.code, code(refused)) == (1, "swap-not-finished")
    assert "contents-proven" in refused.document["error"]["text"]


def test_one_file_given_twice_is_one_read_back(verified: Ship) -> None:
    """The same time betrays it."""
    ready(verified)
    verified.write("c1.hex", dump(), second=5)
    verified.write("c2.hex", dump(), second=5)
    assert verified.run("swap", "read-back", AT, "c1.hex", "c2.hex").code == 0
    refused = verified.answer(*CLOSE, "--test", "stop=passed")
    assert "contents-proven" in refused.document["error"]["text"]


def test_a_failed_function_test_keeps_the_swap_open_and_is_on_record(verified: Ship) -> None:
    """It is not to be left out of the history."""
    ready(verified)
    read_backs(verified, MEMORY, MEMORY)
    read_backs(verified, MEMORY, stage="after-power", at=20)
    refused = verified.answer(*CLOSE, "--test", "stop=failed: slow")
    assert code(refused) == "swap-not-finished"
    assert refused.document["error"]["found"] == (
        "function-tests: failed, and did not pass since: stop"
    )
    records = "".join(p.read_text("utf-8") for p in verified.vault.glob("records/*/*.json"))
    assert '"tests":[{"name":"stop","result":"failed","text":"slow"}]' in records
    other = verified.answer(*CLOSE, "--test", "start=passed")
    assert "did not pass since: stop" in other.document["error"]["found"]
    assert verified.run(*CLOSE, "--test", "Stop=passed").code == 0


def test_a_swap_given_up_needs_its_reason_and_frees_the_position(verified: Ship) -> None:
    """Nothing that was read back becomes a copy."""
    ready(verified)
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


def test_a_deviation_counts_while_its_evidence_is_the_same_and_stays_visible(
    verified: Ship,
) -> None:
    """Yes until the answer changes; on every later page it is first."""
    opened(verified)
    tell_all(verified)
    verified.run("swap", "answer", AT, "permit", "no", "nobody to sign", *BY)
    assert verified.answer("swap", "check", AT).document["missing"] == ["permit"]
    words = ("--accept", "permit", *BY, "--reason", "drifting")
    accepted = verified.answer("swap", "check", AT, *words)
    assert accepted.code == 0
    (deviation,) = accepted.document["deviations"]
    assert deviation["counts"] is True
    assert re.fullmatch(r"A\. Fitter, \d{4}-\d\d-\d\d \d\d:\d\d", deviation["by"])
    later = verified.answer("swap", "check", AT)
    assert (later.code, later.document["deviations"]) == (0, [deviation])
    verified.run("swap", "answer", AT, "permit", "no", "the master is ashore", *BY)
    changed_since = verified.answer("swap", "check", AT)
    assert changed_since.document["missing"] == ["permit"]
    assert changed_since.document["deviations"] == [{**deviation, "counts": False}]
    assert verified.run("swap", "check", AT, *words).code == 0
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
    tell_all(verified)
    verified.write("N.BIN", MEMORY, second=50)
    for command in (
        ("check", AT),
        ("load-file", AT, "--as", "intel-hex", "--out", "L.HEX"),
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
        (("--accept", "permit", *BY), "swap-accept-words"),
        (("--accept", "permit", "--reason", "x"), "swap-accept-words"),
        (("--accept", "copy", *BY, "--reason", "x"), "swap-accept-condition"),
        (("--accept", "plausible", *BY, "--reason", "x"), "swap-accept-condition"),
        (("--accept", "unchanged-on-disk", *BY, "--reason", "x"), "swap-accept-condition"),
        (("--accept", "all", *BY, "--reason", "x"), "swap-accept-condition"),
        (("--accept", "old-card-state", *BY, "--reason", "x"), "swap-accept-condition"),
        (("--accept", "checks-hold", *BY, "--reason", "x"), "swap-accept-met"),
    ],
)
def test_a_deviation_is_not_accepted_lightly(
    verified: Ship, words: tuple[str, ...], refusal: str
) -> None:
    """By name and reason, in every command; what nothing can do without never."""
    opened(verified)
    verified.write("c.hex", dump(), second=9)
    before = verified.tree()
    for command in (
        ("check", AT),
        ("load-file", AT, "--as", "raw", "--out", "L.BIN"),
        ("read-back", AT, "c.hex"),
    ):
        refused = verified.answer("swap", *command, *words)
        assert (refused.code, code(refused)) == (2, refusal)
    assert verified.tree() == before


def test_a_deviation_needs_an_open_swap(verified: Ship) -> None:
    """There is nothing that it could be visible on."""
    words = ("--accept", "card-sheet", *BY, "--reason", "x")
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
            "swap-accept-met",
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
    written = ("--written", "set at the panel", "--by", "A. Person")
    assert verified.run("archive", "n1.hex", "n2.hex", *WHERE, *written).code == 0
    ready(verified)
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
    ready(ship)
    plain = ship.answer("swap", "load-file", AT, "--as", "raw", "--out", "LOAD.BIN")
    assert (plain.code, code(plain)) == (1, "swap-not-ready")
    assert plain.document["error"]["text"].endswith(": read-twice")
    words = ("swap", "load-file", AT, "--as", "raw", "--out", "LOAD.BIN")
    bare = ship.answer(*words, "--accept", "read-twice")
    assert code(bare) == "swap-accept-words"
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
    ready(verified)
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
    ready(ship)
    ship.write("reader.toml", PROFILE)
    words = ("swap", "load-file", AT, "--profile", "reader.toml", "--out", "LOAD.HEX")
    assert ship.run(*words, *RELEASE).code == 0
    assert (ship.folder / "UNVERIFD.HEX").exists()


def test_a_pair_is_two_files(verified: Ship) -> None:
    """Even bytes, odd bytes, with the sums of each."""
    ready(verified)
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
    ready(verified, "--new-card-serial", "PC-2")
    read_backs(verified, MEMORY, MEMORY)
    after = read_backs(verified, own, stage="after-power", at=70)
    assert after.code == 1
    assert "the new card's own" in after.document["start_up"]
    other = read_backs(verified, changed(0x0100), stage="after-power", at=80)
    assert "before power the card held the copy" in other.document["start_up"]


def test_a_difference_before_power_is_explained(verified: Ship) -> None:
    """What it most looks like, and what to do."""
    ready(verified)
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
