"""Bodies of records: what is on disk may never change its meaning, nor its bytes."""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.errors import VaultDamaged
from parambak.keeping.state import bodies
from parambak.keeping.state.bodies import KINDS, body_of
from parambak.vault.records import Clock, Record, canonical

if TYPE_CHECKING:
    from tests.keeping.conftest import Laptop

ID, OTHER = "0" * 31 + "1", "0" * 31 + "2"
DIGEST = "ab" * 32
IMAGE = bodies.ImageEntry(sha256=DIGEST, ranges=((0, 16), (32, 8)))
LEAST_DUMP = bodies.DumpEntry(sha256=DIGEST, name="R1.HEX", format="intel-hex", bytes=72)
DUMP = bodies.DumpEntry(
    sha256=DIGEST,
    name="R1.HEX",
    format="intel-hex",
    bytes=72,
    modified=1_772_355_600_000_000_001,
    path_mark=DIGEST,
    file_mark=DIGEST,
    accepted=("wrap",),
    findings=(bodies.FindingEntry(code="hex-lower-case", text="lower case"),),
    opinion="intelhex",
)
VESSEL = bodies.Entity(what="vessel", id=ID, facts={"short": "grebe", "former": ["wader"]})
UNIT = bodies.Entity(what="unit", id=OTHER, facts={"short": "port"}, inside=ID)
LAYOUT = bodies.LayoutEntry(
    sha256=DIGEST, name="l.toml", parts=(bodies.LayoutPart(name="p.toml", sha256=DIGEST),)
)
ENTRY = bodies.ConditionEntry(
    condition="permit", text="nobody", met=False, required=True, accepted=True
)

