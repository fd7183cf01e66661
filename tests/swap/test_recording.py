"""What a swap puts on record, and what is refused: nothing of it is written then."""

from __future__ import annotations

import re
from functools import partial
from typing import TYPE_CHECKING, Any

import pytest
from msgspec.structs import replace

from parambak.differences.two_layouts import NONE, read_renames
from parambak.errors import CallRefused
from parambak.keeping.assess import Assessor
from parambak.keeping.recording.entries import correct
from parambak.keeping.recording.received import LayoutFile, RenamesFile
from parambak.keeping.state.bodies import FunctionTest
from parambak.layouts.decode import decode
from parambak.layouts.load import load
from parambak.memory.digests import sha256, sum16
from parambak.memory.image import Image
from parambak.swap.guard import Acceptance, cleared
from parambak.swap.read_back import BEFORE_POWER, compare, compare_values
from parambak.swap.recording import (
    GivenAnswer,
    Release,
    ValueLayouts,
    answer,
    record_load_file,
    record_read_back,
    released_files,
    select_copy,
)
from parambak.swap.state import swap_state
from tests.keeping.conftest import WHERE, Laptop, image, incoming
from tests.swap.conftest import BY, abandoned, closed, opened

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from parambak.errors import ParambakError


def newest_records(laptop: Laptop, count: int = 1) -> list[Any]:
    """Return the newest records about the vessel."""
    (vessel,) = laptop.vault.vessels()
    return [stored.record for stored in laptop.vault.records(vessel)[-count:]]


def refused(laptop: Laptop, call: Callable[[Laptop], object]) -> ParambakError:
    """Return the refusal that a call meets; nothing is written."""
    before = laptop.tree()
    with pytest.raises(CallRefused) as refusal:
        call(laptop)
    assert laptop.tree() == before
    return refusal.value


def answered(laptop: Laptop, text: str = "seen", by: str = BY) -> None:
    """Answer a condition of the open swap."""
    answer(laptop.vault, WHERE, [GivenAnswer("permit", "yes", text)], by=by)


def accepts(laptop: Laptop, reason: str = "sea", by: str = BY) -> None:
    """Accept a condition of the open swap."""
    acceptance = Acceptance(("permit",), reason, by)
    cleared(swap_state(laptop.fleet, Assessor(laptop.vault), WHERE), acceptance)


def test_a_load_file_is_on_record_with_its_digest_and_sum(laptop: Laptop) -> None:
    """Which copy, which format, and the sum that the reader's screen will show."""
    copy = laptop.latest()
    file = Release("intel-hex", (sha256(b"the file"),))
    record_load_file(laptop.vault, laptop.position(), copy, Image.of(image()), file)
    (record,) = newest_records(laptop)
    assert record.kind == "load-file"
    assert record.objects == (copy.sha256,)
    assert record.body == {
        "position": laptop.position().id,
        "image": copy.image.members() | {"ranges": [[0, 256]]},
        "format": "intel-hex",
        "file_sha256": sha256(b"the file"),
        "sum16": sum16(image()),
    }


def test_each_dump_read_back_is_on_record_with_its_answer(laptop: Laptop) -> None:
    """A good one and one with a bit wrong: a record each, the bytes read kept as objects."""
    bad = image(1, {0xA0: image()[0xA0] ^ 1})
    reads = [
        (incoming(data), compare(Image.of(image()), Image.of(data), BEFORE_POWER))
        for data in (image(), bad)
    ]
    copy = laptop.latest()
    record_read_back(laptop.vault, laptop.position(), copy, reads, by="B. Invented")
    good, wrong = newest_records(laptop, 2)
    assert [each.body["loaded_correctly"] for each in (good, wrong)] == [True, False]
    assert [each.body["differing_bytes"] for each in (good, wrong)] == [0, 1]
    assert wrong.body["stage"] == "before-power"
    assert wrong.body["selected"]["sha256"] == copy.sha256
    assert laptop.vault.read_object(sha256(bad)) == bad
    assert sha256(bad) in wrong.objects
    assert laptop.vault.person(wrong.by) == "B. Invented"


PART = b"""
[[field]]
name = "setting"
at = 0x12
type = "u8"
"""


def with_part(title: str) -> LayoutFile:
    """Return a layout that includes another file."""
    text = f'[layout]\ntitle = "{title}"\nmemory = 256\ninclude = ["part.toml"]\n'.encode()
    layout = load(text, name=f"{title}.toml", include=lambda _: PART)
    return LayoutFile(f"{title}.toml", text, layout, {"part.toml": PART})


