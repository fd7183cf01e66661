"""The contract for scripts: every answer on its page and in the schema, and what is printed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from documents import answers
from parambak.answers.forms import Answer, Question
from tests.cli.conftest import Ship
from tests.cli.invented import LAYOUT, WHERE, changed, dump

if TYPE_CHECKING:
    from documents.answers import Job

FORMATS = Path(__file__).parents[2] / "formats"
JOBS = answers.jobs()
PAGE = answers.page()
AT = "grebe/port-thruster/U12"
SIDES = ("a.hex", "b.hex", "--old-layout", "layout.toml")


def test_the_committed_pages_are_what_the_program_gives() -> None:
    """Neither the page nor the schema has drifted from the types."""
    assert (FORMATS / "answers.md").read_text("utf-8") == PAGE
    assert (FORMATS / "answers.schema.json").read_text("utf-8") == answers.schema()


@pytest.mark.parametrize("job", JOBS, ids=lambda job: job.words)
def test_each_job_has_a_question_and_an_answer_that_are_on_the_page(job: Job) -> None:
    """Its types bear its name, say what they are, and each key of the answer is listed."""
    assert issubclass(job.question, Question)
    assert all(issubclass(answer, Answer) for answer in job.answers)
    assert job.question.__doc__
    section = PAGE.split(f"\n## {job.words}\n")[1].split("\n## ")[0]
    names = {name for answer in job.answers for name in answer.__struct_encode_fields__}
    assert all(f"| `{name}` |" in section for name in names)


def test_what_the_commands_print_fits_the_schema(tmp_path: Path) -> None:
    """The documents of real calls are judged by the schema alone."""
    jsonschema = pytest.importorskip("jsonschema")
    schema = json.loads(answers.schema())
    validator = jsonschema.Draft202012Validator
    validator.check_schema(schema)
    ship = Ship(tmp_path)
    ship.write("a.hex", dump())
    ship.write("b.hex", dump(changed(0x0010)), second=1)
    ship.write("layout.toml", LAYOUT)
    for number, name in enumerate(("a.hex", "b.hex"), start=1):
        day = f"202{number}-03-01"
        ship.answer("archive", name, *WHERE, "--layout", "layout.toml", "--read-on", day)
    calls: list[tuple[tuple[str, ...], str]] = [
        (("inspect", "a.hex"), "InspectAnswer"),
        (("catalogue",), "CatalogueAnswer"),
        (("diff", "a.hex", "b.hex"), "DiffAnswer"),
        (("diff", "a.hex", "b.hex", f"{AT}@1"), "DiffAnswer"),
        (("diff", *SIDES, "--layout", "layout.toml"), "ValuesDiffAnswer"),
        (("history", AT), "HistoryAnswer"),
        (("history", AT, "--field", "run_hours"), "HistoryAnswer"),
        (("compare-units",), "CompareUnitsAnswer"),
        (("due",), "DueAnswer"),
        (("card", "program", "a.hex"), "CardProgramAnswer"),
        (("card", "list"), "CardListAnswer"),
        (("tables", "--out", "tables"), "TablesAnswer"),
        (("report", "copy", "grebe/port-thruster/U12", "--out", "copy.html"), "ReportCopyAnswer"),
    ]
    for words, name in calls:
        definition = {"$ref": f"#/$defs/{name}", "$defs": schema["$defs"]}
        document = ship.answer(*words).document
        assert "error" not in document
        validator(definition).validate(document)
