"""Every way in which a dump is refused: one stable code for each."""

from __future__ import annotations

from typing import Final, NamedTuple

from parambak.errors import CallRefused, DumpRefused, Fault

_READ_AGAIN: Final = "Read the chip again and save the dump anew; keep this file apart."
_TRANSFER_AGAIN: Final = (
    "The file was cut short on its way: copy or save it again from the reader, "
    "or read the chip again."
)
_CHECK_DAMAGE: Final = (
    "The line is damaged: save the dump again from the reader, or read the chip again. "
    "Do not mend it by hand."
)
_NOT_SURE: Final = "Find out which program wrote the file, and have it write plain records."
_TOO_LARGE: Final = "This is no dump of a parameter memory: check that it is the right file."
_SAVE_PLAIN: Final = "Save the dump from the reader's own program, as plain ASCII text."
_CHECK_CHIP: Final = (
    "Check the chip chosen on the reader, the chip or layout given here, and the base address."
)


def _refused(code: str, text: str, what_next: str) -> Fault:
    return Fault(code, DumpRefused, text, what_next)


# Any format

DUMP_TOO_LARGE: Final = _refused(
    "dump-too-large", "the file is larger than a dump may be", _TOO_LARGE
)
DUMP_NAME_DIFFERS: Final = _refused(
    "dump-name-differs",
    "the file's name says one format and its content another",
    "Give the file its right ending, or name its format.",
)
DUMP_NO_SUCH_FORMAT: Final = Fault(
    "dump-no-such-format",
    CallRefused,
    "there is no format of that name",
    "Name one of the formats listed.",
)
DUMP_NO_SUCH_ALLOWANCE: Final = Fault(
    "dump-no-such-allowance",
    CallRefused,
    "there is no allowance of that name",
    "Name one of the allowances listed, or none.",
)
DUMP_STYLE: Final = Fault(
    "dump-style",
    CallRefused,
    "the format cannot be written that way",
    "Change the option, or write another format.",
)
DUMP_NOTHING_TO_WRITE: Final = Fault(
    "dump-nothing-to-write",
    CallRefused,
    "the image holds no bytes",
    "Choose an image that holds some.",
)
OPINION_REFUSES: Final = _refused(
    "opinion-refuses",
    "{judge} does not accept the dump that was read here",
    "Do not archive it: save the dump again from the reader, and keep this file apart.",
)
OPINION_DIFFERS: Final = _refused(
    "opinion-differs",
    "{judge} reads other bytes from the dump than were read here",
    "Do not archive it: save the dump again from the reader, and keep this file apart.",
)

# What can be wrong with a file of records, in any text format


class RecordFaults(NamedTuple):
    """The faults of a file of records in one text format; `prefix` begins their codes."""

    prefix: str
    empty: Fault
    no_data: Fault
    cut_short: Fault
    checksum: Fault
    odd_digits: Fault
    digit: Fault
    text_after: Fault
    conflict: Fault
    same_byte_twice: Fault
    span: Fault
    outside: Fault
    encoding: Fault
    line_ends: Fault
    too_many_lines: Fault
    too_many_bytes: Fault
    too_many_ranges: Fault


_OF_RECORDS: Final = {
    "empty": ("the file is empty, or holds blank lines only", _TRANSFER_AGAIN),
    "no_data": ("the file carries no data bytes", _READ_AGAIN),
    "cut_short": ("the last record is cut short", _TRANSFER_AGAIN),
    "checksum": ("the record's checksum does not match its bytes", _CHECK_DAMAGE),
    "odd_digits": ("the record has an odd number of digits", _CHECK_DAMAGE),
    "digit": ("the record holds something that is no hexadecimal digit", _CHECK_DAMAGE),
    "text_after": ("text stands after the record's checksum", _SAVE_PLAIN),
    "conflict": ("one address is given two different bytes", _READ_AGAIN),
    "same_byte_twice": (
        "one address is given the same byte twice",
        "Save the dump again; if the reader always does this, allow same-byte-twice.",
    ),
    "span": ("the addresses lie further apart than an image may reach", _TOO_LARGE),
    "outside": ("the file holds addresses outside the declared memory", _CHECK_CHIP),
    "encoding": ("the file begins with a byte-order mark or is UTF-16", _SAVE_PLAIN),
    "line_ends": (
        "the lines end in different ways",
        "The file was changed on its way: copy it again without conversion of text.",
    ),
    "too_many_lines": ("the file has more lines than a dump may have", _TOO_LARGE),
    "too_many_bytes": ("the records carry more bytes than an image may hold", _TOO_LARGE),
    "too_many_ranges": ("the image lies in more pieces than an image may", _TOO_LARGE),
}
"""What each of them says, and what to do next."""


def _of_records(prefix: str) -> RecordFaults:
    made = {
        name: _refused(f"{prefix}-{name.replace('_', '-')}", text, what_next)
        for name, (text, what_next) in _OF_RECORDS.items()
    }
    return RecordFaults(prefix, **made)


HEX: Final = _of_records("hex")
SREC: Final = _of_records("srec")

# Intel HEX alone

