"""The whole search: values and images in, candidates and checks out."""

from __future__ import annotations

from math import log2
from typing import TYPE_CHECKING, NamedTuple

from parambak.layouts.find import faults
from parambak.layouts.find.chance import Chance
from parambak.layouts.find.encodings import forms
from parambak.layouts.find.ground import Ground
from parambak.layouts.find.hits import Grounds, hits
from parambak.layouts.find.ranking import Ranked, rank
from parambak.layouts.find.twins import twins

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.layouts.find.wanted import Wanted
    from parambak.memory.image import Image

CONFIDENT = 0.995
CLEARLY = 30.0
SHOWN = 5


class Found(NamedTuple):
    wanted: Wanted
    confident: bool
    ranked: tuple[Ranked, ...]
    also: dict


def search(wanted: Sequence[Wanted], images: Sequence[Image]):
    ground = Ground.of(images)
    if not ground.size:
        raise faults.NO_BYTES.at(expected="bytes at the same addresses", found="none")
    changes = ground.changes()
    near = ground.around(changes)
    if near.size * 2 > ground.size:
        near = ground
    grounds = Grounds(ground, near, Chance(ground, changes))
    every = []
    alsos = []
    for each in wanted:
        found, crowded = hits(grounds, each, forms(each))
        found, also = twins(ground, grounds.chance, found)
        every.append(found); alsos.append(also)
    ranked = rank(wanted, every, ground.size)
    out = []
    for each, r, also in zip(wanted, ranked, alsos):
        conf = bool(r) and r[0].belief >= CONFIDENT and (len(r) < 2 or r[0].belief > CLEARLY * r[1].belief)
        out.append(Found(each, conf, tuple(r[:SHOWN]), also))
    return out
