"""How fast layouts are loaded and images decoded: every figure a ratio within one run.

    python benchmarks/layouts.py            the figures; exit 1 if a target is missed
    python benchmarks/layouts.py --quick    fewer rounds, to see that it runs

Decoding is measured against the construct library on the same invented memory: 64 KiB with
4,000 fields, exact scaling, limits and named values. Its adapters give a Decimal, whether it
is inside its limits, and a name by Enum; they write no text of the decimals, which ours does.
Its bare parse gives raw numbers alone. Loading is measured against `tomllib` on the same text.

The actions of a comparison take turns in this one process, and the shortest time of each
counts: what else the machine does only ever adds.
"""

from __future__ import annotations

import gc
import random
import sys
import time
import tomllib
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

import construct

from parambak.layouts.decode import decode
from parambak.layouts.load import load
from parambak.memory.image import Image

if TYPE_CHECKING:
    from collections.abc import Callable

MEMORY = 64 * 1024
BLOCK = 256
ROUNDS, QUICK_ROUNDS = 60, 8
NAMES = ("off", "on", "automatic", "test")


class Kind(NamedTuple):
    """One kind of field: its type, its keys in a layout, and the limits in its unit."""

    type: str
    scale: str | None = None
    offset: str | None = None
    limits: tuple[str, str] | None = None
    named: bool = False


TIME = Kind("u16", scale="0.1", limits=("2.0", "6000.0"))
SPEED = Kind("u16", limits=("300", "60000"))
HEAT = Kind("s16", scale="0.5", offset="-40", limits=("-40.0", "12000.0"))
HOURS = Kind("u32", scale="0.01", limits=("0.00", "40000000.00"))
MODE = Kind("u8", named=True)
TEETH = Kind("u8", limits=("20", "120"))
# A block of sixteen fields, as a channel of an invented controller has them.
FIELDS = (TIME, TIME, SPEED, MODE, TIME, HEAT, TEETH, MODE) * 2
FIELDS = (*FIELDS[:15], HOURS)
SIZES = {"u8": 1, "u16": 2, "s16": 2, "u32": 4}


def layout_text(count: int) -> bytes:
    """Return a layout of `count` fields, in blocks of sixteen at every 256 bytes."""
    memory = MEMORY * max(1, count // 4000)
    parts = [f'[layout]\ntitle = "invented"\nmemory = {memory}\nbyte-order = "big"\n']
    for index in range(count):
        block, place = divmod(index, len(FIELDS))
        kind = FIELDS[place]
        at = block * BLOCK + sum(SIZES[each.type] for each in FIELDS[:place])
        lines = [f'[[field]]\nname = "parameter_{index}"\nat = 0x{at:04X}\ntype = "{kind.type}"']
        if kind.named:
            words = ", ".join(f'{number} = "{name}"' for number, name in enumerate(NAMES))
            lines.append(f"values = {{ {words} }}")
        else:
            lines.append('unit = "s"')
        lines += [f"scale = {kind.scale}"] if kind.scale else []
        lines += [f"offset = {kind.offset}"] if kind.offset else []
        lines += [f"low = {kind.limits[0]}\nhigh = {kind.limits[1]}"] if kind.limits else []
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts).encode()


