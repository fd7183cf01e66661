"""Makes one HTML file from a template and its values: no script, no outside file.

All text is escaped, and characters that move or hide text are written out.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

from markupsafe import Markup, escape

from parambak.memory.printable import printable

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jinja2 import Environment

MARKS = {True: "yes", False: "NO", None: "not known"}
FOOT = 60  # characters of the title at the foot of each sheet


def render(template: str, values: Mapping[str, Any]) -> bytes:
    """Return the page of a template, as UTF-8."""
    return _environment().get_template(template).render(**values).encode("utf-8", "replace")


@cache
def _environment() -> Environment:
    # Slow to import, and needed for pages only.
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415 - see above

    environment = Environment(
        loader=PackageLoader("parambak.reports"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["met"] = MARKS.__getitem__
    environment.filters["foot"] = css_text
    environment.filters["breakable"] = breakable
    return environment


def css_text(text: str) -> Markup:
    """Return a text for use between the quotes of a style sheet, cut to `FOOT`."""
    shown = printable(text)
    cut = f"{shown[:FOOT]}…" if len(shown) > FOOT else shown
    plain = (c if c.isascii() and c.isalnum() else f"\\{ord(c):X} " for c in cut)
    return Markup("".join(plain))  # noqa: S704 - letters, digits, backslashes and spaces alone


def breakable(text: str) -> Markup:
    """Return a name that may break after each underscore and dot."""
    shown = str(escape(printable(text)))
    broken = shown.replace("_", "_<wbr>").replace(".", ".<wbr>")
    return Markup(broken)  # noqa: S704 - escaped above


def _shown(value: object) -> object:
    """Return a value as the page shows it: text made printable, nothing for None."""
    if value is None:
        return ""
    if isinstance(value, str) and not isinstance(value, Markup):
        return "\n".join(printable(line) for line in value.split("\n"))
    return value
