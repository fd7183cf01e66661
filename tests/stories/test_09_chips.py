"""What is printed on a chip is understood, or asked for; a size of no table is a person's word."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.stories.conftest import Laptop

AT = "--vessel grebe --unit port-thruster --position U12 --by 'J. Doe'"
WHERE = "grebe/port-thruster/U12"


def memory(size: int, seed: int = 9) -> bytes:
    """Return bytes that a parameter memory may hold."""
    return random.Random(seed).randbytes(size)


@pytest.mark.parametrize(
    ("printed", "part", "size"),
    [
        ("28C64B", "28C64", 8192),
        ("24LC02B", "24C02", 256),
        ("M24C02", "24C02", 256),
        ("FM18W08", "FM18W08", 32768),
        ("FM24C64", "FM24C64", 8192),
        ("28C16-15", "28C16", 2048),
        ("48Z02", "48Z02", 2048),
    ],
)
def test_the_number_on_the_chip_is_typed_as_it_is_printed(
    laptop: Laptop, printed: str, part: str, size: int
) -> None:
    """The answer states what it was taken as; the size is compared; the record has all three."""
    laptop.dump("r1.bin", memory(size))
    laptop.dump("r2.bin", memory(size))
    text = laptop.yes(f"archive r1.bin r2.bin {AT} --chip {printed}")
    assert (f"{printed} is taken as {part}, {size} bytes" in text) == (printed != part)
    record = f'"size":{{"by":"chip","bytes":{size},"chip":"{part}","printed":"{printed}"}}'.encode()
    kept = [data for name, data in laptop.files().items() if name.startswith("records")]
    assert sum(record in data for data in kept) == 2
    laptop.dump("half.bin", memory(size)[: size // 2])
    error = laptop.refused(f"archive half.bin {AT} --chip {printed}", "raw-size")
    assert error["expected"] == f"{size} bytes"
    error = laptop.refused(f"archive half.bin {AT}", "raw-size")
    assert error["expected"] == f"{size} bytes, the size of the chip {part}"


def test_a_number_that_leaves_the_words_open_is_asked_for(laptop: Laptop) -> None:
    """In a script it is refused with both names; at a terminal it is one question."""
    laptop.dump("r1.bin", memory(256))
    error = laptop.refused(f"archive r1.bin {AT} --chip 93C56", "chip-organisation")
    assert error["expected"] == "93C56-8 or 93C56-16"
    result = laptop.run(f"archive r1.bin {AT} --chip 93LC56C", typed="12\n93c56-16\n")
    assert "93C56-8 has words of 8 bits, 93C56-16 of 16 bits" in result.text
    assert "now on record" not in result.text
    laptop.refused(f"archive r1.bin {AT} --chip 93C56-8", "target-other-chip")
    assert "256 bytes, 128 words" not in result.text  # the name itself was chosen
    assert "plausible for its chip" in laptop.run(f"archive r1.bin {AT} --chip 93C56-16").text


def test_nothing_is_guessed(laptop: Laptop) -> None:
    """One digit more is another part; the near names are shown, and what to do."""
    laptop.dump("r1.bin", memory(8192))
    error = laptop.refused(f"archive r1.bin {AT} --chip 28C640", "chip-unknown")
    assert "28C64" in error["expected"]
    assert "--size" in error["next"]
    assert laptop.refused("inspect r1.bin --chip 28C640", "chip-unknown")["next"].count("--memory")


def test_a_size_of_no_table_is_kept_as_a_persons_word(laptop: Laptop) -> None:
    """It needs a name, is shown with it, judges the next read, and ends with the right part."""
    laptop.dump("r1.bin", memory(768))
    laptop.dump("r2.bin", memory(768))
    nobody = AT.partition(" --by")[0]
    laptop.refused(f"archive r1.bin {nobody} --chip ZZ768 --size 768", "chip-size-by-whom")
    text = laptop.yes(f"archive r1.bin {AT} --chip ZZ768 --size 768")
    assert "768 bytes, the chip ZZ768, by a person's word (J. Doe)" in text
    assert "verified" in laptop.yes(f"archive r2.bin {AT}").casefold()
    laptop.dump("long.bin", memory(1024))
    laptop.refused(f"archive long.bin {AT}", "raw-size")
    laptop.refused(f"archive long.bin {AT} --size 1024", "target-other-chip")
    laptop.refused(f"correct {WHERE} --size 1024", "chip-size-by-whom")
    laptop.refused(f"correct {WHERE} --size 1024x --by 'J. Doe'", "chip-size-shape")
    laptop.refused(f"correct {WHERE} --chip 28C64 --size 1024 --by Me", "chip-size-differs")
    text = laptop.yes(f"correct {WHERE} --size 1024 --by 'J. Doe' --reason 'data sheet'")
    assert "has 1024 bytes, and the latest copy" in text
    text = laptop.yes(f"correct {WHERE} --chip 24LC08B --by 'J. Doe'")
    assert "24LC08B is taken as 24C08, 1024 bytes" in text
    assert "size taken back" in text
    laptop.refused(f"correct {WHERE} --size 1000 --by 'J. Doe'", "chip-size-differs")
    laptop.refused(f"correct {WHERE} --size 1024 --by 'J. Doe'", "correct-nothing")


def test_a_chip_whose_number_cannot_be_read_has_a_size_alone(laptop: Laptop) -> None:
    """--size without --chip."""
    laptop.dump("r1.bin", memory(1000))
    text = laptop.yes(f"archive r1.bin {AT} --size 1000")
    assert "1000 bytes, the chip without a part number, by a person's word" in text
    laptop.refused(f"archive r1.bin {AT} --size 0", "call")
    laptop.refused(f"archive r1.bin {AT} --size 99999999", "chip-size-shape")


@pytest.mark.parametrize("how", ["even-odd", "low-high"])
def test_a_pair_is_given_the_part_on_each_chip(laptop: Laptop, how: str) -> None:
    """Two 28C16 hold 4,096 bytes: so does the record, and so do later reads of one pair alone."""
    whole = memory(4096)
    first, second = (whole[::2], whole[1::2]) if how == "even-odd" else (whole[:2048], whole[2048:])
    for number in (1, 2):
        laptop.dump(f"a{number}.bin", first)
        laptop.dump(f"b{number}.bin", second)
    names = "a1.bin b1.bin a2.bin b2.bin"
    laptop.yes(f"archive {names} {AT} --chip AT28C16-15 --pair {how}")
    record = b'"size":{"by":"chip","bytes":4096,"chip":"28C16","chips":2,"printed":"AT28C16-15"}'
    assert any(record in data for data in laptop.files().values())
    laptop.dump("whole.bin", whole)
    assert "whole.bin" not in laptop.run(f"archive whole.bin {AT}").err
    laptop.refused(f"archive a1.bin {AT}", "raw-size")
    laptop.dump("big.bin", memory(4096))
    error = laptop.refused(f"archive big.bin big.bin {AT} --pair {how}", "raw-size")
    assert "2 chips 28C16" in error["expected"]


def test_each_of_two_chips_that_hold_the_same_has_the_whole_memory(laptop: Laptop) -> None:
    """With --pair duplicate, the part on each chip is the size of the memory."""
    for name in ("a1.bin", "b1.bin", "a2.bin", "b2.bin"):
        laptop.dump(name, memory(2048))
    laptop.yes(f"archive a1.bin b1.bin a2.bin b2.bin {AT} --chip 28C16 --pair duplicate")


def test_the_number_is_read_in_every_command_that_takes_it(laptop: Laptop) -> None:
    """`inspect` and `layout draft` state what it was taken as, on the screen and in JSON."""
    laptop.dump("r1.bin", memory(2048))
    taken = "AT28C16-15 is taken as 28C16, 2048 bytes"
    assert taken in laptop.yes("inspect r1.bin --chip AT28C16-15")
    assert taken in laptop.run("--json inspect r1.bin --chip AT28C16-15").text
    assert taken in laptop.yes("layout draft --chip AT28C16-15 --out first.toml")
    assert "2048" in (laptop.folder / "first.toml").read_text("utf-8")
