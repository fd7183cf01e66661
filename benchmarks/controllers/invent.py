"""Invented controllers: memories with layouts of their own, read at two visits.

Parameter tables, records with their limits, tables of rows, texts, blanks, code, logs
that go on, a block mirrored, a check: all drawn from a seed. Nothing here is taken
from a real controller.
"""

from __future__ import annotations

import random
from fractions import Fraction
from typing import NamedTuple

from parambak.layouts.check_methods import compute
from parambak.layouts.decimals import with_point
from parambak.layouts.field_types import TYPES
from parambak.layouts.model import Check, Field

KIB = 1024
KNOWN = 20
OTHERS = 10_000_000


class Stored(NamedTuple):
    """One field of an invented controller, and what its panel shows at both visits."""

    name: str
    at: int
    type: str
    length: int
    order: str
    shown: tuple[str, str]
    unit: str
    twin: int | None


class Controller(NamedTuple):
    """Two visits' memories, the list of values, and where each of them is."""

    images: tuple[bytes, bytes]
    values: str
    truth: dict[str, Stored | None]
    check: tuple[str, int] | None


FINER, HALVES = 1, 2
"""Units stored with one digit more than is shown, and in steps of a half."""

# Quantities: unit, digits after the point, usual lowest and highest in last digits.
QUANTITIES = [
    ("s", 1, 2, 900), ("ms", 0, 10, 9000), ("bar", 2, 20, 4000), ("bar", 1, 5, 2500),
    ("degC", 1, -400, 1500), ("degC", 0, -40, 180), ("rpm", 0, 30, 3600), ("%", 1, 0, 1000),
    ("%", 0, 0, 100), ("V", 1, 0, 5000), ("A", 1, 0, 9000), ("A", 2, 0, 30000), ("kN", 0, 0, 900),
    ("Hz", 2, 4000, 6500), ("m", 2, 0, 30000), ("h", 0, 0, 90000), ("kW", 0, 0, 5000),
    ("mA", 2, 0, 2100), ("", 0, 0, 255), ("", 3, 1, 9000), ("l/min", 0, 0, 2500),
]  # fmt: skip
NOUNS = [
    "ramp", "pump", "valve", "thruster", "pitch", "winch", "drum", "brake",
    "clutch", "cooler", "filter", "tank", "bearing", "feed", "supply", "alarm",
    "trip", "start", "stop", "standby", "boost",
]  # fmt: skip
SORTS = ["time", "limit", "delay", "gain", "offset", "span", "setpoint", "threshold", "rate",
         "band", "level", "speed"]  # fmt: skip
FLOATS = ["f32", "f32", "f32", "f32", "mbf32", "ibm32", "f64", "ffp32", "mbf40"]
CHECKS = ["crc-16/ibm-3740", "crc-16/modbus", "crc-16/xmodem", "sum-16", "sum-8", "xor-8",
          "crc-32/iso-hdlc", "sum-16-twos-complement", "crc-16/kermit", "crc-8/smbus"]  # fmt: skip


