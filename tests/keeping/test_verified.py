"""A copy is verified: each condition alone unmet, and what is no sign of a second read."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from parambak.errors import CallRefused, VaultDamaged
from parambak.keeping.assess import Assessor
from parambak.keeping.recording.entries import record_rules
from parambak.keeping.state.bodies import Normal
from parambak.memory.digests import sha256
from tests.keeping.conftest import CHIPS, LAYOUT, MEMORY, WHERE, image, incoming, same_file

if TYPE_CHECKING:
    from parambak.keeping.verified import Verdict
    from tests.keeping.conftest import Laptop

NAMES = [
    "records-complete",
    "read-twice",
    "stable",
    "plausible",
    "checks-hold",
    "unchanged-on-disk",
]


def put_rules(laptop: Laptop, text: str) -> None:
    """Put ship's rules on record."""
    data = f"[rules]\ntitle = 'invented'\nsource = 'invented'\n{text}".encode()
    record_rules(laptop.vault, vessel="grebe", name="rules.toml", data=data, by=None)


def verdict(laptop: Laptop, where: str = WHERE) -> Verdict:
    """Return the verdict on the latest copy, worked out now."""
    assessor = Assessor(laptop.vault, CHIPS)
    position = laptop.position(where)
    assert position.latest is not None
    return assessor.verdict(position, position.latest)


def met(found: Verdict) -> dict[str, bool | None]:
    """Return each condition's answer."""
    return {each.condition: each.met for each in found.conditions}


def words(found: Verdict, condition: str) -> str:
    """Return a condition's words."""
    return next(each.text for each in found.conditions if each.condition == condition)


def test_two_reads_made_apart_with_all_else_right_are_verified(laptop: Laptop) -> None:
    """Every condition is met, in the order of the work; nothing is unmet."""
    taken = laptop.verified()
    assert taken.verdict.verified
    assert [each.condition for each in taken.verdict.conditions] == NAMES
    assert taken.verdict.unmet == ()
    assert taken.copy.sha256 == sha256(image())


def test_one_read_is_not_verified_and_nothing_else_is_unmet(laptop: Laptop) -> None:
    """The first condition alone fails, and says what to do."""
    taken = laptop.take(image(), layout=LAYOUT, chip="T256")
    assert met(taken.verdict) == dict.fromkeys(NAMES, True) | {"read-twice": False}
    assert words(taken.verdict, "read-twice").startswith("1 read only; read the chip again")


def test_the_readers_own_compare_is_shown_and_does_not_verify(laptop: Laptop) -> None:
    """Compared by the reader: better than one read, less than verified."""
    taken = laptop.take(image(), compared=True)
    assert not taken.verdict.verified
    assert "1 read only, compared by the reader;" in words(taken.verdict, "read-twice")


def test_an_implausible_image_fails_that_condition_alone(laptop: Laptop) -> None:
    """Upper and lower half the same: an address line stuck, or the wrong chip chosen."""
    half = image()[:128]
    taken = laptop.take(half + half, half + half, chip="T256")
    assert met(taken.verdict) == dict.fromkeys(NAMES, True) | {"plausible": False}
    assert "A7" in words(taken.verdict, "plausible")


def test_a_dump_that_lacks_bytes_of_its_chip_is_not_plausible(laptop: Laptop) -> None:
    """The size is judged by the chip named: 256 bytes of 512."""
    from parambak.memory.image import Image

    part = Image.of(image())
    taken = laptop.take(incoming(part), incoming(part), chip="T512")
    assert met(taken.verdict)["plausible"] is False
    assert "256 of the memory's 512 bytes" in words(taken.verdict, "plausible")


def test_without_a_chip_the_size_is_said_not_to_be_judged(laptop: Laptop) -> None:
    """No chip is not compared with the copy."""
    taken = laptop.take(image(), image())
    assert taken.verdict.verified
    assert "no chip is on record: the size was not checked" in words(taken.verdict, "plausible")


def test_a_check_that_fails_is_named_and_fails_alone(laptop: Laptop) -> None:
    """The layout's check does not hold: the copy is kept, and is not verified."""
    wrong = bytearray(image())
    wrong[0x41] ^= 0x10
    taken = laptop.verified(bytes(wrong))
    assert met(taken.verdict) == dict.fromkeys(NAMES, True) | {"checks-hold": False}
    assert words(taken.verdict, "checks-hold") == "stored check fails: block sum"


