"""A kind of record is one class: every list of kinds derives from it, none can be forgotten."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

import pytest

from parambak.keeping.state import bodies
from parambak.keeping.state.bodies import KINDS, Body, Entity, kinds, of_kind
from parambak.keeping.state.losses import body_fault
from tests.keeping.conftest import image

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.keeping.conftest import Laptop

CARD, OTHER_SHIP = "c" * 32, "d" * 32


class InventedBody(Body, frozen=True):
    """kind "invented": what a later version may bring."""

    kind: ClassVar[str] = "invented"
    text: str
    new: tuple[Entity, ...] = ()


@pytest.fixture(autouse=True)
def _invented(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Add the invented kind as the program would, by its class alone."""
    assert "invented" not in KINDS
    monkeypatch.setattr(bodies, "KINDS", kinds())
    yield
    assert "invented" not in KINDS


def write(laptop: Laptop, vessel: str, body: dict[str, Any]) -> None:
    """Put a record of the invented kind on record."""
    with laptop.vault.writing() as writing:
        writing.add(InventedBody.kind, vessel, body)


def test_the_list_of_kinds_is_that_of_the_classes() -> None:
    """Each class with a kind is in it, once; what stands within a body is not."""
    assert bodies.KINDS["invented"] is InventedBody
    classes = [body for body in Body.__subclasses__() if body.kind]
    assert len(bodies.KINDS) == len(classes) == len(KINDS) + 1
    assert all(bodies.KINDS[body.kind] is body for body in classes)
    assert "" not in bodies.KINDS
    assert bodies.Entity not in bodies.KINDS.values()


def test_what_it_brings_in_is_aboard(laptop: Laptop) -> None:
    """A card and a vessel under its member `new` are in the fleet, with their facts."""
    laptop.take(image())
    (vessel,) = laptop.fleet.vessels
    card = Entity(what="card", id=CARD, facts={"serial": "PC-7"}, inside=vessel.id)
    write(laptop, vessel.id, InventedBody(text="a", new=(card,)).members())
    ship = Entity(what="vessel", id=OTHER_SHIP, facts={"short": "stint"})
    write(laptop, OTHER_SHIP, InventedBody(text="b", new=(ship,)).members())
    grebe, stint = laptop.fleet.vessels
    assert [each.serial for each in grebe.cards] == ["PC-7"]
    assert (stint.short, stint.id) == ("stint", OTHER_SHIP)


def test_one_of_another_shape_is_damage(laptop: Laptop) -> None:
    """The fleet names its file, and so does what recheck asks; a sound one is not named."""
    laptop.take(image())
    (vessel,) = laptop.fleet.vessels
    write(laptop, vessel.id, {"text": "sound"})
    assert not laptop.fleet.damaged
    write(laptop, vessel.id, {"text": 5})
    stored = laptop.vault.records(vessel.id)[-1]
    file, reason = laptop.fleet.damaged[0]
    assert len(laptop.fleet.damaged) == 1
    assert file == stored.file
    assert "kind" in reason
    assert body_fault(stored.record, stored.digest) == reason
    records = laptop.vault.records(vessel.id)
    assert [body.text for _, body in of_kind(records, InventedBody)] == ["sound"]
