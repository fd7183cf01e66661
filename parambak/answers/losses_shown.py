"""What is lost with a file of the vault, as far as that is on record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Part

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.keeping.state.losses import Loss


class LossShown(Part, frozen=True):
    """One thing that is lost, in words; the vessel and the position where that is known."""

    text: str
    vessel: str | None
    where: str | None


def losses_shown(losses: Iterable[Loss]) -> tuple[LossShown, ...]:
    """Return these losses as an answer has them."""
    return tuple(LossShown(loss.text, loss.vessel, loss.where) for loss in losses)