# One body of each kind, and the JSON that it has had since the first version. These lines
# are what lies in vaults: a change that needs them changed breaks every vault there is.
_D = '"' + DIGEST + '"'
_IMAGE = '{"ranges":[[0,16],[32,8]],"sha256":' + _D + "}"
_LEAST = '{"bytes":72,"format":"intel-hex","name":"R1.HEX","sha256":' + _D + "}"
_DUMP = (
    '{"accepted":["wrap"],"bytes":72,"file_mark":' + _D + ","
    '"findings":[{"code":"hex-lower-case","text":"lower case"}],"format":"intel-hex",'
    '"modified":1772355600000000001,"name":"R1.HEX","opinion":"intelhex",'
    '"path_mark":' + _D + ',"sha256":' + _D + "}"
)
_VESSEL = '{"facts":{"former":["wader"],"short":"grebe"},"id":"' + ID + '","what":"vessel"}'
_ENTRY = (
    '"conditions":[{"accepted":true,"condition":"permit","met":false,"required":true,'
    '"text":"nobody"}]'
)
_UNIT = '{"facts":{"short":"port"},"id":"' + OTHER + '","inside":"' + ID + '","what":"unit"}'
GOLDEN: list[tuple[str, bodies.Body, str]] = [
    (
        "read",
        bodies.ReadBody(call=ID, position=OTHER, image=IMAGE, dumps=(LEAST_DUMP,)),
        '{"call":"' + ID + '","dumps":[' + _LEAST + '],"image":' + _IMAGE + ","
        '"position":"' + OTHER + '"}',
    ),
    (
        "read",
        bodies.ReadBody(
            call=ID,
            position=OTHER,
            image=IMAGE,
            dumps=(DUMP, LEAST_DUMP),
            new=(VESSEL, UNIT),
            read_on="2026-03-01",
            layout=LAYOUT,
            reader="socket",
            reader_sum=bodies.ReaderSum(shown="3A7F", matched="16-bit sum"),
            untimed=True,
            compared=True,
            normal=(bodies.Normal(code="read-address-line", reason="mirrored"),),
            position_confirmed=True,
            remark="grønn lampe",
            visit=ID,
            size=bodies.SizeEntry(bytes=4096, by="chip", chip="28C16", chips=2, printed="28C16-15"),
        ),
        '{"call":"' + ID + '","compared":true,"dumps":[' + _DUMP + "," + _LEAST + "],"
        '"image":' + _IMAGE + ',"layout":{"name":"l.toml","parts":[{"name":"p.toml",'
        '"sha256":' + _D + '}],"sha256":' + _D + '},"new":[' + _VESSEL + "," + _UNIT + "],"
        '"normal":[{"code":"read-address-line","reason":"mirrored"}],'
        '"position":"' + OTHER + '","position_confirmed":true,"read_on":"2026-03-01",'
        '"reader":"socket","reader_sum":{"matched":"16-bit sum","shown":"3A7F"},'
        '"remark":"grønn lampe","size":{"by":"chip","bytes":4096,"chip":"28C16","chips":2,'
        '"printed":"28C16-15"},"untimed":true,"visit":"' + ID + '"}',
    ),
    ("entered", bodies.EnteredBody(new=(UNIT,)), '{"new":[' + _UNIT + "]}"),
    (
        "correct",
        bodies.CorrectBody(what="unit", id=OTHER, facts={"serial": "S-1"}, why="the plate"),
        '{"facts":{"serial":"S-1"},"id":"' + OTHER + '","what":"unit","why":"the plate"}',
    ),
    (
        "withdrawn",
        bodies.WithdrawnBody(
            records=(DIGEST,), what="read R1.HEX", why="typed wrong", moved_to=DIGEST, undo=True
        ),
        '{"moved_to":' + _D + ',"records":[' + _D + '],"undo":true,"what":"read R1.HEX",'
        '"why":"typed wrong"}',
    ),
    (
        "visit-opened",
        bodies.VisitOpenedBody(
            visit=ID, on="2026-03-01", at="08:30", new=(VESSEL,), reader="socket"
        ),
        '{"at":"08:30","new":['
        + _VESSEL
        + '],"on":"2026-03-01","reader":"socket","visit":"'
        + ID
        + '"}',
    ),
    (
        "visit-closed",
        bodies.VisitClosedBody(visit=ID, on="2026-03-02", at="17:45", remark="done"),
        '{"at":"17:45","on":"2026-03-02","remark":"done","visit":"' + ID + '"}',
    ),
    (
        "layout-attached",
        bodies.LayoutAttachedBody(
            position=OTHER, layout=bodies.LayoutEntry(sha256=DIGEST, name="l.toml")
        ),
        '{"layout":{"name":"l.toml","sha256":' + _D + '},"position":"' + OTHER + '"}',
    ),
    (
        "card-sheet",
        bodies.CardSheetBody(unit=OTHER, sheet=DIGEST, name="s.toml"),
        '{"name":"s.toml","sheet":' + _D + ',"unit":"' + OTHER + '"}',
    ),
    (
        "sheet-of-card",
        bodies.SheetOfCardBody(card=OTHER, sheet=DIGEST, name="s.toml"),
        '{"card":"' + OTHER + '","name":"s.toml","sheet":' + _D + "}",
    ),
    (
        "cards-crossed-over",
        bodies.CardsCrossedOverBody(units=(ID, OTHER), why="the fault"),
        '{"units":["' + ID + '","' + OTHER + '"],"why":"the fault"}',
    ),
    (
        "cards-crossed-over",
        bodies.CardsCrossedOverBody(units=(ID, OTHER), why="found", cards=(OTHER, ID), back=True),
        '{"back":true,"cards":["'
        + OTHER
        + '","'
        + ID
        + '"],"units":["'
        + ID
        + '","'
        + OTHER
        + '"],"why":"found"}',
    ),
    (
        "load-file",
        bodies.LoadFileBody(
            position=OTHER, image=IMAGE, format="raw", file_sha256=DIGEST, sum16="3A7F"
        ),
        '{"file_sha256":' + _D + ',"format":"raw","image":' + _IMAGE + ","
        '"position":"' + OTHER + '","sum16":"3A7F"}',
    ),
    (
        "read-back",
        bodies.ReadBackBody(
            position=OTHER,
            selected=IMAGE,
            image=IMAGE,
            dumps=(LEAST_DUMP,),
            stage="after-power",
            loaded_correctly=False,
            differing_bytes=1,
            running_bytes=4,
        ),
        '{"differing_bytes":1,"dumps":[' + _LEAST + '],"image":' + _IMAGE + ","
        '"loaded_correctly":false,"position":"' + OTHER + '","running_bytes":4,'
        '"selected":' + _IMAGE + ',"stage":"after-power"}',
    ),
    (
        "read-back",
        bodies.ReadBackBody(
            position=OTHER,
            selected=IMAGE,
            image=IMAGE,
            dumps=(LEAST_DUMP,),
            stage="after-power",
            loaded_correctly=False,
            differing_bytes=0,
            by_values=True,
            differing_values=2,
            running_values=1,
            old_layout=LAYOUT,
            layout=bodies.LayoutEntry(sha256=DIGEST, name="n.toml"),
            renames=bodies.RenamesEntry(sha256=DIGEST, name="r.toml"),
        ),
        '{"by_values":true,"differing_bytes":0,"differing_values":2,"dumps":[' + _LEAST + "],"
        '"image":' + _IMAGE + ',"layout":{"name":"n.toml","sha256":' + _D + "},"
        '"loaded_correctly":false,"old_layout":{"name":"l.toml",'
        '"parts":[{"name":"p.toml","sha256":' + _D + '}],"sha256":' + _D + "},"
        '"position":"' + OTHER + '","renames":{"name":"r.toml","sha256":' + _D + "},"
        '"running_values":1,"selected":' + _IMAGE + ',"stage":"after-power"}',
    ),
    (
        "measured",
        bodies.MeasuredBody(
            about=OTHER,
            stage="as-found",
            readings=(
                bodies.ReadingEntry(
                    name="bus_input",
                    unit="V",
                    value="48.6",
                    typed="48,6",
                    low="43",
                    high="56",
                    supply=True,
                ),
                bodies.ReadingEntry(
                    name="speed", unit="rpm", value="950", frequency="570", teeth=36
                ),
                bodies.ReadingEntry(name="gap", not_possible="brake hot"),
            ),
            on="2026-03-01",
            limits=bodies.LimitsEntry(sha256=DIGEST, name="l.toml"),
            instrument="multimeter",
            calibrated="2025-11-02",
            visit=ID,
            remark="cabinet warm",
        ),
        '{"about":"' + OTHER + '","calibrated":"2025-11-02","instrument":"multimeter",'
        '"limits":{"name":"l.toml","sha256":' + _D + '},"on":"2026-03-01","readings":['
        '{"high":"56","low":"43","name":"bus_input","supply":true,"typed":"48,6","unit":"V",'
        '"value":"48.6"},{"frequency":"570","name":"speed","teeth":36,"unit":"rpm",'
        '"value":"950"},{"name":"gap","not_possible":"brake hot"}],'
        '"remark":"cabinet warm","stage":"as-found","visit":"' + ID + '"}',
    ),
    (
        "loss-accepted",
        bodies.LossAcceptedBody(
            positions=(OTHER,), reason="no copy has it", records=(DIGEST,), objects=(DIGEST,)
        ),
        '{"objects":[' + _D + '],"positions":["' + OTHER + '"],"reason":"no copy has it",'
        '"records":[' + _D + "]}",
    ),
    (
        "left-out",
        bodies.LeftOutBody(source="grebe.zip", records=(DIGEST,), unread=2),
        '{"records":[' + _D + '],"source":"grebe.zip","unread":2}',
    ),
    (
        "on-purpose",
        bodies.OnPurposeBody(position=OTHER, field="ramp", reason="heavier", withdrawn=True),
        '{"field":"ramp","position":"' + OTHER + '","reason":"heavier","withdrawn":true}',
    ),
    (
        "remarked",
        bodies.RemarkedBody(
            position=OTHER,
            image_old=IMAGE,
            image_new=IMAGE,
            text="the mate",
            ranges=((16, 2),),
            visit=ID,
        ),
        '{"image_new":' + _IMAGE + ',"image_old":' + _IMAGE + ',"position":"' + OTHER + '",'
        '"ranges":[[16,2]],"text":"the mate","visit":"' + ID + '"}',
    ),
    (
        "backup-location",
        bodies.BackupLocationBody(
            location=ID, name="office", address="/mnt", vessels=(OTHER,), packed=True, removed=True
        ),
        '{"address":"/mnt","location":"' + ID + '","name":"office","packed":true,"removed":true,'
        '"vessels":["' + OTHER + '"]}',
    ),
    (
        "held",
        bodies.HeldBody(
            location=ID,
            name="office",
            heads=(DIGEST,),
            records=4,
            objects=9,
            hashed=True,
            incomplete=(DIGEST,),
        ),
        '{"hashed":true,"heads":[' + _D + '],"incomplete":[' + _D + '],"location":"' + ID + '",'
        '"name":"office","objects":9,"records":4}',
    ),
    (
        "ships-rules",
        bodies.ShipsRulesBody(rules=DIGEST, name="r.toml"),
        '{"name":"r.toml","rules":' + _D + "}",
    ),
    (
        "swap-opened",
        bodies.SwapOpenedBody(
            swap=ID,
            position=OTHER,
            route="load",
            why="dead",
            new=(UNIT,),
            old_card=ID,
            new_card=OTHER,
            conditions=(ENTRY,),
        ),
        "{" + _ENTRY + ',"new":[' + _UNIT + '],"new_card":"' + OTHER + '","old_card":"' + ID + '",'
        '"position":"' + OTHER + '","route":"load","swap":"' + ID + '","why":"dead"}',
    ),
    (
        "swap-answer",
        bodies.SwapAnswerBody(swap=ID, condition="permit", answer="yes", text="no 14"),
        '{"answer":"yes","condition":"permit","swap":"' + ID + '","text":"no 14"}',
    ),
    (
        "swap-copy-selected",
        bodies.SwapCopySelectedBody(swap=ID, image=IMAGE, why="older"),
        '{"image":' + _IMAGE + ',"swap":"' + ID + '","why":"older"}',
    ),
    (
        "swap-sheet",
        bodies.SwapSheetBody(swap=ID, sheet=DIGEST, name="spare.toml"),
        '{"name":"spare.toml","sheet":' + _D + ',"swap":"' + ID + '"}',
    ),
    (
        "swap-deviation",
        bodies.SwapDeviationBody(
            swap=ID, condition="supply-voltages", text="not known", reason="urgent"
        ),
        '{"condition":"supply-voltages","reason":"urgent","swap":"' + ID + '","text":"not known"}',
    ),
    (
        "swap-tested",
        bodies.SwapTestedBody(swap=ID, tests=(bodies.FunctionTest(name="stop", result="failed"),)),
        '{"swap":"' + ID + '","tests":[{"name":"stop","result":"failed"}]}',
    ),
    (
        "swap-closed",
        bodies.SwapClosedBody(
            swap=ID,
            outcome="closed",
            reason="done",
            tests=(
                bodies.FunctionTest(name="stop", result="passed", text="twice"),
                bodies.FunctionTest(name="start", result="failed"),
            ),
            taken_in=(DIGEST,),
            old_card_to="ashore",
            conditions=(ENTRY,),
        ),
        "{"
        + _ENTRY
        + ',"old_card_to":"ashore","outcome":"closed","reason":"done","swap":"'
        + ID
        + '","taken_in":['
        + _D
        + "],"
        '"tests":[{"name":"stop","result":"passed","text":"twice"},'
        '{"name":"start","result":"failed"}]}',
    ),
    (
        "recheck",
        bodies.RecheckBody(objects=41, records=17, damaged=0),
        '{"damaged":0,"objects":41,"records":17}',
    ),
]