@pytest.mark.parametrize(
    ("number", "text"), [(1, "1 stored check holds"), (2, "2 stored checks hold")]
)
def test_checks_that_hold_are_counted(laptop: Laptop, number: int, text: str) -> None:
    """So that nobody takes one for all."""
    layout = b'[layout]\ntitle = "t"\nmemory = 256\nbyte-order = "big"\n'
    check = b'[[check]]\nname = "%d"\nmethod = "sum-16"\nover = [[0x40, 0x7F]]\nat = %d\n'
    layout += b"".join(check % (at, at) for at in (0x80, 0x82)[:number])
    twice = image(1, {0x82: image()[0x80], 0x83: image()[0x81]})
    assert words(laptop.take(twice, layout=layout).verdict, "checks-hold") == text


def test_a_check_whose_bytes_are_absent_is_not_known(laptop: Laptop) -> None:
    """Not known is another answer than failed, and is not verified either."""
    from parambak.memory.image import Image

    part = Image.of(image()).part(0x00, 0x50)
    taken = laptop.take(incoming(part), incoming(part), layout=LAYOUT)
    assert met(taken.verdict)["checks-hold"] is None
    assert not taken.verdict.verified
    assert "block sum" in words(taken.verdict, "checks-hold")


def test_a_byte_flipped_on_the_disk_is_found_at_once(laptop: Laptop) -> None:
    """Intact is not met; of an image that is damaged, nothing else is said to be known."""
    copy = laptop.verified().copy
    laptop.overwrite(copy.sha256)
    found = verdict(laptop)
    assert met(found) == {
        "records-complete": True,
        "read-twice": True,
        "stable": True,
        "plausible": None,
        "checks-hold": None,
        "unchanged-on-disk": False,
    }
    assert copy.sha256 in words(found, "unchanged-on-disk")


def test_a_lost_image_is_not_called_plausible(laptop: Laptop) -> None:
    """An object that is gone is damage, and the answer comes without an error."""
    copy = laptop.verified().copy
    laptop.lose(copy.sha256)
    assert met(verdict(laptop))["unchanged-on-disk"] is False
    assert met(verdict(laptop))["plausible"] is None


def test_each_file_that_is_damaged_is_named(laptop: Laptop) -> None:
    """The image and the layout: both, each with its path."""
    laptop.verified()
    for digest in (sha256(image()), sha256(LAYOUT)):
        laptop.overwrite(digest)
    parts = words(verdict(laptop), "unchanged-on-disk").split("; ")
    files = [re.fullmatch(r"[^;]*objects/../([0-9a-f]{64})\)", part) for part in parts]
    assert [file and file[1] for file in files] == [sha256(image()), sha256(LAYOUT)]


def test_a_damaged_dump_spoils_intact_alone(laptop: Laptop) -> None:
    """The dump as received belongs to the copy, though the image is whole."""
    from parambak.memory.image import Image

    part = Image.of(image(), 0)
    first = incoming(part, sha256="")
    data = b":dump as received"
    first = type(first)(data, first.dump, same_file(first, sha256=sha256(data)).entry)
    laptop.take(first, image(), chip="T256")
    laptop.overwrite(sha256(data))
    assert met(verdict(laptop)) == dict.fromkeys(NAMES, True) | {"unchanged-on-disk": False}


def test_a_damaged_image_is_refused_where_its_bytes_are_asked_for(laptop: Laptop) -> None:
    """Whoever wants the bytes meets vault-damaged-object, exit code 3."""
    copy = laptop.verified().copy
    laptop.overwrite(copy.sha256)
    with pytest.raises(VaultDamaged) as damage:
        Assessor(laptop.vault, CHIPS).image(copy.image)
    assert damage.value.code == "vault-damaged-object"
    assert damage.value.exit_code == 3


def test_a_damaged_vault_still_takes_reads_in(laptop: Laptop) -> None:
    """The latest copy cannot be compared with: the read goes on record, with a warning."""
    copy = laptop.verified().copy
    laptop.overwrite(copy.sha256)
    taken = laptop.take(image(2))
    assert taken.copy.sha256 == sha256(image(2))
    assert any("latest copy could not be compared" in each for each in taken.warnings)


