"""Every way in which a dump is refused: one stable code for each."""

from __future__ import annotations

from typing import Final, NamedTuple

from parambak.errors import CallRefused, DumpRefused, Fault

_READ_AGAIN: Final = "Read the chip and save the dump again. Do not use this file."
_TRANSFER_AGAIN: Final = (
    "Copy or save the file again from the reader. If it is cut short again, read the chip again."
)
_CHECK_DAMAGE: Final = (
    "Save the dump again from the reader, or read the chip again. "
    "Do not correct the damaged line by hand."
)
_NOT_SURE: Final = (
    "Find out which program wrote the file. Set that program to write the standard format."
)
_TOO_LARGE: Final = "Check that this is the right file. The dump of a parameter memory is smaller."
_SAVE_PLAIN: Final = "Save the dump again with the reader's program, as plain ASCII text."
_CHECK_CHIP: Final = (
    "Check the chip selected on the reader, the chip or layout given here, and the base address."
)
_TWO_DUMPS: Final = "Save each dump in its own file: this file may hold two dumps."
_NOT_FOR_THE_VAULT: Final = (
    "Do not archive it. Save the dump again from the reader. Do not use this file."
)


def _refused(code: str, text: str, what_next: str) -> Fault:
    return Fault(code, DumpRefused, text, what_next)


# Any format

DUMP_TOO_LARGE: Final = _refused(
    "dump-too-large", "the file is larger than a dump may be", _TOO_LARGE
)
DUMP_OTHER_FILE: Final = _refused(
    "dump-other-file",
    "this is no dump: the file begins as another kind of file does",
    "Give the file that the reader wrote. If these really are the chip's bytes, give --format raw.",
)
DUMP_NAME_DIFFERS: Final = _refused(
    "dump-name-differs",
    "the ending of the file's name is of one format, and the content is of another",
    "Correct the ending of the file's name, or give the format with --format.",
)
DUMP_FORMAT_DIFFERS: Final = _refused(
    "dump-format-differs",
    "the content is of another format than the one given",
    "Give --format {format}. If the reader's profile has the wrong format, correct it there.",
)
DUMP_NO_SUCH_FORMAT: Final = Fault(
    "dump-no-such-format",
    CallRefused,
    "there is no format with that name",
    "Name one of the formats listed.",
)
DUMP_NO_SUCH_ALLOWANCE: Final = Fault(
    "dump-no-such-allowance",
    CallRefused,
    "there is no allowance with that name",
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
    "Select an image that holds bytes.",
)
OPINION_REFUSES: Final = _refused(
    "opinion-refuses",
    "an unrelated program, {judge}, refuses this dump",
    _NOT_FOR_THE_VAULT,
)
OPINION_DIFFERS: Final = _refused(
    "opinion-differs",
    "an unrelated program, {judge}, reads other bytes from this dump",
    _NOT_FOR_THE_VAULT,
)

# What can be wrong with a file of records, in any text format


class RecordFaults(NamedTuple):
    """The faults of a file of records in one text format; `prefix` begins their codes."""

    prefix: str
    empty: Fault
    no_record: Fault
    no_data: Fault
    no_end: Fault
    after_end: Fault
    cut_short: Fault
    checksum: Fault
    odd_digits: Fault
    digit: Fault
    not_a_record: Fault
    text_before: Fault
    text_after: Fault
    trailing_blanks: Fault
    text_around: Fault
    padding: Fault
    conflict: Fault
    same_byte_twice: Fault
    word_addressed: Fault
    span: Fault
    outside: Fault
    encoding: Fault
    byte_order_mark: Fault
    line_ends: Fault
    too_many_lines: Fault
    too_many_bytes: Fault
    too_many_ranges: Fault


_OF_RECORDS: Final = {
    "empty": ("the file is empty, or holds blank lines only", _TRANSFER_AGAIN),
    "no_record": (
        "this is no {label}: no line of it is a record",
        (
            "It may be raw: if these are the chip's bytes, give --format raw. If not, save the "
            "dump again from the reader."
        ),
    ),
    "no_data": ("the file carries no data bytes", _READ_AGAIN),
    "no_end": (
        "the end is missing ({end}): the dump may be cut short",
        (
            "Copy or save the file again from the reader. If the reader never writes an end, give "
            "--accept no-end."
        ),
    ),
    "after_end": ("a record follows the end", _TWO_DUMPS),
    "cut_short": ("the last record is cut short", _TRANSFER_AGAIN),
    "checksum": ("the record's checksum does not match its bytes", _CHECK_DAMAGE),
    "odd_digits": ("the record has an odd number of digits", _CHECK_DAMAGE),
    "digit": ("the record holds a character that is not a hexadecimal digit", _CHECK_DAMAGE),
    "not_a_record": ("a line among the records is not a record", _CHECK_DAMAGE),
    "text_before": ("there is text before the record on its line", _SAVE_PLAIN),
    "text_after": ("text follows the record's checksum", _SAVE_PLAIN),
    "trailing_blanks": (
        "blanks follow the record's checksum",
        "Save the dump again. If the reader always does this, give --accept trailing-blanks.",
    ),
    "text_around": (
        "there is text before the first record or after the last",
        (
            "Save the dump as a file of its own. For a captured serial session, give --accept "
            "text-around."
        ),
    ),
    "padding": ("too many 1A or 00 bytes follow the end", _TRANSFER_AGAIN),
    "conflict": ("the file gives two different bytes for one address", _READ_AGAIN),
    "same_byte_twice": (
        "the file gives the same byte twice for one address",
        "Save the dump again. If the reader always does this, give --accept same-byte-twice.",
    ),
    "word_addressed": (
        "the addresses count words, not bytes: each record begins inside the one before it",
        (
            "Set the reader's program to addresses that count bytes, or save the dump as raw. No "
            "allowance reads this file correctly."
        ),
    ),
    "span": (
        "the lowest and the highest address are too far from each other for one image",
        _TOO_LARGE,
    ),
    "outside": ("the file holds addresses outside the declared memory", _CHECK_CHIP),
    "encoding": ("the file is UTF-16", _SAVE_PLAIN),
    "byte_order_mark": (
        "the file begins with a byte-order mark",
        (
            "Save the dump again as plain ASCII text. If that is impossible, give --accept "
            "byte-order-mark."
        ),
    ),
    "line_ends": (
        "the lines end in different ways",
        "Copy the file again in binary mode: a conversion of text has changed it.",
    ),
    "too_many_lines": ("the file has more lines than a dump may have", _TOO_LARGE),
    "too_many_bytes": ("the records carry more bytes than an image may hold", _TOO_LARGE),
    "too_many_ranges": ("the image has more separate pieces than an image may have", _TOO_LARGE),
}
"""The text of each fault, and what to do next."""


