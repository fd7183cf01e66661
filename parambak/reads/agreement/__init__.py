"""Why two reads of one chip differ. Begin with `explain.py`, which is what the rooms above call.

Each kind of fault is a claim about the differences: how much of them it would explain, and how
many bits shorter it makes the description of one read by the other. The claim that saves most is
the likeliest. The
claims: `bits.py` (weak cells, data lines), `lines.py` (address lines), `stretches.py` (a contact
lost), `settings.py` (swapped, exchanged, shifted, cut short, another chip).
"""

from __future__ import annotations

from parambak.reads.agreement.explain import explain
from parambak.reads.agreement.model import Cause, Explanation, PairExplanation

__all__ = ["Cause", "Explanation", "PairExplanation", "explain"]