def record_of(kind: str, body: dict[str, Any]) -> Record:
    """Return a record with this body."""
    return Record(
        format=1,
        kind=kind,
        after=(),
        clock=Clock(utc="2026-03-01T08:00:00Z", offset=60),
        writer=ID,
        objects=(),
        body=body,
        vessel=ID,
    )


@pytest.mark.parametrize(("kind", "body", "text"), GOLDEN)
def test_a_body_has_the_json_it_always_had(kind: str, body: bodies.Body, text: str) -> None:
    """Byte for byte; members at their default are left out."""
    assert type(body) is KINDS[kind]
    assert canonical(body.members()) == text.encode() + b"\n"


@pytest.mark.parametrize(("kind", "body", "text"), GOLDEN)
def test_the_json_of_old_is_read_as_it_was_meant(kind: str, body: bodies.Body, text: str) -> None:
    """From the bytes back to the body, as a record's members."""
    assert body_of(record_of(kind, json.loads(text)), DIGEST, KINDS[kind]) == body


def test_every_kind_has_its_golden_line() -> None:
    """A new kind comes with one."""
    assert {kind for kind, _, _ in GOLDEN} == set(KINDS)


@pytest.mark.parametrize(("kind", "body", "text"), GOLDEN)
def test_members_of_a_later_version_are_passed_over(
    kind: str, body: bodies.Body, text: str
) -> None:
    """At the top and within."""
    later = json.loads(text) | {"later": {"a": [1]}}
    for each in [*later.get("new", []), *later.get("dumps", [])]:
        each["later"] = True
    assert body_of(record_of(kind, later), DIGEST, KINDS[kind]) == body


