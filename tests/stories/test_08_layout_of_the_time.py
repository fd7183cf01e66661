"""An older copy is decoded and compared by the layout that was attached when it was read."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.stories.small_unit import NEW_LAYOUT, OLD_LAYOUT, memory

if TYPE_CHECKING:
    from tests.stories.conftest import Laptop

BY = "--by 'A. Fitter'"
WHERE = "grebe/winch/U12"


def archive(laptop: Laptop, ramp: int, words: str = "") -> None:
    """Archive one read of the memory with this ramp."""
    laptop.dump("R.BIN", memory(ramp=ramp))
    laptop.yes(f"archive R.BIN --vessel grebe --unit winch --position U12 {BY} {words}")


@pytest.fixture
def winch(laptop: Laptop) -> Laptop:
    """Return a winch with two copies under the old layout, and one under the new."""
    laptop.write("OLD.toml", OLD_LAYOUT)
    laptop.write("NEW.toml", NEW_LAYOUT)
    archive(laptop, 150, "--layout OLD.toml")
    archive(laptop, 160)
    laptop.yes(f"layout attach {WHERE} NEW.toml {BY}")
    archive(laptop, 170)
    return laptop


def fields(document: dict[str, list[dict[str, str]]]) -> set[str]:
    """Return the names of the fields in an answer."""
    return {field["field"] for field in document["fields"]}


def test_decode_uses_the_layout_of_the_time(winch: Laptop) -> None:
    """It names the layout, and says that a newer one is attached; --layout goes first."""
    old = winch.json(f"decode {WHERE}@1")
    assert fields(old) == {"ramp_up_time"}
    assert (old["layout"]["name"], old["layout"]["newer"]) == ("OLD.toml", "NEW.toml")
    assert old["layout"]["attached_on"] == "2026-03-02"
    text = winch.yes(f"decode {WHERE}@1")
    assert "layout OLD.toml, attached on 2026-03-02" in text
    assert "A newer layout is attached: NEW.toml" in text
    new = winch.json(f"decode {WHERE}")
    assert fields(new) == {"start_ramp"}
    assert (new["layout"]["name"], new["layout"]["newer"]) == ("NEW.toml", None)
    assert "A newer layout" not in winch.yes(f"decode {WHERE}")
    named = winch.json(f"decode {WHERE}@1 --layout NEW.toml")
    assert fields(named) == {"start_ramp"}
    assert named["layout"] == {**new["layout"], "attached_on": None}


def test_diff_uses_the_layout_of_the_newer_copy(winch: Laptop) -> None:
    """Between two old copies the old one; over the change it says which copy had another."""
    old = winch.json(f"diff {WHERE}@1 {WHERE}@2", 1)
    assert fields(old) == {"ramp_up_time"}
    assert (old["layout"]["name"], old["layout"]["newer"]) == ("OLD.toml", "NEW.toml")
    text = winch.no(f"diff {WHERE}@1 {WHERE}@2")
    assert "A newer layout is attached: NEW.toml" in text
    assert "was read when" not in text
    over = winch.run(f"diff {WHERE}@1 {WHERE}@3")
    assert "start_ramp" in over.text
    assert "was read when OLD.toml was its layout" in over.text
    assert "--old-layout" in over.text
    assert winch.json(f"diff {WHERE}@1 {WHERE}@3", 1)["layout"]["name"] == "NEW.toml"
    assert "was read when" not in winch.no(f"diff {WHERE}@1 {WHERE}@3 --layout NEW.toml")


def test_values_are_compared_each_by_its_own_layout(winch: Laptop) -> None:
    """With --old-layout the answer names both."""
    values = winch.json(f"diff {WHERE}@1 {WHERE}@3 --old-layout OLD.toml", 1)
    assert values["old_layout"]["name"] == "OLD.toml"
    assert values["layout"]["name"] == "NEW.toml"
    text = winch.no(f"diff {WHERE}@1 {WHERE}@3 --old-layout OLD.toml")
    assert "old layout OLD.toml" in text
    assert "new layout NEW.toml" in text


def test_the_latest_copy_has_the_layout_attached_last(laptop: Laptop) -> None:
    """Also where it was read before; and a copy older than any layout has the first one."""
    laptop.write("OLD.toml", OLD_LAYOUT)
    laptop.write("NEW.toml", NEW_LAYOUT)
    archive(laptop, 150)
    archive(laptop, 160)
    laptop.refused(f"decode {WHERE}@1", "layout-needed")
    laptop.yes(f"layout attach {WHERE} OLD.toml {BY}")
    laptop.yes(f"layout attach {WHERE} NEW.toml {BY}")
    assert fields(laptop.json(f"decode {WHERE}@latest")) == {"start_ramp"}
    assert fields(laptop.json(f"decode {WHERE}@1")) == {"ramp_up_time"}
    assert laptop.json("diff R.BIN R.BIN")["layout"] is None
