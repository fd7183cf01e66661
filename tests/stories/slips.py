"""All answers of a vault, to compare it with one in which a slip was never made."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.stories.conftest import Laptop

LATER = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)
_DRAWN = re.compile(r"\b([0-9a-f]{64}|[0-9a-f]{32})\b")
_SEAL = re.compile(r"[\w~-]+, \d+ records?, ends .*?, check \d\d", re.DOTALL)


def answers(laptop: Laptop) -> dict[str, str]:
    """Return every list and page of a vault as text, made at one time.

    Identities and digests of records are drawn at random, so each is its place among all in the
    text; the seal covers what was withdrawn too, and is left out.
    """
    laptop.now = LATER
    wheres = [p["where"] for p in laptop.run("--json catalogue").json.get("positions", ())]
    vessels = sorted({where.partition("/")[0] for where in wheres})
    lines = ["catalogue", "due", "card list", "backup list", "compare-units"]
    for command in ("history", "swap check", "decode", "export --as raw --out e.bin --replace"):
        lines += [f"{command} {where}" for where in wheres]
    asked: dict[str, Any] = {}
    for line in lines:
        laptop.now = LATER
        result = laptop.run(f"--json {line}")
        asked[line] = [result.code, result.json, result.err]
    asked |= _written(laptop, "tables --out tables --as csv --replace", "tables/*")
    for where in wheres:
        asked |= _written(
            laptop, f"report copy {where} --out {where.replace('/', '-')}.html", "*.html"
        )
    for vessel in vessels:
        asked |= _written(laptop, f"report visit {vessel} --out {vessel}.html", "*.html")
    return {name: _drawn_alike(json.dumps(value)) for name, value in asked.items()}


def _written(laptop: Laptop, line: str, pattern: str) -> dict[str, Any]:
    """Return the files that a line writes, by the line and their names; and take them away."""
    laptop.now = LATER
    result = laptop.run(line)
    written = {
        f"{line}: {path.name}": path.read_text("utf-8") for path in laptop.folder.glob(pattern)
    }
    for path in laptop.folder.glob(pattern):
        path.unlink()
    return {line: [result.code, result.err], **written}


def _drawn_alike(text: str) -> str:
    numbers: dict[str, str] = {}

    def number(match: re.Match[str]) -> str:
        return numbers.setdefault(match[0], f"#{len(numbers)}")

    return _DRAWN.sub(number, _SEAL.sub("SEAL", text))
