"""A page's own values with another text in every place that holds one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from unittest.mock import patch

from markupsafe import Markup
from msgspec import Struct, structs

from parambak.reports import html
from tests.reports.story import PAGES

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.keeping.conftest import Laptop


def values_of(laptop: Laptop, name: str) -> tuple[str, dict[str, Any]]:
    """Return the template of a page, and the values that it is given."""
    kept: list[tuple[str, dict[str, Any]]] = []

    def keep(template: str, values: dict[str, Any]) -> bytes:
        kept.append((template, values))
        return b""

    with patch(f"parambak.reports.{name}_page.render", keep):
        PAGES[name](laptop)
    return kept[0]


def filled(value: Any, text: Callable[[], str]) -> Any:
    """Return a value in which every text is replaced by the next one that `text` gives."""
    if isinstance(value, str):
        return value if isinstance(value, Markup) else text()
    if isinstance(value, dict):
        return {key: filled(each, text) for key, each in value.items()}
    if isinstance(value, list | tuple):
        made = [filled(each, text) for each in value]
        return type(value)(*made) if hasattr(value, "_fields") else made
    if isinstance(value, Struct):
        names = value.__struct_fields__
        return structs.replace(
            value, **{name: filled(getattr(value, name), text) for name in names}
        )
    return value


Told = tuple[str, dict[str, Any]]


def rendered(told: Told, text: Callable[[], str]) -> bytes:
    """Return a page with another text in every place."""
    template, values = told
    return html.render(template, filled(values, text))
