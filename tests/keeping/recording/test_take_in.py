"""Taking reads in: all on record or nothing, and what the reader's sum proves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from parambak.errors import ParambakError
from parambak.keeping.recording.texts import kept_name
from parambak.keeping.state.bodies import Normal
from parambak.memory.digests import sha256, sum16
from parambak.memory.image import Image
from tests.keeping.conftest import (
    LAYOUT,
    WHERE,
    Laptop,
    image,
    incoming,
    layout_file,
    same_file,
)

if TYPE_CHECKING:
    from pathlib import Path

OTHER_MEMORY = LAYOUT.replace(b"memory = 256", b"memory = 512")
SHORT = image()[:128]
# What is refused, by its code: the words of the request, and the dumps.
REFUSALS: list[tuple[str, dict[str, Any], tuple[Any, ...]]] = [
    ("dump-reader-sum", {"reader_sum": "0000"}, (image(),)),
    ("dump-reader-sum-shape", {"reader_sum": "XYZ"}, (image(),)),
    ("raw-size", {"chip": "T512"}, (image(),)),
    ("dump-past-memory", {"chip": "T256"}, (Image.of(image(), 0x80),)),
    ("layout-other-memory", {"layout": OTHER_MEMORY}, (image(),)),
    ("layout-chip-differs", {"layout": LAYOUT, "chip": "T512"}, (image() + image(2),)),
    ("name-shape", {"where": "no name/x/y"}, (image(),)),
    ("name-shape", {"where": "grebe/no name/y"}, (image(),)),
    ("name-shape", {"where": "grebe/x/no name"}, (image(),)),
    ("name-shape", {"where": "grebe/card:no serial/U12"}, (image(),)),
    ("text-length", {"by": "x" * 201}, (image(),)),
    ("text-length", {"remark": "x" * 4001}, (image(),)),
    ("text-length", {"reader": "x" * 2_000_000}, (image(),)),
    ("text-character", {"by": "A\x1b[2J"}, (image(),)),
    ("text-character", {"remark": "\ud800"}, (image(),)),
    ("text-character", {"reader": "\u2067x"}, (image(),)),
    ("correct-date", {"read_on": "the third"}, (image(),)),
    ("text-length", {"normal": [Normal(code="x" * 201, reason="y")]}, (image(),)),
]


@pytest.mark.parametrize(("code", "words", "dumps"), REFUSALS)
def test_a_refusal_leaves_no_vault_where_there_was_none(
    laptop: Laptop, code: str, words: dict[str, Any], dumps: tuple[Any, ...]
) -> None:
    """Not a folder, not a file."""
    with pytest.raises(ParambakError) as refusal:
        laptop.take(*dumps, **words)
    assert refusal.value.code == code
    assert refusal.value.expected
    assert refusal.value.next
    assert laptop.tree() == {}


@pytest.mark.parametrize(("code", "words", "dumps"), REFUSALS)
def test_a_refusal_leaves_the_vault_byte_for_byte(
    laptop: Laptop, code: str, words: dict[str, Any], dumps: tuple[Any, ...]
) -> None:
    """The whole tree hashes as before, new vessels and layouts included."""
    laptop.take(image(9), where="avocet/winch/U3")
    before = laptop.tree()
    with pytest.raises(ParambakError) as refusal:
        laptop.take(*dumps, **words)
    assert refusal.value.code == code
    assert laptop.tree() == before


def test_a_good_dump_before_a_bad_one_is_not_kept(laptop: Laptop) -> None:
    """One command is all its reads or none."""
    laptop.take(image(9), where="avocet/winch/U3")
    before = laptop.tree()
    with pytest.raises(ParambakError):
        laptop.take(image(), SHORT, chip="T256")
    assert laptop.tree() == before


@pytest.mark.parametrize(
    ("unit", "card", "found"), [(None, None, "neither"), ("port", "PC-1", "both")]
)
def test_a_read_belongs_to_a_unit_or_to_a_card(
    laptop: Laptop, unit: str | None, card: str | None, found: str
) -> None:
    """Neither or both: target-unit-or-card."""
    from parambak.keeping.recording.filing import TypedPosition
    from parambak.keeping.recording.received import Request
    from parambak.keeping.recording.take_in import take_in

    request = Request(TypedPosition("grebe", "U12", unit, card), [incoming(image())])
    with pytest.raises(ParambakError) as refusal:
        take_in(laptop.vault, request, {})
    assert (refusal.value.code, refusal.value.found) == ("target-unit-or-card", found)


# --- what goes on record ---


def bodies(laptop: Laptop) -> list[dict[str, Any]]:
    """Return the bodies of the reads, in order."""
    (vessel,) = laptop.vault.vessels()
    return [s.record.body for s in laptop.vault.records(vessel) if s.record.kind == "read"]


def test_one_record_a_read_and_what_is_new_inside_the_first(laptop: Laptop) -> None:
    """The second record's `new` is left out; both are of one call."""
    laptop.take(image(), image())
    first, second = bodies(laptop)
    assert [entity["what"] for entity in first["new"]] == ["vessel", "unit", "position"]
    assert "new" not in second
    assert first["call"] == second["call"]
    laptop.take(image())
    assert "new" not in bodies(laptop)[2]
    assert bodies(laptop)[2]["call"] != first["call"]