def memory_image() -> bytes:
    """Return the invented memory: random numbers, named values among those that have names."""
    maker = random.Random(5)
    data = bytearray(maker.randbytes(MEMORY))
    for block in range(MEMORY // BLOCK):
        at = block * BLOCK
        for kind in FIELDS:
            if kind.named:
                data[at] %= len(NAMES)
            at += SIZES[kind.type]
    return bytes(data)


class Judged(construct.Adapter):  # type: ignore[misc]  # the library has no types
    """A scaled number of the peer: its Decimal, and whether it is inside its limits."""

    def __init__(self, inner: Any, kind: Kind) -> None:
        """Keep scale, offset and limits as Decimals, so that none is made in parsing."""
        super().__init__(inner)
        self.scale, self.offset = Decimal(kind.scale or 1), Decimal(kind.offset or 0)
        low, high = kind.limits or ("0", "0")
        self.low, self.high = Decimal(low), Decimal(high)

    def _decode(self, obj: int, context: Any, path: Any) -> tuple[Decimal, bool]:  # noqa: ARG002 - the library's shape
        value = obj * self.scale + self.offset
        return value, self.low <= value <= self.high


class Whole(Judged):
    """A whole number of the peer that needs no Decimal, and whether it is inside its limits."""

    def _decode(self, obj: int, context: Any, path: Any) -> tuple[int, bool]:  # type: ignore[override]  # noqa: ARG002 - the library's shape
        return obj, self.low <= obj <= self.high


def peer(count: int, *, bare: bool) -> Any:
    """Return the construct of the same fields; `bare` gives raw numbers alone."""
    types = {
        "u8": construct.Int8ub,
        "u16": construct.Int16ub,
        "s16": construct.Int16sb,
        "u32": construct.Int32ub,
    }
    made = []
    for index in range(count):
        kind = FIELDS[index % len(FIELDS)]
        each = types[kind.type]
        if not bare and kind.named:
            each = construct.Enum(each, **{name: number for number, name in enumerate(NAMES)})
        elif not bare:
            each = (Judged if kind.scale else Whole)(each, kind)
        made.append(f"parameter_{index}" / each)
        if index % len(FIELDS) == len(FIELDS) - 1:
            made.append(construct.Padding(BLOCK - sum(SIZES[every.type] for every in FIELDS)))
    return construct.Struct(*made)


def shortest(actions: list[Callable[[], object]], rounds: int) -> list[float]:
    """Return the shortest time of each action, all of them taking turns, in seconds."""
    times = [float("inf")] * len(actions)
    for _ in range(rounds):
        for index, action in enumerate(actions):
            gc.collect()
            begun = time.perf_counter()
            action()
            times[index] = min(times[index], time.perf_counter() - begun)
    return times


def decoding(rounds: int) -> list[tuple[str, float, float]]:
    """Return the two ratios of decoding: title, ratio, target."""
    layout, data = load(layout_text(4000)), memory_image()
    image = Image.of(data)
    full, bare = peer(4000, bare=False), peer(4000, bare=True)
    decode(layout, image)  # the plan is worked out once a layout
    ours, theirs, raw = shortest(
        [lambda: decode(layout, image), lambda: full.parse(data), lambda: bare.parse(data)], rounds
    )
    print(
        f"4,000 fields: ours {ours * 1e3:.2f} ms, construct {theirs * 1e3:.2f} ms, "
        f"its bare parse {raw * 1e3:.2f} ms"
    )
    return [
        ("decode, against construct with adapters", ours / theirs, 0.7),
        ("decode, against its bare parse", ours / raw, 2.0),
    ]


def loading(rounds: int) -> list[tuple[str, float, float]]:
    """Return the two ratios of loading: title, ratio, target."""
    once, twice = layout_text(4000), layout_text(8000)
    text, longer = once.decode(), twice.decode()
    toml, toml_twice, ours, more = shortest(
        [
            lambda: tomllib.loads(text),
            lambda: tomllib.loads(longer),
            lambda: load(once),
            lambda: load(twice),
        ],
        rounds,
    )
    print(
        f"loading: tomllib {toml * 1e3:.0f} ms, ours {ours * 1e3:.0f} ms, "
        f"twice the fields {more * 1e3:.0f} ms (tomllib takes {toml_twice / toml:.2f} times)"
    )
    return [
        ("load and check, against tomllib alone", ours / toml, 5.0),
        ("twice the fields, against once", more / ours, 2.2),
    ]


def main(arguments: list[str]) -> int:
    """Print the table; return 1 if a target is missed, but never with `--quick`."""
    quick = arguments == ["--quick"]
    rounds = QUICK_ROUNDS if quick else ROUNDS
    missed = 0
    rows = [*decoding(rounds), *loading(max(3, rounds // 4))]
    print(f"{'times':<44}{'ratio':>7}{'target':>8}")
    for title, value, target in rows:
        missed += value > target
        print(f"{title:<44}{value:>7.2f}{target:>8.1f}{'' if value <= target else '  missed'}")
    return 1 if missed and not quick else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