class Maker:
    """Invents one controller; everything comes from the seed."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.chance = random.Random(seed)
        chance = self.chance
        self.size = chance.choice([2, 4, 8, 16, 32, 64]) * KIB
        self.blank = chance.choice([0xFF, 0xFF, 0x00])
        self.order = chance.choice(["big", "little"])
        self.mixed = chance.random() < 0.1
        self.aligned = chance.choice([1, 1, 2, 2, 4])
        self.style = chance.choice(["whole", "whole", "whole", "float", "bcd", "mixed", "mixed"])
        self.float = chance.choice(FLOATS)
        self.changing = chance.choice([0.3, 0.6, 0.8])
        self.scales = {unit: chance.choice([0, 0, 0, 0, 0, 1, 2]) for unit, *_ in QUANTITIES}
        self.old = bytearray([self.blank]) * self.size
        self.new = bytearray([self.blank]) * self.size
        self.fields: list[Stored] = []
        self.names: set[str] = set()
        self.tables: list[list[Stored]] = []
        self.groups: list[list[list[Stored]]] = []

    def name(self) -> str:
        """Return a name not used yet."""
        while True:
            made = f"{self.chance.choice(NOUNS)}_{self.chance.choice(SORTS)}"
            if self.chance.random() < 0.5:
                made = f"{self.chance.choice(NOUNS)}_{made}"
            if made not in self.names:
                self.names.add(made)
                return made

    def kind(self) -> tuple[str, int]:
        """Return a type and length of the controller's own style."""
        chance = self.chance
        whole = chance.choices(["u8", "u16", "s16", "u32", "s32", "u24"], [3, 8, 4, 2, 1, 0.3])[0]
        if self.style == "float" or (self.style == "mixed" and chance.random() < 0.4):
            kind = self.float if chance.random() < 0.8 else whole
        elif self.style == "bcd" and chance.random() < 0.8:
            return "bcd", chance.choice([1, 2, 2, 2, 3, 4])
        else:
            kind = whole
        lengths = {"mbf32": 4, "ibm32": 4, "ffp32": 4, "mbf40": 5}
        return kind, lengths.get(kind) or int(kind[1:]) // 8

    def value(
        self, kind: str, length: int, quantity: tuple[str, int, int, int], before: str | None = None
    ) -> tuple[bytes, str, str] | None:
        """Return stored bytes, what is shown and the byte order; None if it does not fit."""
        chance = self.chance
        unit, digits, low, high = quantity
        order = self.order
        if self.mixed and chance.random() < 0.1:
            order = "little" if order == "big" else "big"
        last = chance.randint(low, high)
        if chance.random() < 0.5:
            last = round(last, -1 if abs(last) < 1000 else -2)
        if before is not None and chance.random() < 0.3:  # a small adjustment
            last = int(before.replace(".", "")) + chance.choice([-10, -5, -1, 1, 2, 5, 10])
        extra = self.scales[unit]
        whole = kind[0] in "us" or kind == "bcd"
        if kind[0] in "us" and extra == HALVES and digits:
            last -= last % (10**digits // 2)
        number = Fraction(last, 10**digits)
        field = Field(name="x", at=0, type=TYPES[kind], length=length)
        write = field.codec(order).write  # type: ignore[arg-type]
        if kind[0] in "us" and extra == HALVES and digits:
            stored = write(number * 2)
        elif whole and extra == FINER and length > 1 and kind != "bcd":
            hidden = chance.randint(-4, 4) if chance.random() < 0.3 else 0
            stored = write(last * 10 + hidden)
        elif whole:
            stored = write(last)
        else:
            off = Fraction(chance.randint(-45, 45), 100 * 10**digits)
            stored = write(number + (off if chance.random() < 0.3 else 0))
        shown = with_point(last, digits)
        return None if stored is None else (stored, shown, order)

    def put(self, at: int, name: str, kind: tuple[str, int], quantity: tuple[str, int, int, int],
            changing: float) -> Stored | None:  # fmt: skip
        """Store a field at both visits."""
        first = self.value(*kind, quantity)
        if first is None:
            return None
        raw, shown, order = first
        raw_after, shown_after = raw, shown
        if self.chance.random() < changing:
            for _ in range(5):
                again = self.value(*kind, quantity, shown)
                if again and again[1] != shown and again[2] == order:
                    raw_after, shown_after = again[0], again[1]
                    break
        self.old[at : at + kind[1]] = raw
        self.new[at : at + kind[1]] = raw_after
        made = Stored(name, at, kind[0], kind[1], order, (shown, shown_after), quantity[0], None)
        self.fields.append(made)
        return made

    def fit(self) -> tuple[tuple[str, int], tuple[str, int, int, int]]:
        """Return a type and a quantity that go together."""
        while True:
            kind, quantity = self.kind(), self.chance.choice(QUANTITIES)
            most = 256 ** kind[1] if kind[0] != "bcd" else 100 ** kind[1]
            if kind[0][0] == "s":
                most //= 2
            whole = kind[0][0] in "us" or kind[0] == "bcd"
            top = quantity[3] * (10 if self.scales[quantity[0]] == 1 and kind[1] > 1 else 1)
            signed = kind[0][0] not in "ub"
            if not whole or (top < most and (signed or quantity[2] >= 0)):
                return kind, quantity

    def table(self, at: int, room: int) -> int:
        """Write parameters one behind the other, or records of value, low, high and default."""
        chance = self.chance
        records = chance.random() < 0.25
        made: list[Stored] = []
        start = at
        for _ in range(chance.randint(10, 100)):
            kind, quantity = self.fit()
            at += -at % min(self.aligned, kind[1] if kind[1] in (1, 2, 4) else 1)
            count = 4 if records else 1
            if at + kind[1] * count > start + room:
                break
            stored = self.put(at, self.name(), kind, quantity, self.changing)
            if stored is None:
                continue
            made.append(stored)
            at += kind[1]
            if records:
                value = bytes(self.old[stored.at : stored.at + kind[1]])
                other = self.value(*kind, quantity)
                lowest = self.value(*kind, (*quantity[:2], quantity[2], quantity[2]))
                low = lowest[0] if lowest else bytes(kind[1])
                for data in (self.old, self.new):
                    high = other[0] if other else value
                    data[at : at + 3 * kind[1]] = low + high + value
                at += 3 * kind[1]
        self.tables.append(made)
        return at

    def group(self, at: int, room: int) -> int:
        """Write a table of rows."""
        chance = self.chance
        columns = [(self.fit(), chance.choice(SORTS)) for _ in range(chance.randint(2, 5))]
        noun = self.name()
        width, offsets = 0, []
        for (kind, _), _sort in columns:
            width += -width % min(self.aligned, kind[1] if kind[1] in (1, 2, 4) else 1)
            offsets.append(width)
            width += kind[1]
        step = chance.choice(
            [width, width + -width % 4, width + -width % 8, 1 << width.bit_length()]
        )
        defaults = chance.random() < 0.4
        rows: list[list[Stored]] = []
        for row in range(min(chance.randint(4, 32), room // step)):
            cells: list[Stored] = []
            for number, ((kind, quantity), sort) in enumerate(columns):
                name = f"{noun}_{row + 1}_{sort}_{'abcde'[number]}"
                place = at + row * step + offsets[number]
                if (
                    defaults
                    and rows
                    and chance.random() < 0.6
                    and self.like(rows[0], cells, at + offsets[number], place, name)
                ):
                    continue
                cell = self.put(place, name, kind, quantity, self.changing)
                if cell:
                    cells.append(cell)
            if cells:
                rows.append(cells)
        self.groups.append(rows)
        return at + len(rows) * step

    def like(self, row: list[Stored], cells: list[Stored], at: int, place: int, name: str) -> bool:
        """Repeat the first row's cell if it did not change; return whether it was done."""
        for cell in row:
            if cell.at == at and cell.shown[0] == cell.shown[1]:
                for data in (self.old, self.new):
                    data[place : place + cell.length] = data[at : at + cell.length]
                cells.append(cell._replace(name=name, at=place))
                self.fields.append(cells[-1])
                return True
        return False

    def texts(self, at: int) -> int:
        """Write a name, a type and a serial number as text."""
        chance = self.chance
        words = ["GREBE", "AVOCET", "THRUSTER PORT", "WINCH AFT", "CTRL-7", "V2.14b", "A-00417"]
        pad = chance.choice([b" ", b"\x00", b"\xff"])
        for _ in range(chance.randint(1, 4)):
            shown, length = chance.choice(words), chance.choice([16, 20, 24])
            text = shown.encode().ljust(length, pad)
            self.old[at : at + length] = self.new[at : at + length] = text
            made = Stored(self.name(), at, "text", len(shown), "big", (shown, shown), "", None)
            self.fields.append(made)
            self.tables[-1:] = [[*(self.tables[-1] if self.tables else []), made]]
            at += length
        return at

    def junk(self, at: int, room: int) -> int:
        """Write bytes without a meaning: code, a log that grows, worn cells, tables of sines."""
        chance = self.chance
        length = min(room, chance.choice([64, 256, 1024, 4096]))
        sort = chance.choice(["code", "log", "random", "curve", "zeros"])
        if sort == "random":
            data = chance.randbytes(length)
        elif sort == "zeros":
            data = bytes(length)
        elif sort == "curve":
            data = b"".join((i * i // 7 % 4096).to_bytes(2, self.order) for i in range(length // 2))  # type: ignore[arg-type]
        else:
            common = chance.randbytes(24)
            data = bytes(
                chance.choice(common) if chance.random() < 0.7 else chance.randrange(256)
                for _ in range(length)
            )
        self.old[at : at + len(data)] = self.new[at : at + len(data)] = data
        if sort in {"log", "random"} and chance.random() < 0.6:
            record = chance.choice([6, 8, 12, 16])
            for place in range(at, at + len(data) - record, record):
                if chance.random() < 0.3:
                    self.new[place : place + record] = chance.randbytes(record)
        return at + len(data)

    def make(self) -> Controller:
        """Return the whole."""
        chance = self.chance
        at = chance.choice([0, 0, 4, 16, 64])
        filled = chance.uniform(0.4, 0.95) * self.size
        room = int(filled) // 3
        at = self.table(at, room)
        first_end = at
        while at < filled - 256:
            at += chance.choice([0, 0, 2, 16, 100])
            left = int(filled) - at
            sort = chance.choices(["table", "group", "text", "junk", "gap"], [3, 3, 1, 3, 1])[0]
            if sort == "table" and len(self.fields) < 900:
                at = self.table(at, min(left, room))
            elif sort == "group" and len(self.fields) < 900:
                at = self.group(at, min(left, room))
            elif sort == "text" and left > 128:
                at = self.texts(at)
            elif sort == "junk":
                at = self.junk(at, left)
            else:
                at += min(left, chance.choice([32, 500]))
        if len(self.fields) < 2 * KNOWN:  # a small memory, full of other things: another one
            return Maker(self.seed + OTHERS).make()
        self.twice(first_end)
        check = self.check(first_end)
        return self.known(check)

    def twice(self, end: int) -> None:
        """Keep the first table a second time at the memory's end, in some controllers."""
        start = self.size - end - 8
        used = max((each.at + each.length for each in self.fields), default=0)
        if self.chance.random() < 0.25 and start > used and end > 100:
            for data in (self.old, self.new):
                data[start : start + end] = data[:end]
            self.fields = [
                each._replace(twin=each.at + start) if each.at + each.length <= end else each
                for each in self.fields
            ]

    def check(self, end: int) -> tuple[str, int] | None:
        """Store a check value directly after the first table if that is free."""
        method = self.chance.choice(CHECKS)
        length = 1 if "-8" in method else 4 if "-32" in method else 2
        if any(set(data[end : end + 4]) - {self.blank} for data in (self.old, self.new)):
            return None
        for data in (self.old, self.new):
            made = Check(name="x", method=method, over=((0, end - 1),), at=end)
            value = compute(made, bytes(data[:end]), self.order)  # type: ignore[arg-type]
            data[end : end + length] = value.to_bytes(length, self.order)  # type: ignore[arg-type]
        return (method, end) if self.old[:end] != self.new[:end] else None

    def known(self, check: tuple[str, int] | None) -> Controller:
        """Choose what the print-out shows."""
        chance = self.chance
        twins = {each.name: each for each in self.fields}
        chosen: dict[str, Stored] = {}
        tables = [each for each in self.tables if len(each) > 3]
        groups = [each for each in self.groups if len(each) > 3]
        while len(chosen) < KNOWN:
            way = chance.random()
            if way < 0.5 and tables:
                table = chance.choice(tables)
                start = chance.randrange(len(table))
                run = table[start : start + chance.randint(2, 10)]
            elif way < 0.75 and groups:
                rows = chance.choice(groups)
                letter = chance.choice("abcde")
                run = [cell for row in rows[:8] for cell in row if cell.name.endswith(letter)]
            else:
                run = [chance.choice(self.fields)]
            for each in run[: KNOWN - len(chosen)]:
                chosen[each.name] = twins[each.name]
        truth: dict[str, Stored | None] = dict(chosen)
        lines = [line(each) for each in chosen.values()]
        for _ in range(chance.choice([0, 0, 0, 1, 2])):
            _, quantity = self.fit()
            shown = [
                with_point(chance.randint(quantity[2], quantity[3]), quantity[1]) for _ in "ab"
            ]
            name = self.name()
            truth[name] = None
            made = Stored(name, 0, "", 0, "", (shown[0], shown[1]), quantity[0], None)
            lines.insert(chance.randrange(len(lines)), line(made))
        return Controller((bytes(self.old), bytes(self.new)), "\n".join(lines) + "\n", truth, check)


def line(each: Stored) -> str:
    """Return a field's line of the list of values."""
    if each.type == "text":
        return f'{each.name} = "{each.shown[0]}"'
    first, second = (f"{shown} {each.unit}".strip() for shown in each.shown)
    return f"{each.name} = {first}" if first == second else f"{each.name} = {first} | {second}"