def _of_records(prefix: str, label: str, end: str) -> RecordFaults:
    made = {
        name: _refused(
            f"{prefix}-{name.replace('_', '-')}", text.format(label=label, end=end), what_next
        )
        for name, (text, what_next) in _OF_RECORDS.items()
    }
    return RecordFaults(prefix, **made)


HEX: Final = _of_records("hex", "Intel HEX", "the end record")
SREC: Final = _of_records("srec", "file of S-records", "a terminator S7, S8, S9, or a count S5, S6")

# Intel HEX alone

HEX_LENGTH: Final = _refused(
    "hex-length", "the record's length byte is not the number of data bytes present", _CHECK_DAMAGE
)
HEX_TWO_RECORDS: Final = _refused("hex-two-records", "two records are on one line", _CHECK_DAMAGE)
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
    "the file has segment (02) and linear (04) base records, and programs disagree where its "
    "bytes go",
    _NOT_SURE,
)
HEX_TWO_STARTS: Final = _refused(
    "hex-two-starts",
    "the file states two different start addresses",
    _TWO_DUMPS,
)
HEX_WRAP: Final = _refused(
    "hex-wrap",
    "the record runs past the end of its segment, or of 4 GiB, and programs disagree "
    "where its last bytes go",
    "Write the file again without a wrap. If that is impossible, give --accept wrap: the last "
    "bytes then go where the standard puts them.",
)

# S-record alone

SREC_TWO_ENDS: Final = _refused(
    "srec-two-ends",
    "the file has two terminators",
    _TWO_DUMPS,
)
SREC_LENGTH: Final = _refused(
    "srec-length", "the record's count byte is not the number of bytes present", _CHECK_DAMAGE
)
SREC_SHORT_COUNT: Final = _refused(
    "srec-short-count", "the record's count byte is too small for its address", _CHECK_DAMAGE
)
SREC_LOWER_CASE_S: Final = _refused(
    "srec-lower-case-s",
    "the record begins with a lower-case s",
    "Save the dump again. If the reader always does this, give --accept lower-case-s.",
)
SREC_TYPE: Final = _refused("srec-type", "the record's type is S4 or not recognised", _NOT_SURE)
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
    _TWO_DUMPS,
)
SREC_DATA_AFTER_COUNT: Final = _refused(
    "srec-data-after-count",
    "data records follow the count record, so the count proves nothing",
    _NOT_SURE,
)
SREC_END_DATA: Final = _refused("srec-end-data", "the terminator carries data", _NOT_SURE)
SREC_ODD_END: Final = _refused(
    "srec-odd-end",
    "the terminator's type belongs to none of the data records",
    "Save the dump again. If the reader always does this, give --accept odd-end.",
)
SREC_WIDTH: Final = _refused(
    "srec-width", "the record's data go beyond the range of its address width", _NOT_SURE
)

# Raw

RAW_EMPTY: Final = _refused("raw-empty", "the file is empty", _TRANSFER_AGAIN)
RAW_SIZE: Final = _refused(
    "raw-size", "the file's size is not the size of the declared memory", _CHECK_CHIP
)
RAW_ODD_SIZE: Final = _refused(
    "raw-odd-size", "the file does not hold a whole number of words", _TRANSFER_AGAIN
)
RAW_LOOKS_OTHERWISE: Final = _refused(
    "raw-looks-otherwise",
    "the content looks like another format",
    "Give that format with --format, to see what is wrong with the file. If these really are "
    "the chip's bytes, give --format raw.",
)
RAW_TOO_MANY_BYTES: Final = _refused(
    "raw-too-many-bytes", "the file holds more bytes than an image may", _TOO_LARGE
)
RAW_GAPS: Final = Fault(
    "raw-gaps",
    CallRefused,
    "the image has gaps, and a raw file cannot leave bytes out",
    "Give the byte that fills the gaps with --fill, or write Intel HEX or S-record.",
)
