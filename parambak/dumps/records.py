"""A text file of records, read by any of its formats: in bulk where all is in order, else by line.

Each format has a parser of its own, a `RecordParser`; what is the same in all of them is here.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import Counter
from typing import TYPE_CHECKING, ClassVar

from parambak.dumps.bulk import FEWEST, MOST, IrregularError, Shape, lines_alike, stretches
from parambak.dumps.placing import Destination, Painting, Placing, refuse_words
from parambak.dumps.preparing import Marks, after_end, prepared
from parambak.dumps.text import left_out, lines_shown, missing_lines
from parambak.errors import DumpRefused
from parambak.memory.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.dumps.dump import Dump, Terms
    from parambak.dumps.faults import RecordFaults
    from parambak.dumps.text import Text
    from parambak.memory.image import Image


class RecordParser(ABC):
    """What has been read of one file so far; each line is taken in the order of the file.

    A format gives its name, its faults, how its records are recognised, and a text for each of
    its notes, by code.
    """

    format: ClassVar[str]
    faults: ClassVar[RecordFaults]
    marks: ClassVar[Marks]
    note_texts: ClassVar[Mapping[str, str]]

    def __init__(self, text: Text, terms: Terms, destination: Destination) -> None:
        self.findings = list(text.findings)
        self._text = text
        self._terms = terms
        self._destination = destination
        self._data_seen = False
        self._notes: dict[str, list[int]] = {}
        self._lengths: Counter[int] = Counter()

    @staticmethod
    @abstractmethod
    def shape_of(line: bytes) -> Shape | None:
        """Return the shape of a stretch that begins with the data record on `line`, or None."""

    @property
    @abstractmethod
    def ended(self) -> bool:
        """Return whether the record that ends the file was met."""

    @abstractmethod
    def take_record(self, line: bytes, number: int) -> None:
        """Take the record on a line; refuse a line that is not one."""

    def refuse_after_end(self, line: bytes, number: int) -> None:
        """Refuse a line after the end."""
        raise after_end(line, number, self.faults, self.marks)

    @abstractmethod
    def take_stretch(self, shape: Shape, address: int, data: bytes, number: int) -> None:
        """Take the data of records that go on from each other, `shape.length` bytes in each."""

    @abstractmethod
    def judge_end(self) -> None:
        """Judge the end of the file; refuse one that is not proven."""

    @abstractmethod
    def dump(self, image: Image) -> Dump:
        """Return the dump, once the end was judged."""

    def take(self, line: bytes, number: int) -> None:
        """Take one line, the `number`-th of the file."""
        if not line.strip(b" \t"):
            self.note(f"{self.faults.prefix}-blank-line", number)
        elif self.ended:
            self.refuse_after_end(line, number)
        else:
            self.take_record(line, number)

    def note(self, code: str, number: int) -> None:
        """Note an irregularity of a line; all lines with the code become one finding."""
        self._notes.setdefault(code, []).append(number)

    def notes(self) -> list[Finding]:
        """Return a finding for each code that was noted."""
        return [
            Finding(code, f"{self.note_texts[code]}: {lines_shown(numbers)}", line=numbers[0])
            for code, numbers in self._notes.items()
        ]

    def count(self, length: int, records: int = 1) -> None:
        """Count data records of `length` bytes."""
        self._lengths[length] += records

    def all_findings(self, image: Image) -> tuple[Finding, ...]:
        """Return what was noted of the file, and of the bytes that are absent from it."""
        if self._terms.left_out is not None:
            return (*self.findings, *left_out(image, self._terms, self.faults.prefix))
        usual = max(self._lengths, key=lambda length: (self._lengths[length], length), default=0)
        return (*self.findings, *missing_lines(image, usual, self.faults.prefix))


def text_of(parser: type[RecordParser], data: bytes, terms: Terms) -> Text:
    """Return the lines of a file, ready to be read; raise DumpRefused if it has none."""
    return prepared(data, terms, parser.faults, parser.marks)


def read_records(parser: type[RecordParser], data: bytes, terms: Terms) -> Dump:
    """Return the dump that a file stands for; raise DumpRefused, with the line, if it is none."""
    text = text_of(parser, data, terms)
    return read_in_bulk(parser, text, terms) or read_by_record(parser, text, terms)


def read_in_bulk(parser: type[RecordParser], text: Text, terms: Terms) -> Dump | None:
    """Read regular stretches at once; None if anything is irregular: it is then read by record."""
    placing = Placing(parser.faults, terms)
    reading = parser(text, terms, placing)
    try:
        _take_in_bulk(text, reading)
        image = placing.image()
    except (IrregularError, DumpRefused):
        return None
    return None if image is None else reading.dump(image)


def read_by_record(parser: type[RecordParser], text: Text, terms: Terms) -> Dump:
    """Read line by line: the judge of the bulk path, and the one that names a fault's line."""
    placing = Placing(parser.faults, terms)
    reading = parser(text, terms, placing)
    _take_by_line(text, reading)
    image = placing.image()
    if image is None:
        refuse_words(placing, parser.faults)
        painting = Painting(placing.ranges(), parser.faults, terms)
        reading = parser(text, terms, painting)
        _take_by_line(text, reading)
        image = painting.image()
        reading.findings.append(painting.finding())
    return reading.dump(image)


def _take_by_line(text: Text, parser: RecordParser) -> None:
    for number, line in enumerate(text.lines(), text.first):
        parser.take(line, number)
    parser.judge_end()


def _take_in_bulk(text: Text, parser: RecordParser) -> None:
    """Hand all of `text` to the parser, stretches at once and other lines one by one."""
    body, line_end = text.body, text.line_end
    at, number, window = 0, text.first, MOST
    while at < len(body):
        shape = None if parser.ended else parser.shape_of(body[at : at + 9])
        lines = lines_alike(body, at, shape, window, line_end) if shape else 0
        if shape is None or lines < FEWEST:
            stop = body.find(line_end, at)
            stop = len(body) if stop < 0 else stop
            parser.take(body[at:stop], number)
            at, number = stop + len(line_end), number + 1
        else:
            end = at + lines * shape.stride(line_end)
            for index, address, data in stretches(body[at:end], shape, line_end, lines):
                parser.take_stretch(shape, address, data, number + index)
            at, number = end, number + lines
        if shape is not None:
            # Looking far ahead for nothing, line after line, must not cost more than the lines.
            window = max(window // 2, FEWEST) if lines < FEWEST else min(window * 2, MOST)
    parser.judge_end()