@pytest.mark.parametrize(("kind", "body", "text"), GOLDEN)
def test_a_body_of_another_shape_is_damage(kind: str, body: bodies.Body, text: str) -> None:
    """A needed member left out, or any member of another type: vault-body, the file named."""
    del body
    good = json.loads(text)
    needed = {f.encode_name for f in msgspec.structs.fields(KINDS[kind]) if f.required}
    shapes = [{k: v for k, v in good.items() if k != name} for name in sorted(needed)]
    shapes += [good | {name: [[[]]]} for name in good]
    for wrong in shapes:
        with pytest.raises(VaultDamaged) as damage:
            body_of(record_of(kind, wrong), DIGEST, KINDS[kind])
        assert damage.value.code == "vault-body"
        assert damage.value.file == f"records/ab/{DIGEST}.json"
        assert kind in (damage.value.expected or "")


JSON = st.recursive(
    st.booleans() | st.integers() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=10,
)


@given(
    st.sampled_from(sorted(KINDS)),
    st.dictionaries(
        st.sampled_from(sorted({f.name for k in KINDS.values() for f in msgspec.structs.fields(k)}))
        | st.text(),
        JSON,
    ),
)
def test_no_body_escapes_as_another_error(kind: str, body: dict[str, Any]) -> None:
    """Anything that JSON can hold is a body or damage."""
    with suppress(VaultDamaged):
        body_of(record_of(kind, body), DIGEST, KINDS[kind])