@pytest.mark.parametrize("holder", ["port-thruster", "card:PC-1"])
def test_what_is_new_is_inside_what_holds_it(laptop: Laptop, holder: str) -> None:
    """A position in its unit or card, and that in its vessel."""
    laptop.take(image(), where=f"grebe/{holder}/U12")
    vessel, held_by, position = bodies(laptop)[0]["new"]
    assert "inside" not in vessel
    assert held_by["inside"] == vessel["id"]
    assert position["inside"] == held_by["id"]


def test_a_vote_goes_on_record_as_reconstructed_from_its_reads(laptop: Laptop) -> None:
    """With its image in the vault; it is the copy, of no dump, and never read twice."""
    reads = [image(1, {at: image()[at] ^ 1}) for at in (0xA0, 0xA1, 0xA2)]
    taken = laptop.take(*reads, vote=True, position_confirmed=True, reader_sum=None)
    assert taken.copy.sha256 == sha256(image())
    assert not taken.verdict.verified
    assert laptop.vault.read_object(sha256(image())) == image()
    *made, voted = laptop.vault.records(laptop.vault.vessels()[0])
    assert voted.record.body["image"] == {"sha256": sha256(image()), "ranges": [[0, 256]]}
    assert voted.record.body["reconstructed_from"] == [stored.digest for stored in made]
    assert sha256(image()) in voted.record.objects
    assert taken.copy.newest.dumps == ()


def test_a_record_relies_on_every_object_that_it_needs(laptop: Laptop) -> None:
    """Image, dump as received, layout and person: all among its objects, all in the vault."""
    data = b":a dump as received"
    given = incoming(image())
    given = type(given)(data, given.dump, same_file(given, sha256=sha256(data)).entry)
    laptop.take(given, layout=LAYOUT)
    (vessel,) = laptop.vault.vessels()
    record = laptop.vault.records(vessel)[-1].record
    person = record.by
    assert person is not None
    assert set(record.objects) == {sha256(image()), sha256(data), sha256(LAYOUT), person}
    assert laptop.vault.read_object(sha256(data)) == data
    assert laptop.vault.read_object(sha256(LAYOUT)) == LAYOUT
    assert laptop.vault.person(person) == "A. Invented"


def test_the_layout_stays_with_the_position(laptop: Laptop) -> None:
    """Given once, it holds for later reads, until another is named."""
    laptop.take(image(), layout=LAYOUT)
    laptop.take(image())
    entry = laptop.position().layout
    assert entry is not None
    assert (entry.sha256, entry.name) == (sha256(LAYOUT), "thruster.toml")
    later = LAYOUT.replace(b"Thruster controller", b"Thruster controller, revised")
    laptop.take(image(), layout=later)
    entry = laptop.position().layout
    assert entry is not None
    assert entry.sha256 == sha256(later)


def test_the_standing_layout_judges_the_next_dump(laptop: Laptop) -> None:
    """A dump of another size of memory is refused though no layout is given again."""
    laptop.take(image(), layout=LAYOUT)
    with pytest.raises(ParambakError) as refusal:
        laptop.take(image() + image(2))
    assert refusal.value.code == "layout-other-memory"


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ({"chip": "T512"}, "512 bytes, the size of the chip T512"),
        ({"layout": LAYOUT}, "256 bytes, the size of the layout"),
    ],
)
def test_a_raw_dump_of_another_size_is_told_whose_size_it_is_not(
    laptop: Laptop, words: dict[str, Any], expected: str
) -> None:
    """The chip's where one is named, else the layout's."""
    with pytest.raises(ParambakError) as refusal:
        laptop.take(image()[:200], **words)
    assert refusal.value.code == "raw-size"
    assert (refusal.value.expected, refusal.value.found) == (expected, "200 bytes")
    assert "chip" not in refusal.value.text


