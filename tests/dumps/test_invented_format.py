"""A dump format that nobody has written: one record, and it is everywhere a format belongs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from msgspec.structs import replace

from parambak.dumps import registry
from parambak.dumps.dump import LOOKS_OTHERWISE, Dump, Style, Terms
from parambak.dumps.format import Format, Judge
from parambak.dumps.profile import load_profile
from parambak.dumps.registry import detect, read_dump, write_dump
from parambak.dumps.second_opinion import Opinion, second_opinion
from parambak.errors import DumpRefused, SheetRefused
from parambak.memory.image import Image

if TYPE_CHECKING:
    from collections.abc import Iterator

HEAD = b"PLAIN"


def read(data: bytes, *, terms: Terms = Terms()) -> Dump:  # noqa: B008 - Terms is immutable
    """Return what follows the first bytes."""
    del terms
    return Dump("plain", Image.of(data.removeprefix(HEAD)))


def write(image: Image, *, style: Style = Style()) -> bytes:  # noqa: B008 - Style is immutable
    """Return the bytes of the image behind the first bytes."""
    del style
    return HEAD + image.content


def pieces(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield the bytes, as another program reads them."""
    if b"!" in data:
        raise ValueError("an exclamation")
    yield 0, data[5:]


PLAIN = Format(
    name="plain",
    label="Plain dump",
    endings=("pln",),
    contents="plain dumps",
    read=read,
    write=write,
    judge=lambda data, _: Judge("somebody 1.0", pieces(data)),
    begins=lambda data: data.startswith(HEAD),
)


@pytest.fixture
def invented(monkeypatch: pytest.MonkeyPatch) -> None:
    """Give the program one format more."""
    monkeypatch.setattr(registry, "FORMATS", {"plain": PLAIN, **registry.FORMATS})


@pytest.mark.usefixtures("invented")
def test_it_is_read_by_its_name_and_by_its_content() -> None:
    """The ending shows it; so do the first bytes; a declared one is taken."""
    assert detect("a.PLN", b"anything") == "plain"
    assert detect("a.bin", b"PLAIN1234") == "plain"
    assert read_dump("a", b"PLAIN1234").image == Image.of(b"1234")
    assert read_dump("a", b"1234", format="plain").format == "plain"


@pytest.mark.usefixtures("invented")
def test_a_name_that_says_another_format_is_refused() -> None:
    """Its content under another format's ending, and a record under its own."""
    for name, data, other in (
        ("a.hex", b"PLAIN1234", "plain"),
        ("a.pln", b":0100000001FE\n", "intel-hex"),
    ):
        with pytest.raises(DumpRefused) as caught:
            read_dump(name, data)
        assert (caught.value.code, caught.value.found) == ("dump-name-differs", other)


@pytest.mark.usefixtures("invented")
def test_it_is_not_taken_as_raw_without_a_word() -> None:
    """Read as raw it is refused; declared raw, what it looks like is noted."""
    raw = registry.FORMATS["raw"]
    with pytest.raises(DumpRefused) as caught:
        raw.read(b"PLAIN1234")
    assert (caught.value.code, caught.value.found) == ("raw-looks-otherwise", "plain dumps")
    dump = read_dump("a.bin", b"PLAIN1234", format="raw")
    assert [finding.text for finding in dump.findings] == [
        "allowed: taken as raw, though it looks like plain dumps"
    ]
    assert raw.read(b"PLAIN1234", terms=Terms(frozenset({LOOKS_OTHERWISE}))) == dump


@pytest.mark.usefixtures("invented")
def test_it_is_written() -> None:
    """By its name, as any other."""
    assert write_dump(Image.of(b"1234"), "plain") == b"PLAIN1234"


@pytest.mark.usefixtures("invented")
def test_its_own_judge_is_asked() -> None:
    """Who agrees is named; who reads other bytes, or refuses, stops it."""
    dump = read_dump("a", b"PLAIN1234")
    assert second_opinion(b"PLAIN1234", dump) == Opinion("somebody 1.0", agrees=True)
    for data, code in ((b"PLAIN1235", "opinion-differs"), (b"PLAIN123!", "opinion-refuses")):
        with pytest.raises(DumpRefused) as caught:
            second_opinion(data, dump)
        assert caught.value.code == code


def test_a_format_without_a_judge_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    """The reason is in place of the judge."""
    alone = replace(PLAIN, judge=lambda _data, _dump: "nobody reads it")
    monkeypatch.setattr(registry, "FORMATS", {"plain": alone})
    opinion = second_opinion(b"PLAIN1234", read_dump("a", b"PLAIN1234"))
    assert opinion == Opinion(None, None, "nobody reads it")


@pytest.mark.usefixtures("invented")
def test_a_reader_profile_may_name_it() -> None:
    """As the format of a reader's files; a name that no format has is refused."""
    assert load_profile(b"[reader]\nname = 'a'\nformat = 'plain'").format == "plain"
    with pytest.raises(SheetRefused) as caught:
        load_profile(b"[reader]\nname = 'a'\nformat = 'elf'")
    assert caught.value.found == "Invalid enum value 'elf' - at `$.reader.format`"


def test_a_name_or_an_ending_stands_for_one_format() -> None:
    """No two of the program's own formats claim a name, and no two an ending."""
    forms = list(registry.FORMATS.values())
    assert [form.name for form in forms] == list(registry.FORMATS)
    endings = [ending for form in forms for ending in form.endings]
    assert len(endings) == len(set(endings))
