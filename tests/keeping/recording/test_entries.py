"""Facts stated again: the causally later wins, two unaware of each other conflict."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from parambak.errors import CallRefused
from parambak.keeping.recording.entries import FACTS, correct
from parambak.keeping.state.facts import FactHistory, conflicts
from tests.keeping.conftest import WHERE, Laptop, image

if TYPE_CHECKING:
    from pathlib import Path

UNIT = "grebe/port-thruster"


def tell(laptop: Laptop, where: str, **facts: str) -> None:
    """Put facts on record."""
    correct(laptop.vault, where, facts, by="A. Invented", why="it was wrong")


def two_aware_of_one(tmp_path: Path) -> tuple[Laptop, Laptop]:
    """Return two laptops that hold one vault, before they part."""
    one = Laptop(tmp_path / "one")
    one.take(image())
    return one, one.copy_to(tmp_path / "two")


def test_a_correction_is_a_new_record_that_says_by_whom_and_why(laptop: Laptop) -> None:
    """Nothing is rewritten: every earlier file is there, byte for byte, and one more."""
    laptop.take(image())
    before = laptop.tree()
    tell(laptop, UNIT, maker_type="TC-4")
    after = laptop.tree()
    assert before.items() <= after.items()
    (vessel,) = laptop.fleet.vessels
    newest = laptop.vault.records(vessel.id)[-1].record
    assert newest.kind == "correct"
    assert newest.body["why"] == "it was wrong"
    assert newest.by is not None
    assert laptop.vault.person(newest.by) == "A. Invented"


def test_every_fact_of_everything_can_be_told(laptop: Laptop) -> None:
    """Vessel, unit, card, position and read: each fact of the table is found again."""
    laptop.take(image(), where="grebe/card:PC-1/U12")
    laptop.take(image(), position_confirmed=True)
    tell(laptop, "grebe", display="M/T Grebe", imo="IMO 1234567", other_number="H 17")
    tell(laptop, "grebe", former="wader")
    tell(laptop, UNIT, display="Port", maker_type="TC-4", serial="S-1", installed_in="bow")
    tell(laptop, "grebe/card:PC-1", card_type="TC-2", location="ashore")
    tell(laptop, WHERE, chip="T256")
    tell(laptop, f"{WHERE}@latest", read_on="2026-01-02", remark="seen")
    (vessel,) = laptop.fleet.vessels
    assert vessel.facts == {
        "short": "grebe",
        "display": "M/T Grebe",
        "imo": "1234567",
        "other_number": "H 17",
    }
    assert vessel.former == ("wader",)
    short = {"short": "port-thruster", "display": "Port"}
    assert vessel.units[0].facts == short | {
        "maker_type": "TC-4",
        "serial": "S-1",
        "installed_in": "bow",
    }
    assert vessel.cards[0].facts == {"serial": "PC-1", "card_type": "TC-2", "location": "ashore"}
    position = laptop.position()
    assert position.chip == "T256"
    assert (position.reads[0].read_on.isoformat(), position.reads[0].remark) == (
        "2026-01-02",
        "seen",
    )
    assert set(FACTS) == {"vessel", "unit", "card", "position", "read"}


def test_the_later_of_two_wins_whatever_the_clock_shows(laptop: Laptop) -> None:
    """Order is what each record knew of, not the time of day."""
    laptop.take(image())
    laptop.on("2026-06-10")
    tell(laptop, UNIT, serial="S-1")
    laptop.on("2020-01-01")
    tell(laptop, UNIT, serial="S-2")
    (unit,) = laptop.fleet.vessels[0].units
    assert (unit.facts["serial"], unit.conflicts) == ("S-2", ())


def test_two_unaware_of_each_other_conflict_until_a_third_settles_it(tmp_path: Path) -> None:
    """Both values are shown, the same on each laptop; a later record ends it."""
    one, other = two_aware_of_one(tmp_path)
    tell(one, UNIT, serial="S-1")
    tell(other, UNIT, serial="S-2")
    one.merge_from(other)
    other.merge_from(one)
    (unit,) = one.fleet.vessels[0].units
    (conflict,) = unit.conflicts
    assert (conflict.fact, set(conflict.values)) == ("serial", {"S-1", "S-2"})
    assert conflict.values[0] == unit.facts["serial"]
    assert one.fleet == other.fleet
    tell(one, UNIT, serial="S-3")
    (unit,) = one.fleet.vessels[0].units
    assert (unit.facts["serial"], unit.conflicts) == ("S-3", ())


def test_two_that_say_the_same_do_not_conflict(tmp_path: Path) -> None:
    """Nor does another case of the letters."""
    one, other = two_aware_of_one(tmp_path)
    tell(one, UNIT, serial="s-1", installed_in="bow")
    tell(other, UNIT, serial="S-1", installed_in="bow")
    one.merge_from(other)
    assert one.fleet.vessels[0].units[0].conflicts == ()


def test_one_who_knew_of_one_side_alone_settles_nothing(tmp_path: Path) -> None:
    """A later word on one laptop replaces its own, and still conflicts with the other's."""
    one, other = two_aware_of_one(tmp_path)
    tell(one, UNIT, serial="S-1")
    tell(one, UNIT, serial="S-9")
    tell(other, UNIT, serial="S-2")
    one.merge_from(other)
    (conflict,) = one.fleet.vessels[0].units[0].conflicts
    assert set(conflict.values) == {"S-9", "S-2"}


