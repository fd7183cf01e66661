"""What a table of renames is refused for."""

from __future__ import annotations

from parambak.errors import Fault, LayoutRefused

RENAMES_SHAPE = Fault(
    "renames-shape",
    LayoutRefused,
    "`{key}` is no rename",
    'Write `old_name = "new_name"`, or `old_name = false` for a field that is left out on purpose.',
)
RENAMES_UNKNOWN = Fault(
    "renames-unknown",
    LayoutRefused,
    "the {side} layout has no field `{key}`",
    "{advice}",
)
RENAMES_TWICE = Fault(
    "renames-twice",
    LayoutRefused,
    "two fields of the old layout would both be `{key}`",
    "Rename the other one too, or write `other_name = false` where it is left out on purpose.",
)