@pytest.mark.parametrize("named", [True, False])
def test_a_read_back_by_values_keeps_both_layouts_and_the_renames(
    laptop: Laptop, named: bool
) -> None:
    """Byte for byte, included files too; the position's own layout is kept already."""
    position, copy = laptop.position(), laptop.latest()
    assert position.layout is not None
    new = with_part("new")
    old = with_part("old") if named else position.layout
    table = b"setting = false\n"
    renames = read_renames(table)
    layouts = ValueLayouts(old, new, RenamesFile("renames.toml", table, renames))
    decoded = decode(new.layout, Image.of(image()))
    reads = [(incoming(image()), compare_values(decoded, decoded, renames, BEFORE_POWER))]
    record_read_back(laptop.vault, position, copy, reads, by=None, layouts=layouts)
    (record,) = newest_records(laptop)
    body = record.body
    assert body["by_values"] is True
    files = [(body["layout"], new.data), (body["renames"], table)]
    files.append((body["layout"]["parts"][0], PART))
    if isinstance(old, LayoutFile):
        files += [(body["old_layout"], old.data), (body["old_layout"]["parts"][0], PART)]
    else:
        files.append((body["old_layout"], laptop.vault.read_object(old.sha256)))
        assert body["old_layout"] == old.members()
    for entry, data in files:
        assert entry["sha256"] == sha256(data)
        assert laptop.vault.read_object(entry["sha256"]) == data
        assert entry["sha256"] in record.objects


def test_both_files_of_a_pair_are_on_record(laptop: Laptop) -> None:
    """And under names that a record can hold."""
    halves = [incoming(image()[half::2], name=f"R{half}\udcff.BIN") for half in (0, 1)]
    read = replace(halves[0], second=halves[1], on_chip=Image.of(image()))
    found = compare(Image.of(image()), read.image, BEFORE_POWER)
    record_read_back(laptop.vault, laptop.position(), laptop.latest(), [(read, found)], by=None)
    (record,) = newest_records(laptop)
    assert [each["name"] for each in record.body["dumps"]] == ["R0\\u{DCFF}.BIN", "R1\\u{DCFF}.BIN"]
    for half in (0, 1):
        data = image()[half::2]
        assert laptop.vault.read_object(sha256(data)) == data
        assert sha256(data) in record.objects


def test_a_read_back_by_bytes_names_no_layout(laptop: Laptop) -> None:
    """Its members are as they always were."""
    found = compare(Image.of(image()), Image.of(image()), BEFORE_POWER)
    reads = [(incoming(image()), found)]
    record_read_back(laptop.vault, laptop.position(), laptop.latest(), reads, by=None)
    (record,) = newest_records(laptop)
    assert not {"old_layout", "layout", "renames", "by_values"} & set(record.body)


def test_what_was_read_back_is_no_copy(laptop: Laptop) -> None:
    """The position's copies are as before: only the close of a swap makes one of it."""
    before = laptop.position().copies
    bad = image(2)
    found = compare(Image.of(image()), Image.of(bad), BEFORE_POWER)
    reads = [(incoming(bad), found)]
    record_read_back(laptop.vault, laptop.position(), laptop.latest(), reads, by=None)
    assert laptop.position(WHERE).copies == before


def test_it_goes_to_the_identity_that_the_position_is_known_by(tmp_path: Path) -> None:
    """A ship entered twice: the record stands next to those that brought the position in."""
    one, other = Laptop(tmp_path / "a"), Laptop(tmp_path / "b", start=60)
    for laptop in (one, other):
        laptop.take(image())
        correct(laptop.vault, "grebe", {"imo": "1234567"}, by=None, why=None)
    one.merge_from(other)
    position, copy = one.position(), one.latest()
    release = Release("raw", (sha256(image()),))
    record_load_file(one.vault, position, copy, Image.of(image()), release)
    vault = one.vault
    for identity in vault.vessels():
        bodies = [stored.record for stored in vault.records(identity)]
        entities = {each["id"] for record in bodies for each in record.body.get("new", ())}
        loads = [record for record in bodies if record.kind == "load-file"]
        assert bool(loads) == (position.id in entities)


def test_by_values_without_renames_none_is_on_record(laptop: Laptop) -> None:
    """Names that are the same need no table."""
    new = with_part("new")
    decoded = decode(new.layout, Image.of(image()))
    reads = [(incoming(image()), compare_values(decoded, decoded, NONE, BEFORE_POWER))]
    layouts = ValueLayouts(with_part("old"), new)
    record_read_back(
        laptop.vault, laptop.position(), laptop.latest(), reads, by=None, layouts=layouts
    )
    (record,) = newest_records(laptop)
    assert record.body["by_values"] is True
    assert "renames" not in record.body


def test_the_files_released_at_a_position_are_those_of_no_other(laptop: Laptop) -> None:
    """Both of a pair; so that a read-back of the file itself is noticed there."""
    other = "grebe/stbd-thruster/U12"
    laptop.take(image(2), where=other)
    for where, digests in (
        (WHERE, ("ab" * 32, "cd" * 32)),
        (WHERE, ("ef" * 32,)),
        (other, ("12" * 32,)),
    ):
        copy = laptop.latest(where)
        file = Release("raw", digests)
        record_load_file(laptop.vault, laptop.position(where), copy, Image.of(image()), file)
    files = released_files(laptop.vault, laptop.position())
    assert files.keys() == {"ab" * 32, "cd" * 32, "ef" * 32}
    assert released_files(laptop.vault, laptop.position(other)).keys() == {"12" * 32}


