"""What an answer states is true of what it shows, and leads to the right next step."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.stories.small_unit import OLD_LAYOUT, memory

if TYPE_CHECKING:
    from tests.stories.conftest import Laptop

BY = "--by 'A. Fitter'"
WHERE = "grebe/winch/U12"
AT = "--vessel grebe --unit winch --position U12"


def archived(laptop: Laptop, *words: str) -> None:
    """Archive two reads of one chip."""
    names = [laptop.dump(name, memory(1)) for name in ("R1.BIN", "R2.BIN")]
    laptop.run(f"archive {' '.join(names)} {' '.join(words) or AT} {BY}")


def test_the_catalogue_states_which_checks_were_calculated(laptop: Laptop) -> None:
    """None without a layout; where only some have one, it says so."""
    archived(laptop)
    assert "Without a layout no stored check is calculated." in laptop.yes("catalogue")
    laptop.write("winch.toml", OLD_LAYOUT)
    elsewhere = "--vessel grebe --unit crane --position U7 --layout winch.toml --position-confirmed"
    archived(laptop, elsewhere)
    assert "hold wherever there is a layout" in laptop.yes("catalogue")
    laptop.yes(f"layout attach {WHERE} winch.toml {BY}")
    assert "Separate reads agree. The stored checks hold." in laptop.yes("catalogue")


def test_an_exported_copy_comes_with_its_verdict(laptop: Laptop) -> None:
    """A file of a copy that is not verified is never mistaken for one that is."""
    laptop.run(f"archive {laptop.dump('R1.BIN', memory(1))} {AT} {BY}")
    export = f"export {WHERE} --as raw --out OUT.BIN --replace"
    assert "The copy is NOT VERIFIED: read-twice." in laptop.yes(export)
    assert (laptop.json(export)["verified"], laptop.json(export)["unmet"]) == (
        False,
        ["read-twice"],
    )
    laptop.run(f"archive {laptop.dump('R2.BIN', memory(1))} {AT} {BY}")
    assert "NOT VERIFIED" not in laptop.yes(export)
    assert laptop.json("export R1.BIN --as raw --out OUT2.BIN")["verified"] is None


def test_nobody_is_asked_about_bytes_in_another_order(laptop: Laptop) -> None:
    """The reader was set to another word order: no value was changed."""
    archived(laptop)
    data = memory(1)
    swapped = bytes(data[at ^ 1] for at in range(len(data)))
    text = laptop.no(f"diff {WHERE} {laptop.dump('SWAPPED.BIN', swapped)}")
    assert "Check the word order and the device selected on the reader" in text
    assert "Ask who changed it" not in text
    changed = laptop.no(f"diff {WHERE} {laptop.dump('OTHER.BIN', memory(1, ramp=160))}")
    assert "Ask who changed it" in changed
