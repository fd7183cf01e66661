"""The Python API: the examples of its page run, its face is whole, and it is light to import."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import parambak
from documents import api
from documents.answers import jobs
from tests.cli.conftest import Ship

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "formats" / "python.md").read_text(encoding="utf-8")
HEAVY = ("click", "rich", "msgspec", "jinja2", "platformdirs", "datetime", "pathlib")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a folder in which the demo was run."""
    folder = tmp_path_factory.mktemp("api")
    assert Ship(folder).run("demo").code == 0
    return folder


def test_the_examples_of_the_page_run(
    demo: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every block of formats/python.md, one after the other, prints something."""
    monkeypatch.chdir(demo)
    monkeypatch.setenv("XDG_DATA_HOME", str(demo / "home"))
    blocks = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
    names: dict[str, object] = {}
    for block in blocks:
        if "polars" in block:
            pytest.importorskip("polars")
        exec(compile(block, "formats/python.md", "exec"), names)  # noqa: S102 - our own page
        assert "print" not in block or capsys.readouterr().out
    assert len(blocks) == PAGE.count("```python")


def test_every_name_of_the_face_is_there() -> None:
    """`__all__` holds the functions, the errors and every question; each can be had."""
    assert all(getattr(parambak, name) is not None for name in parambak.__all__)
    questions = {job.question.__name__ for job in jobs()}
    assert questions <= set(parambak.__all__)
    face = ROOT / "parambak" / "__init__.py"
    text = face.read_text(encoding="utf-8")
    assert api.page(text) == text


def test_a_question_names_the_answer_that_it_gets() -> None:
    """So `ask` has the answer's type for whoever checks types."""
    for job in jobs():
        (named,) = job.question.__orig_bases__[0].__args__  # type: ignore[attr-defined]
        expected = " | ".join(kind.__name__ for kind in job.answers)
        assert named.__forward_arg__ == expected, job.words


@pytest.mark.parametrize(
    "question",
    [
        parambak.MeasureQuestion(where="a/b", stage="whenever"),  # type: ignore[arg-type]
        parambak.SwapReadBackQuestion(where="a/b/c", dumps=(), stage="never"),  # type: ignore[arg-type]
        parambak.SwapCloseQuestion(where="a/b/c", by="J. Doe", old_card_to="sea"),  # type: ignore[arg-type]
        parambak.LayoutDraftQuestion(out="a.toml", memory=1 << 40),
        parambak.CatalogueQuestion(where=7),  # type: ignore[arg-type]
    ],
    ids=lambda question: type(question).__name__,
)
def test_a_question_with_a_wrong_member_is_refused(tmp_path: Path, question: Any) -> None:
    """What the commands refuse by their options is refused here too, with nothing on record."""
    session = parambak.open_vault(tmp_path / "vault", own=tmp_path / "own", create=True)
    with pytest.raises(parambak.CallRefused) as caught:
        parambak.ask(session, question)
    assert caught.value.code == "question"


def test_a_name_that_is_not_there_is_an_attribute_error() -> None:
    """As of every module, so that tools that look around are not misled."""
    with pytest.raises(AttributeError, match="nothing_such"):
        parambak.nothing_such  # noqa: B018 - the look itself is what fails


def test_an_import_alone_imports_nothing_heavy() -> None:
    """What a name needs is imported where the name is first used."""
    code = (
        "import sys; before = set(sys.modules); import parambak; print(set(sys.modules) - before)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not [name for name in HEAVY if f"'{name}'" in done.stdout]


def test_errors_have_the_codes_of_the_commands(tmp_path: Path) -> None:
    """A refusal is a ParambakError with the code, the place and what to do next."""
    with pytest.raises(parambak.NotFound) as caught:
        parambak.read_dump(tmp_path / "absent.hex")
    assert (caught.value.code, caught.value.exit_code) == ("file-absent", 2)
    with pytest.raises(parambak.ParambakError) as refused:
        parambak.open_vault(tmp_path / "no" / "vault", own=tmp_path / "own", create=True)
    assert refused.value.code == "vault-no-folder"