@pytest.mark.parametrize(
    "ranges",
    [((0, 15),), ((0, 17),), (), ((0, 8), (4, 8)), ((0, 16), (99, 1)), ((0, 8), (0, 8))],
)
def test_ranges_that_are_none_of_the_bytes_are_damage(ranges: tuple[tuple[int, int], ...]) -> None:
    """Too few, too many, overlapping: vault-body, not another error."""
    entry = bodies.ImageEntry(sha256=DIGEST, ranges=ranges)
    with pytest.raises(VaultDamaged) as damage:
        entry.image(bytes(16))
    assert damage.value.code == "vault-body"


@dataclass
class _Wrong:
    ranges: list[list[int]]


@pytest.mark.parametrize("ranges", [[[-1, 4]], [[0, -4]], [[0]], [[0, 1, 2]], [["0", 1]]])
def test_ranges_of_no_address_are_damage(ranges: list[list[Any]]) -> None:
    """Negative, or of another shape."""
    _, _, text = GOLDEN[0]
    body = json.loads(text)
    body["image"]["ranges"] = _Wrong(ranges).ranges
    with pytest.raises(VaultDamaged):
        body_of(record_of("read", body), DIGEST, bodies.ReadBody)


def test_a_kind_of_a_later_version_is_passed_over(laptop: Laptop) -> None:
    """The fleet is known without it."""
    from tests.keeping.conftest import image

    laptop.take(image())
    before = laptop.fleet
    with laptop.vault.writing() as writing:
        writing.add("of-a-later-version", laptop.vault.vessels()[0], {"anything": [1, {"a": "b"}]})
    assert laptop.fleet == before


def test_an_image_entry_stands_for_its_image() -> None:
    """Gaps and all, there and back."""
    from parambak.memory.image import Block, Image

    image = Image.from_blocks([Block(0, b"abcd"), Block(0x20, b"ef")])
    entry = bodies.ImageEntry.of(image, DIGEST)
    assert entry.ranges == ((0, 4), (0x20, 2))
    assert entry.image(image.content) == image
