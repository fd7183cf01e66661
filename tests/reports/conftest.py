from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.keeping.conftest import Laptop
from tests.reports import story
from tests.reports.filled import values_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.reports.filled import Told


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[Laptop]:
    """Return a laptop with an empty vault."""
    made = Laptop(tmp_path / "one")
    yield made
    made.close()


@pytest.fixture(autouse=True)
def _no_flush(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the disk's flushes out: what they are for is tested in the vault's own room."""
    monkeypatch.setattr("os.fsync", lambda _: None)


@pytest.fixture(scope="session")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Told]:
    """Return the values of each page of the whole story, by the page's name."""
    made = Laptop(tmp_path_factory.mktemp("told"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("os.fsync", lambda _: None)
        story.whole(made)
        found = {name: values_of(made, name) for name in story.PAGES}
    made.close()
    return found