def test_archiving_the_same_dump_again_repairs_the_object(laptop: Laptop) -> None:
    """A damaged object is written again where its bytes come in again."""
    laptop.verified()
    laptop.overwrite(sha256(image()))
    assert laptop.take(image()).verdict.verified


def test_an_unusable_layout_leaves_the_checks_unknown(laptop: Laptop) -> None:
    """Damaged on the disk: the checks are not known, and intact is not met."""
    laptop.verified()
    laptop.overwrite(sha256(LAYOUT))
    found = verdict(laptop)
    assert met(found)["checks-hold"] is None
    assert "the layout cannot be used" in words(found, "checks-hold")
    assert met(found)["unchanged-on-disk"] is False


def test_no_layout_is_said_and_held_against_it_only_where_the_rules_ask(laptop: Laptop) -> None:
    """Without a layout nothing is known of checks; the ship's rules may require one."""
    laptop.take(image(), image(), chip="T256")
    assert verdict(laptop).verified
    assert words(verdict(laptop), "checks-hold").startswith("no layout")
    put_rules(laptop, "layout = true")
    strict = verdict(laptop)
    assert met(strict) == dict.fromkeys(NAMES, True) | {"checks-hold": False}


def test_the_rules_may_ask_for_more_reads(laptop: Laptop) -> None:
    """Three reads where the owner says three."""
    laptop.verified()
    put_rules(laptop, "reads = 3")
    assert not verdict(laptop).verified
    laptop.take(image())
    assert verdict(laptop).verified


def test_rules_that_are_lost_are_not_taken_for_none(laptop: Laptop) -> None:
    """What the owner asked for is not known: the copy is not called verified."""
    laptop.verified()
    put_rules(laptop, "reads = 2")
    assert verdict(laptop).verified
    rules = laptop.position(WHERE).rules
    assert rules is not None
    laptop.overwrite(rules[0])
    found = verdict(laptop)
    assert not found.verified
    assert "the ship's rules on record cannot be read" in words(found, "unchanged-on-disk")


# --- blank: the trap in which plain sums and checks agree ---


@pytest.mark.parametrize("value", [0x00, 0xFF])
@pytest.mark.parametrize("method", ["sum-16", "crc-16/arc", "xor-8"])
def test_a_blank_chip_is_never_verified_though_its_checks_hold(
    laptop: Laptop, value: int, method: str
) -> None:
    """All 00 passes plain sums and CRC-16/ARC, all FF some: the image still fails, for good.

    CRC-16/ARC of any number of bytes 00 is 0000 (initial value 0, no final inversion:
    catalogue of parametrised CRC algorithms, crc-16/arc).
    """
    layout = b'[layout]\ntitle = "t"\nmemory = 256\nbyte-order = "big"\n[[check]]\nname = "sum"\n'
    layout += f'method = "{method}"\nover = [[0, 0x7F]]\nat = 0x80\n'.encode()
    data = bytes([value]) * MEMORY
    normal = [Normal(code=code, reason="it is new") for code in ("read-blank", "read-constant")]
    taken = laptop.take(data, data, layout=layout, chip="T256", normal=normal)
    answers = met(taken.verdict)
    assert answers["plausible"] is False
    assert not taken.verdict.verified
    assert f"every byte is {value:02X}" in words(taken.verdict, "plausible")
    if value == 0x00:
        assert answers == dict.fromkeys(NAMES, True) | {"plausible": False}


# --- what is normal for a memory ---


def test_a_finding_lifted_by_a_remark_stays_visible_with_its_name(laptop: Laptop) -> None:
    """A block mirrored is declared so: verified, and the words say who says it and why."""
    half = image()[:128]
    normal = [Normal(code="read-address-line", reason="mirrored by the maker")]
    taken = laptop.take(half + half, half + half, chip="T256", normal=normal)
    assert taken.verdict.verified
    text = words(taken.verdict, "plausible")
    assert "declared normal by A. Invented, mirrored by the maker: " in text
    assert "A7" in text


def test_nobody_lifts_a_finding(laptop: Laptop) -> None:
    """Without a person's name a finding declared normal still stands."""
    half = image()[:128]
    normal = [Normal(code="read-address-line", reason="so they say")]
    taken = laptop.take(half + half, half + half, chip="T256", normal=normal, by=None)
    assert met(taken.verdict)["plausible"] is False