LONG, HIDDEN = "x" * 4001, "a\x1b[2J"


@pytest.mark.parametrize(
    ("call", "what"),
    [
        (partial(opened, why=LONG), "reason"),
        (partial(answered, by=HIDDEN), "name of the person"),
        (partial(answered, text=HIDDEN), "answer to permit"),
        (partial(answered, text=LONG), "answer to permit"),
        (
            lambda laptop: select_copy(laptop.vault, WHERE, laptop.latest(), why=HIDDEN, by=BY),
            "reason",
        ),
        (
            lambda laptop: select_copy(laptop.vault, WHERE, laptop.latest(), why="", by=HIDDEN),
            "name of",
        ),
        (partial(accepts, reason=HIDDEN), "reason"),
        (partial(accepts, by=HIDDEN), "name of the person"),
        (partial(closed, reason=LONG), "reason"),
        (partial(closed, tests=(FunctionTest(name=HIDDEN, result="passed"),)), "name of the test"),
        (
            partial(closed, tests=(FunctionTest(name="a", result="passed", text=HIDDEN),)),
            "result of the test",
        ),
    ],
)
def test_a_text_that_no_record_should_keep_is_refused_by_what_it_is(
    laptop: Laptop, call: Callable[[Laptop], object], what: str
) -> None:
    """Of several texts typed in one line, the one to correct is named."""
    if "opened" not in str(call):
        opened(laptop)
    refusal = refused(laptop, call)
    assert refusal.code in {"text-length", "text-character"}
    assert f"the {what}" in refusal.text


@pytest.mark.parametrize(
    ("old", "new", "code", "expected", "found"),
    [
        ("PC-1", "pc-1", "swap-same-card", "two serial numbers", "PC-1"),
        ("PC1", None, "name-near", "PC-1", "PC1"),
        (None, "P C", "name-shape", "letters, digits", "'P C'"),
    ],
)
def test_a_card_that_is_named_wrongly_opens_no_swap(  # noqa: PLR0917
    laptop: Laptop, old: str | None, new: str | None, code: str, expected: str, found: str
) -> None:
    """The same card twice, a serial number except its hyphen, and what is none."""
    opened(laptop, old_card="PC-1")
    abandoned(laptop)
    refusal = refused(laptop, partial(opened, old_card=old, new_card=new))
    assert refusal.code == code
    assert expected in (refusal.expected or "")
    assert refusal.found == found
    assert re.search(r"\bcard\b", refusal.text)


def test_a_second_swap_at_a_position_is_refused(laptop: Laptop) -> None:
    """It would split what is stated and done between two."""
    opened(laptop)
    refusal = refused(laptop, opened)
    assert refusal.code == "swap-open-already"
    assert WHERE in refusal.text
    assert refusal.expected == "no open swap"


def test_a_position_on_a_card_in_no_unit_has_no_swap(laptop: Laptop) -> None:
    """The unit's own position is to be named."""
    where = "grebe/card:PC-1/U3"
    laptop.take(image(3), where=where)
    refusal = refused(laptop, partial(opened, where=where))
    assert (refusal.code, refusal.found) == ("swap-no-unit", where)
    assert refusal.expected == "VESSEL/UNIT/POSITION"


@pytest.mark.parametrize(
    ("conditions", "code", "expected", "found"),
    [
        (("permit", "copy"), "swap-condition", "permit", "'copy'"),
        (("permit", "x" * 90), "swap-condition", "diagnosed", f"'{'x' * 40}'"),
        (("permit", "diagnosed", "permit"), "swap-answer-twice", "each condition once", "permit"),
    ],
)
def test_one_wrong_answer_puts_none_on_record(
    laptop: Laptop, conditions: tuple[str, ...], code: str, expected: str, found: str
) -> None:
    """What is worked out is answered by nobody; what may be answered is listed."""
    opened(laptop)
    given = [GivenAnswer(condition, "yes", "seen") for condition in conditions]
    refusal = refused(laptop, lambda one: answer(one.vault, WHERE, given, by=BY))
    assert (refusal.code, refusal.found) == (code, found)
    assert expected in (refusal.expected or "")


def test_a_swap_is_given_up_for_a_reason_only(laptop: Laptop) -> None:
    """And stays open without one."""
    opened(laptop)
    for reason in (None, ""):
        refusal = refused(laptop, partial(abandoned, reason=reason))
        assert (refusal.code, refusal.expected) == ("swap-abandoned-why", "--reason TEXT")
    abandoned(laptop)
    (record,) = newest_records(laptop)
    assert record.body["outcome"] == "abandoned"
    assert record.body["reason"] == "no spare"
    assert [test["name"] for test in record.body["tests"]] == ["stop"]
