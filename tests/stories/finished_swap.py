"""An open swap taken to its end, for stories that are about what comes after it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.stories.conftest import Laptop


def finished(laptop: Laptop, where: str, memory: bytes) -> Any:
    """Answer what is missing, load, read back at both stages and close; return what was missing."""
    missing = laptop.json(f"swap check {where}", 1)["missing"]
    answers = " ".join(f"'{name}=yes: seen to'" for name in missing)
    laptop.yes(f"swap answer {where} {answers} --by 'A. Fitter'")
    laptop.yes(f"swap load-file {where} --as raw --out LOAD.HEX --by 'A. Fitter'")
    for stage in ("before-power", "after-power"):
        names = [laptop.dump(f"{stage}{n}.BIN", memory) for n in range(2)]
        laptop.yes(f"swap read-back {where} {' '.join(names)} --stage {stage} --by 'A. Fitter'")
    laptop.yes(f"swap close {where} --test 'stop=passed' --old-card-to ashore --by 'A. Fitter'")
    return missing
