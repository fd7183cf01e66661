"""The ship's rules: what a vessel's owner requires before a swap.

Where none are given, `CAREFUL` holds.
"""

from __future__ import annotations

from msgspec import Struct


class Rules(Struct, frozen=True):
    """What is required. A condition not required is still shown.

    `reads` is how many reads made apart must agree; `layout` whether a copy
    without a layout may be verified; `within_limits` and `card_sheet` whether
    a swap needs every decoded value inside its limits, and the unit's card
    sheet on record with the new card's agreeing.
    """

    reads: int = 2
    layout: bool = False
    within_limits: bool = True
    card_sheet: bool = False


CAREFUL = Rules()