def test_a_lost_name_does_not_stop_the_answer(laptop: Laptop) -> None:
    """The person's object is gone: the finding stays lifted, and says that the name is lost."""
    half = image()[:128]
    normal = [Normal(code="read-address-line", reason="mirrored")]
    by = laptop.take(half + half, half + half, normal=normal).copy.newest.by
    assert by is not None
    laptop.lose(by)
    assert f"a person with a lost name ({by[:8]})" in words(verdict(laptop), "plausible")


def test_what_the_layout_declares_normal_is_lifted_and_said(laptop: Laptop) -> None:
    """The layout says that the memory keeps its data twice."""
    half = image()[:128]
    layout = b'[layout]\ntitle = "t"\nmemory = 256\nbyte-order = "big"\nnormal = ["mirrored"]\n'
    taken = laptop.take(half + half, half + half, layout=layout)
    assert taken.verdict.verified
    assert "normal by the layout: " in words(taken.verdict, "plausible")


def test_a_declaration_for_one_position_lifts_nothing_at_another(laptop: Laptop) -> None:
    """Normal is for the memory that was named."""
    half = image()[:128]
    normal = [Normal(code="read-address-line", reason="mirrored")]
    laptop.take(half + half, half + half, normal=normal)
    other = laptop.take(
        half + half, half + half, where="grebe/starboard-thruster/U12", position_confirmed=True
    )
    assert met(other.verdict)["plausible"] is False


# --- made separately ---


def test_one_file_under_two_names_is_one_read(laptop: Laptop) -> None:
    """The same inode in one call: one read, and the answer says so."""
    first = incoming(image())
    again = same_file(first, name="COPY.BIN", path_mark=sha256(b"other"), modified=5)
    taken = laptop.take(first, again)
    assert met(taken.verdict)["read-twice"] is False
    assert words(taken.verdict, "read-twice").startswith("2 dumps count as 1 read")
    assert "--no-file-times" in words(taken.verdict, "read-twice")


@pytest.mark.parametrize("untimed", [False, True])
def test_one_path_given_twice_is_one_read_where_the_disk_has_no_inodes(
    laptop: Laptop, untimed: bool
) -> None:
    """The path is as good a sign in one call, whatever the file's time means."""
    first = same_file(incoming(image()), file_mark=None)
    taken = laptop.take(first, first, untimed=untimed)
    assert met(taken.verdict)["read-twice"] is False


def test_files_of_the_very_same_time_are_one_read_over_calls(laptop: Laptop) -> None:
    """A copy that kept its time, archived later, is no second read."""
    first = incoming(image(), modified=77)
    laptop.take(first)
    assert not laptop.take(incoming(image(), modified=77)).verdict.verified
    assert laptop.take(incoming(image(), modified=78)).verdict.verified


def test_the_same_file_read_anew_over_calls_is_a_second_read(laptop: Laptop) -> None:
    """The reader wrote over its own file: same path and inode, a later time."""
    first = incoming(image(), modified=77)
    laptop.take(first)
    assert laptop.take(same_file(first, modified=99)).verdict.verified


def test_a_reader_without_a_clock_is_the_engineers_word(laptop: Laptop) -> None:
    """With --no-file-times equal times mean nothing, and the record says whose word it is."""
    taken = laptop.take(
        incoming(image(), modified=77), incoming(image(), modified=77), untimed=True
    )
    assert taken.verdict.verified
    assert all(read.untimed and read.by for read in taken.copy.reads)


def test_one_read_links_others_that_look_apart(laptop: Laptop) -> None:
    """A and C are one file, B and C of one time, B and D one file: one read in all."""
    first = incoming(image(), modified=1)
    second = incoming(image(), modified=2)
    third = same_file(first, modified=2)
    fourth = same_file(second, modified=3)
    taken = laptop.take(first, second, third, fourth)
    assert met(taken.verdict)["read-twice"] is False


# --- volatile bytes, and reads that differ ---


def test_reads_equal_outside_live_bytes_agree(laptop: Laptop) -> None:
    """A clock moved between the reads: two reads, the later image is the copy."""
    taken = laptop.take(image(), image(1, {0x30: 0, 0x31: 7}), layout=LAYOUT, chip="T256")
    assert taken.verdict.verified
    assert len(laptop.position().copies) == 2


