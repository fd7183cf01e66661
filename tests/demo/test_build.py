"""The demo's memories are what they are said to be."""

from __future__ import annotations

from pathlib import Path

import pytest

from parambak.demo import tugs
from parambak.demo.build import memory_of
from parambak.demo.scenario import scenario
from parambak.demo.steps import Call, File
from parambak.layouts.decode import decode
from parambak.layouts.load import load
from parambak.memory.image import Image
from parambak.reads.plausibility import judge

LAYOUTS = Path(__file__).parents[2] / "shared" / "layouts"
LIMITS = LAYOUTS.parent / "limits" / "thruster.toml"


@pytest.mark.parametrize(
    ("name", "values"), [("thruster.toml", tugs.thruster()), ("towing-winch.toml", tugs.winch())]
)
def test_a_memory_decodes_to_the_values_it_was_built_from(
    name: str, values: dict[str, str]
) -> None:
    """Every named field reads back near its value, every check holds, nothing is suspected."""
    layout = load((LAYOUTS / name).read_bytes(), name=name)
    image = Image.of(bytes(memory_of(layout, values)))
    decoded = decode(layout, image)
    shown = {field.field: field.value for field in decoded.fields}
    for field, value in values.items():
        found = shown[field]
        assert found is not None
        try:
            assert abs(float(found) - float(value)) < 0.01
        except ValueError:
            assert found == value
    assert all(check.holds for check in decoded.checks)
    assert not [field for field in decoded.fields if field.within_limits is False]
    assert not judge(image, memory_size=layout.memory)


def test_a_name_or_a_value_that_cannot_be_is_refused() -> None:
    """A slip in the story is found when it is built, not when it is read."""
    layout = load((LAYOUTS / "thruster.toml").read_bytes())
    with pytest.raises(ValueError, match="no ramp_time"):
        memory_of(layout, {"ramp_time": "3.0"})
    with pytest.raises(ValueError, match="cannot hold"):
        memory_of(layout, {"node_address": "300"})


def test_the_story_has_files_of_all_three_formats_and_both_answers() -> None:
    """Files come before the calls that name them; some calls are to fail."""
    layouts = {path.name: path.read_bytes() for path in LAYOUTS.glob("*.toml")}
    written: set[str] = set()
    codes = set()
    for step in scenario(layouts, LIMITS.read_bytes()):
        if isinstance(step, File):
            written.add(step.name)
        elif isinstance(step, Call):
            codes.add(step.exit_code)
            named = {word for word in step.words if word.endswith((".HEX", ".S19", ".BIN"))}
            assert named <= written | {"LOAD.HEX", "STBD.HEX"}
    assert codes == {0, 1, 2}
    assert {name.rpartition(".")[2] for name in written} >= {"HEX", "S19", "BIN"}
