"""The contract for scripts: every answer on its page and in the schema, and what is printed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from documents import answers
from parambak.answers.forms import Answer, Question
from tests.cli.conftest import Ship
from tests.cli.invented import WHERE, dump

if TYPE_CHECKING:
    from documents.answers import Job

FORMATS = Path(__file__).parents[2] / "formats"
JOBS = answers.jobs()


def test_the_committed_pages_are_what_the_program_gives() -> None:
    """Neither the page nor the schema has drifted from the types."""
    assert (FORMATS / "answers.md").read_text("utf-8") == answers.page()
    assert (FORMATS / "answers.schema.json").read_text("utf-8") == answers.schema()


@pytest.mark.parametrize("job", JOBS, ids=lambda job: job.words)
def test_each_job_has_a_question_and_an_answer_that_are_on_the_page(job: Job) -> None:
    """Its types bear its name, say what they are, and each key of the answer is listed."""
    assert issubclass(job.question, Question)
    assert issubclass(job.answer, Answer)
    assert job.question.__doc__
    section = answers.page().split(f"\n## {job.words}\n")[1].split("\n## ")[0]
    assert all(f"| `{name}` |" in section for name in job.answer.__struct_fields__)


def test_what_the_commands_print_fits_the_schema(tmp_path: Path) -> None:
    """The documents of real calls are judged by the schema alone."""
    jsonschema = pytest.importorskip("jsonschema")
    schema = json.loads(answers.schema())
    ship = Ship(tmp_path)
    ship.write("a.hex", dump())
    ship.answer("archive", "a.hex", *WHERE)
    for words, name in (
        (("inspect", "a.hex"), "InspectAnswer"),
        (("catalogue",), "CatalogueAnswer"),
        (("due",), "DueAnswer"),
        (("tables", "--out", "tables"), "TablesAnswer"),
        (("report", "copy", "grebe/port-thruster/U12", "--out", "copy.html"), "ReportCopyAnswer"),
    ):
        definition = {"$ref": f"#/$defs/{name}", "$defs": schema["$defs"]}
        jsonschema.validate(ship.answer(*words).document, definition)