def test_conflicts_of_a_position_and_of_a_read_are_shown(tmp_path: Path) -> None:
    """A chip told twice and a day told twice stand with the position, the read named."""
    one, other = two_aware_of_one(tmp_path)
    for laptop, chip, day in ((one, "T256", "2026-01-01"), (other, "T512", "2026-01-02")):
        tell(laptop, WHERE, chip=chip)
        tell(laptop, f"{WHERE}@latest", read_on=day)
    one.merge_from(other)
    found = {conflict.fact: set(conflict.values) for conflict in one.position().conflicts}
    assert found == {
        "chip": {"T256", "T512"},
        "read_on": {"2026-01-01", "2026-01-02"},
    }


def test_former_names_told_on_two_laptops_are_both_kept(tmp_path: Path) -> None:
    """A list grows from both sides, and is no conflict."""
    one, other = two_aware_of_one(tmp_path)
    tell(one, "grebe", former="wader")
    tell(other, "grebe", former="diver")
    one.merge_from(other)
    (vessel,) = one.fleet.vessels
    assert set(vessel.former) == {"wader", "diver"}
    assert vessel.conflicts == ()


def test_two_renames_unaware_of_each_other_leave_both_names_usable(tmp_path: Path) -> None:
    """The one shown, and the others as former names."""
    one, other = two_aware_of_one(tmp_path)
    tell(one, "grebe", short="heron")
    tell(other, "grebe", short="stork")
    one.merge_from(other)
    (vessel,) = one.fleet.vessels
    assert {vessel.short, *vessel.former} == {"grebe", "heron", "stork"}
    assert [conflict.fact for conflict in vessel.conflicts] == ["short"]


def test_an_older_name_is_a_former_one_of_units_and_positions(laptop: Laptop) -> None:
    """And today's is none."""
    laptop.take(image())
    (unit,) = laptop.fleet.vessels[0].units
    assert (unit.former, unit.positions[0].former) == ((), ())
    tell(laptop, UNIT, short="pt-bow")
    tell(laptop, "grebe/pt-bow/U12", short="U13")
    (unit,) = laptop.fleet.vessels[0].units
    assert (unit.former, unit.positions[0].former) == (("port-thruster",), ("U12",))


def test_of_two_facts_that_were_corrected_each_keeps_its_order(laptop: Laptop) -> None:
    """One corrected once, the other twice: the last counts, and nothing is in conflict."""
    laptop.take(image())
    tell(laptop, "grebe", short="heron")
    for name in ("M/T Grey", "M/T Heron"):
        tell(laptop, "heron", display=name)
    (vessel,) = laptop.fleet.vessels
    assert (vessel.short, vessel.facts["display"]) == ("heron", "M/T Heron")
    assert vessel.conflicts == ()


