"""From a template and what goes into it to one HTML file: no script, no outside file.

All text is escaped, and what moves or hides text is spelled out, whoever typed it.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from parambak.memory.printable import printable

if TYPE_CHECKING:
    from collections.abc import Mapping

MARKS = {True: "yes", False: "NO", None: "not known"}


def render(template: str, values: Mapping[str, Any]) -> bytes:
    """Return the page of a template, as UTF-8."""
    return _environment().get_template(template).render(**values).encode("utf-8", "replace")


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("parambak.reports"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["met"] = MARKS.__getitem__
    return environment


def _shown(value: object) -> object:
    """Return what stands on the page for a value: text made printable, nothing for None."""
    if value is None:
        return ""
    if isinstance(value, str) and not isinstance(value, Markup):
        return "\n".join(printable(line) for line in value.split("\n"))
    return value
