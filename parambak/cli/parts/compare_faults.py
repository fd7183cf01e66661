"""What `diff` and `history` refuse."""

from __future__ import annotations

from parambak.errors import CallRefused, Fault, NotFound

DIFF_WHAT = Fault(
    "diff-what",
    CallRefused,
    "there are not two things to compare",
    "Name two copies or dump files, or more; or one WHERE with --since DATE.",
)
DIFF_REMARK = Fault(
    "diff-remark",
    CallRefused,
    "a remark is kept of a change between two copies of one position",
    "Name two copies that differ, such as WHERE@previous and WHERE@latest.",
)
HISTORY_FIELD = Fault(
    "history-field",
    NotFound,
    "the layout has no field or check of that name",
    "Write it out as `decode` shows it, such as channel[3].upper_limit.",
)