def test_a_rename_and_back_keeps_no_false_former_name(laptop: Laptop) -> None:
    """The name in use is never among the former ones."""
    laptop.take(image())
    tell(laptop, "grebe", short="heron")
    tell(laptop, "heron", short="grebe")
    (vessel,) = laptop.fleet.vessels
    assert (vessel.short, vessel.former) == ("grebe", ("heron",))


def test_an_empty_fact_takes_it_back(laptop: Laptop) -> None:
    """What was stated wrongly and is not known is stated as nothing."""
    laptop.take(image())
    tell(laptop, UNIT, serial="S-1")
    tell(laptop, UNIT, serial="")
    assert "serial" not in laptop.fleet.vessels[0].units[0].facts


def test_a_wrong_imo_digit_warns_and_is_kept(laptop: Laptop) -> None:
    """Some ships carry such a number; anything but seven digits is refused."""
    laptop.take(image())
    said, warnings, *_ = correct(laptop.vault, "grebe", {"imo": "1234568"}, by=None, why=None)
    assert said == "vessel grebe"
    assert "last digit" in warnings[0]
    assert laptop.fleet.vessels[0].facts["imo"] == "1234568"
    with pytest.raises(CallRefused) as refusal:
        correct(laptop.vault, "grebe", {"imo": "123456"}, by=None, why=None)
    assert refusal.value.code == "imo-shape"


@pytest.mark.parametrize(
    ("where", "facts", "code"),
    [
        ("grebe", {}, "correct-nothing"),
        ("grebe", {"chip": "T256"}, "correct-fact"),
        (WHERE, {"serial": "x"}, "correct-fact"),
        (f"{WHERE}@latest", {"chip": "T256"}, "correct-fact"),
        ("grebe/card:PC-1", {"location": "at home"}, "correct-location"),
        (UNIT, {"display": "a\x1b[2J"}, "text-character"),
        (UNIT, {"display": "\u202egrebe"}, "text-character"),
        (UNIT, {"display": "\ud800"}, "text-character"),
        (UNIT, {"display": "\0"}, "text-character"),
        (UNIT, {"display": "x" * 10_000}, "text-length"),
        ("nowhere", {"display": "x"}, "where-vessel"),
        (f"{WHERE}@9", {"remark": "x"}, "copy-none"),
    ],
)
def test_what_cannot_be_told_is_refused_and_nothing_is_written(
    laptop: Laptop, where: str, facts: dict[str, str], code: str
) -> None:
    """Its code, what was expected and found, and a next step; the tree is as before."""
    from parambak.errors import ParambakError

    laptop.take(image())
    laptop.take(image(), where="grebe/card:PC-1/U12", position_confirmed=True)
    before = laptop.tree()
    with pytest.raises(ParambakError) as refusal:
        correct(laptop.vault, where, facts, by=None, why=None)
    assert refusal.value.code == code
    assert refusal.value.next
    assert laptop.tree() == before


def test_ordinary_text_of_any_script_is_kept(laptop: Laptop) -> None:
    """Letters of any language, accents, line feeds in a remark, a no-break space."""
    laptop.take(image())
    # Russian, German, Japanese and Persian, the last with its joiner.
    text = "Бакборт\u00a0№ 2, gewässert\n左舷 ひだり می\u200cخواهم"  # noqa: RUF001 - letters of other scripts are the point
    tell(laptop, f"{WHERE}@latest", remark=text)
    assert laptop.latest().newest.remark == text


def test_a_fact_book_follows_what_records_knew_of() -> None:
    """Told by hand: c knew a, d knew b and c; of e nothing is known."""
    history = FactHistory({"a": [], "b": [], "c": ["a"], "d": ["b", "c"]})
    history.add("x", {"name": "1"}, "a")
    history.add("x", {"name": "2"}, "b")
    assert set(history.current("x")["name"]) == {"1", "2"}
    history.add("x", {"name": "3"}, "c")
    assert set(history.current("x")["name"]) == {"2", "3"}
    (conflict,) = conflicts(history.current("x"), "grebe")
    assert (conflict.fact, set(conflict.values), conflict.where) == ("name", {"2", "3"}, "grebe")
    history.add("x", {"name": "4"}, "d")
    assert history.current("x") == {"name": ("4",)}
    assert history.earlier("x", "name") == ("1", "2", "3")
    assert history.texts("e") == {}