HEX_NO_END: Final = _refused(
    "hex-no-end", "the end record is missing: the dump may be cut short", _TRANSFER_AGAIN
)
HEX_AFTER_END: Final = _refused(
    "hex-after-end",
    "a record follows the end record",
    "Two dumps may have been joined in one file: save each on its own.",
)
HEX_LENGTH: Final = _refused(
    "hex-length", "the record's length byte is not the number of data bytes present", _CHECK_DAMAGE
)
HEX_TEXT_BEFORE: Final = _refused(
    "hex-text-before", "text stands before the record's colon", _SAVE_PLAIN
)
HEX_TWO_RECORDS: Final = _refused("hex-two-records", "two records stand on one line", _CHECK_DAMAGE)
HEX_NOT_A_RECORD: Final = _refused(
    "hex-not-a-record", "the line among the records is not a record", _CHECK_DAMAGE
)
HEX_TYPE: Final = _refused("hex-type", "the record's type is not one of 00 to 05", _NOT_SURE)
HEX_END_DATA: Final = _refused("hex-end-data", "the end record carries data", _NOT_SURE)
HEX_BASE_LENGTH: Final = _refused(
    "hex-base-length", "a base address record does not carry two bytes", _NOT_SURE
)
HEX_START_LENGTH: Final = _refused(
    "hex-start-length", "a start address record does not carry four bytes", _NOT_SURE
)
HEX_BOTH_BASES: Final = _refused(
    "hex-both-bases",
    "segment (02) and linear (04) base records stand in one file, and programs disagree "
    "where its bytes go",
    _NOT_SURE,
)
HEX_TWO_STARTS: Final = _refused(
    "hex-two-starts",
    "the file states two different start addresses",
    "Two dumps may have been joined in one file: save each on its own.",
)
HEX_WRAP: Final = _refused(
    "hex-wrap",
    "the record runs over the end of its segment, or of 4 GiB, and programs disagree "
    "where its last bytes go",
    "Have the file written without a wrap; if it must be taken, allow wrap: its bytes "
    "are then placed as the standard says.",
)
HEX_TEXT_AROUND: Final = _refused(
    "hex-text-around",
    "text stands before the first or after the last record",
    "Save the dump as a file of its own; for a captured serial session allow text-around.",
)
HEX_PADDING: Final = _refused(
    "hex-padding",
    "more 1A or 00 bytes follow the end record than fill a block",
    _TRANSFER_AGAIN,
)

# S-record alone

SREC_NO_END: Final = _refused(
    "srec-no-end",
    "neither a terminator (S7, S8, S9) nor a count (S5, S6) proves the end: the dump may be "
    "cut short",
    "Copy or save the file again from the reader; if the reader never writes an end, allow no-end.",
)
SREC_AFTER_END: Final = _refused(
    "srec-after-end",
    "something follows the terminator",
    "Two dumps may have been joined in one file, or text added: save the dump on its own.",
)
SREC_TWO_ENDS: Final = _refused(
    "srec-two-ends",
    "the file has two terminators",
    "Two dumps may have been joined in one file: save each on its own.",
)
SREC_LENGTH: Final = _refused(
    "srec-length", "the record's count byte is not the number of bytes present", _CHECK_DAMAGE
)
SREC_SHORT_COUNT: Final = _refused(
    "srec-short-count", "the record's count byte is too small for its address", _CHECK_DAMAGE
)
SREC_NOT_A_RECORD: Final = _refused(
    "srec-not-a-record", "the line is not an S-record", _CHECK_DAMAGE
)
SREC_TYPE: Final = _refused("srec-type", "the record's type is S4 or unknown", _NOT_SURE)
SREC_COUNT_LENGTH: Final = _refused(
    "srec-count-length", "a count record (S5, S6) carries more than its count", _NOT_SURE
)
SREC_COUNT_WRONG: Final = _refused(
    "srec-count-wrong",
    "the count record does not match the data records before it: lines are missing or added",
    _TRANSFER_AGAIN,
)
SREC_COUNT_TWICE: Final = _refused(
    "srec-count-twice",
    "the file has two count records",
    "Two dumps may have been joined in one file: save each on its own.",
)
SREC_DATA_AFTER_COUNT: Final = _refused(
    "srec-data-after-count",
    "data records follow the count record, so the count proves nothing",
    _NOT_SURE,
)
SREC_END_DATA: Final = _refused("srec-end-data", "the terminator carries data", _NOT_SURE)
SREC_ODD_END: Final = _refused(
    "srec-odd-end",
    "the terminator pairs with none of the data records",
    "Save the dump again; if the reader always does this, allow odd-end.",
)
SREC_WIDTH: Final = _refused(
    "srec-width", "the record's data run over the range of its address width", _NOT_SURE
)

# Raw

RAW_EMPTY: Final = _refused("raw-empty", "the file is empty", _TRANSFER_AGAIN)
RAW_SIZE: Final = _refused(
    "raw-size", "the file's size is not that of the declared memory", _CHECK_CHIP
)
RAW_ODD_SIZE: Final = _refused(
    "raw-odd-size", "the file does not hold whole words", _TRANSFER_AGAIN
)
RAW_LOOKS_OTHERWISE: Final = _refused(
    "raw-looks-otherwise",
    "the content looks like another format",
    "Name the format that it is, to see what is wrong with it; if these really are the "
    "chip's bytes, say that the format is raw.",
)
RAW_TOO_MANY_BYTES: Final = _refused(
    "raw-too-many-bytes", "the file holds more bytes than an image may", _TOO_LARGE
)
RAW_GAPS: Final = Fault(
    "raw-gaps",
    CallRefused,
    "the image has gaps, and a raw file cannot leave bytes out",
    "Say what byte fills the gaps with --fill, or write Intel HEX or S-record.",
)