def test_without_the_layout_a_moving_clock_is_a_difference(laptop: Laptop) -> None:
    """Only a layout declares bytes live."""
    assert not laptop.take(image(), image(1, {0x30: 0, 0x31: 7})).verdict.verified


def test_a_second_read_that_differs_is_said_with_its_figures(laptop: Laptop) -> None:
    """Two reads of one day that do not agree: not verified, and by how much."""
    taken = laptop.take(image(), image(1, {0xA0: 0, 0xA1: 0}), layout=LAYOUT)
    text = words(taken.verdict, "stable")
    assert met(taken.verdict)["read-twice"] is False
    old = image()[0xA0:0xA2].hex().upper()
    assert "the reads of 2026-03-01 disagree in 2 bytes: " in text
    assert f"0x00A0 ({old[:2]} and 00), 0x00A1 ({old[2:]} and 00). No write" in text


def test_a_read_that_differs_is_unstable_also_where_two_others_agree(laptop: Laptop) -> None:
    """Two of three agree: read twice, and the chip read differently all the same."""
    taken = laptop.take(image(), image(1, {0xA0: 0}), image(1, {0xA0: 0}), layout=LAYOUT)
    assert met(taken.verdict) == dict.fromkeys(NAMES, True) | {"stable": False}
    assert taken.verdict.state == "unstable"


def test_a_chip_that_goes_back_to_an_image_is_not_verified(laptop: Laptop) -> None:
    """One image, twice another, and the first again: one more read of the first ends nothing."""
    other = image(1, {0xA0: image()[0xA0] ^ 0xFF})
    taken = laptop.take(image(), other, other, image(), layout=LAYOUT)
    assert "disagree 2 times in 1 byte: 0x00A0" in words(taken.verdict, "stable")
    assert met(laptop.take(image()).verdict)["stable"] is False


def test_only_the_live_bits_of_a_byte_may_differ(laptop: Laptop) -> None:
    """A flag is declared live: another bit of its byte is not."""
    base = image()[0x33]
    taken = laptop.take(image(), image(1, {0x33: base ^ 0x01}), layout=LAYOUT)
    assert taken.verdict.verified
    other = laptop.take(image(1, {0x33: base ^ 0x02}))
    assert met(other.verdict)["read-twice"] is False


def test_a_read_of_another_visit_that_differs_is_no_disagreement(laptop: Laptop) -> None:
    """What changed over months is a change, not a bad read."""
    laptop.take(image(), read_on="2026-01-10")
    taken = laptop.take(image(1, {0xA0: 0}), read_on="2026-06-10")
    assert "of the same day" not in words(taken.verdict, "read-twice")


def test_a_lost_include_of_the_layout_is_damage(laptop: Laptop) -> None:
    """A layout is its files together: the loss of one leaves the checks not known."""
    from parambak.keeping.recording.filing import TypedPosition
    from parambak.keeping.recording.received import LayoutFile, Request
    from parambak.keeping.recording.take_in import take_in
    from parambak.layouts.load import load

    part = b'[[check]]\nname = "sum"\nmethod = "sum-16"\nover = [[0, 0x7F]]\nat = 0x80\n'
    text = b'[layout]\ntitle = "t"\nmemory = 256\nbyte-order = "big"\ninclude = ["part.toml"]\n'
    layout = LayoutFile("l.toml", text, load(text, include=lambda _: part), {"part.toml": part})
    target = TypedPosition("grebe", "U12", "port-thruster")
    take_in(laptop.vault, Request(target, [incoming(image())], layout=layout), CHIPS)
    assert met(verdict(laptop))["unchanged-on-disk"] is True
    laptop.lose(sha256(part))
    assert met(verdict(laptop))["checks-hold"] is None
    assert sha256(part) in words(verdict(laptop), "unchanged-on-disk")


def test_a_finding_declared_normal_needs_words_that_can_be_kept(laptop: Laptop) -> None:
    """The reason is a text like any other: one without end is refused."""
    with pytest.raises(CallRefused) as refusal:
        laptop.take(image(), normal=[Normal(code="read-blank", reason="x" * 5000)])
    assert refusal.value.code == "text-length"
