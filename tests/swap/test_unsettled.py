"""Nothing is done in a swap while a record about its vessel is lost."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from parambak.errors import VaultDamaged
from parambak.keeping.state.unsettled import LostRecord, Unsettled
from parambak.swap.unsettled import refuse_unsettled
from tests.keeping.conftest import WHERE


def test_a_lost_record_about_the_vessel_stops_every_step() -> None:
    """The first file is named, and how each of the first three is lost."""
    lost = tuple(LostRecord(f"{number:064x}", "is missing") for number in range(4))
    position: Any = SimpleNamespace(where=WHERE, unsettled=Unsettled(lost))
    vessel: Any = SimpleNamespace(cards=())
    with pytest.raises(VaultDamaged) as refusal:
        refuse_unsettled(vessel, position, None)
    assert refusal.value.code == "swap-records-lost"
    assert refusal.value.file == lost[0].file
    assert refusal.value.expected == "every record about the vessel"
    assert refusal.value.found == "; ".join(f"{record.file} is missing" for record in lost[:3])
    position.unsettled = Unsettled()
    refuse_unsettled(vessel, position, None)