def test_a_file_name_that_is_no_text_is_kept_as_an_escape(laptop: Laptop) -> None:
    """A name of stray bytes or control characters does not stop the read."""
    laptop.take(incoming(image(), name="R\udcff\x1b.BIN"))
    assert laptop.latest().newest.dumps[0].name == "R\\u{DCFF}\\u{001B}.BIN"
    assert kept_name("Größe №1.hex") == "Größe №1.hex"
    assert len(kept_name("x" * 10_000)) == 200


def test_what_is_asked_is_what_is_on_record(laptop: Laptop) -> None:
    """Each word of the request is found again in the read."""
    laptop.take(
        image(), read_on="2026-02-03", reader="socket", remark="r", untimed=True, compared=True
    )
    (read,) = laptop.position().reads
    assert (read.read_on.isoformat(), read.stated) == ("2026-02-03", True)
    assert read.facts.reader == "socket"
    assert (read.remark, read.untimed, read.facts.compared) == ("r", True, True)
    assert read.dumps[0].format == "raw"
    assert read.writer == laptop.vault.writer


def test_a_second_vessel_person_has_a_mark_of_its_own(laptop: Laptop) -> None:
    """One vessel can leave with its own: the same name has another mark in another vessel."""
    laptop.take(image())
    laptop.take(image(), where="avocet/winch/U3", position_confirmed=True)
    laptop.take(image())
    mark = laptop.latest().newest.by
    other = laptop.latest("avocet/winch/U3").newest.by
    assert mark is not None
    assert other is not None
    assert mark != other
    assert laptop.vault.person(mark) == laptop.vault.person(other)
    assert len({read.by for read in laptop.position().reads}) == 1


# --- the reader's sum ---


def test_a_sum_that_matches_says_what_it_is_a_sum_of(laptop: Laptop) -> None:
    """Kept with the read: as typed, and how it was matched."""
    taken = laptop.take(image(), reader_sum=f"0x{sum16(image())}")
    assert taken.reader_sum == "16-bit sum of bytes over the bytes of the dump"
    (read,) = laptop.position().reads
    assert read.reader_sum is not None
    assert (read.reader_sum.shown, read.reader_sum.matched) == (
        sum16(image()),
        taken.reader_sum,
    )


def test_a_sum_over_the_whole_chip_matches_by_the_chips_size(laptop: Laptop) -> None:
    """The reader leaves FF out of the file, and adds the whole chip on its screen."""
    part = Image.of(image()).part(0, 0xC0)
    shown = f"{(sum(image()[:0xC0]) + 0x40 * 0xFF) & 0xFFFF:04X}"
    taken = laptop.take(part, chip="T256", reader_sum=shown)
    assert taken.reader_sum == "16-bit sum of bytes over the chip filled with FF"


def test_each_of_two_dumps_must_match_the_sum(laptop: Laptop) -> None:
    """The second dump's transfer was not whole: refused, and the file named."""
    bad = incoming(image(1, {0xA0: 1, 0xA1: 1}), name="R2.BIN")
    with pytest.raises(ParambakError) as refusal:
        laptop.take(image(), bad, reader_sum=sum16(image()))
    assert (refusal.value.code, refusal.value.file) == ("dump-reader-sum", "R2.BIN")
    assert laptop.tree() == {}


def test_a_dump_at_a_high_address_is_summed_without_filling_gigabytes(laptop: Laptop) -> None:
    """Memory stays bounded: only the bytes present are tried."""
    high = Image.of(image(), 0xFFFF_0000)
    with pytest.raises(ParambakError) as refusal:
        laptop.take(high, reader_sum="0000")
    assert refusal.value.code == "dump-reader-sum"


def test_a_layout_given_anew_is_the_one_that_judges(laptop: Laptop) -> None:
    """The new layout is checked against the dump, not the one on record."""
    laptop.take(image(), layout=LAYOUT)
    assert layout_file(OTHER_MEMORY).layout.memory == 512
    with pytest.raises(ParambakError) as refusal:
        laptop.take(image(), layout=OTHER_MEMORY)
    assert refusal.value.code == "layout-other-memory"


def test_another_user_of_the_vault_files_under_the_same_vessel(tmp_path: Path) -> None:
    """Two users, one vault: each read says whose writer it is."""
    one = Laptop(tmp_path / "one")
    one.take(image())
    other = Laptop(tmp_path / "two", start=60)
    other.root = one.root
    other.take(image())
    writers = [read.writer for read in one.position().reads]
    assert len(set(writers)) == 2
    assert one.position(WHERE).copies == other.position(WHERE).copies
