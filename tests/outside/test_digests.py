from __future__ import annotations

from pathlib import Path

import pytest

from parambak.memory import digests

cryptography_vectors = pytest.importorskip("cryptography_vectors")
# NIST CAVP, "SHA Test Vectors for Hashing Byte-Oriented Messages", as PyPI's
# cryptography-vectors ships them.
NIST = Path(cryptography_vectors.__file__).parent / "hashes" / "SHA2"

# The example messages of FIPS 180-4 (worked through in FIPS 180-2, appendix B); digests from
# memory, and the same as coreutils' sha256sum gives. NIST's files below judge without memory.
FIPS_180_4 = {
    b"": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    b"abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq": (
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    ),
    b"a" * 1_000_000: "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
}


def messages(name: str) -> list[tuple[bytes, str]]:
    """Return message and digest of each case of a CAVP response file."""
    cases, length, message = [], 0, b""
    for line in (NIST / name).read_text("ascii").splitlines():
        key, _, value = line.partition(" = ")
        if key == "Len":
            length = int(value)
        elif key == "Msg":
            message = bytes.fromhex(value)[: length // 8]  # the empty one is written 00
        elif key == "MD":
            cases.append((message, value))
    return cases


@pytest.mark.parametrize(("message", "expected"), FIPS_180_4.items(), ids=len)
def test_the_examples_of_the_standard(message: bytes, expected: str) -> None:
    """SHA-256 of the published example messages is the published digest."""
    assert digests.sha256(message) == expected


@pytest.mark.parametrize(("name", "count"), [("SHA256ShortMsg.rsp", 65), ("SHA256LongMsg.rsp", 64)])
def test_nists_messages(name: str, count: int) -> None:
    """Every short and long message of NIST's validation set has its digest."""
    cases = messages(name)
    assert len(cases) == count
    for message, expected in cases:
        assert digests.sha256(message) == expected


def test_nists_chain_of_a_hundred_thousand() -> None:
    """NIST's Monte Carlo test (SHAVS 6.4): 100 seeds, each the last of 1,000 digests."""
    lines = (NIST / "SHA256Monte.rsp").read_text("ascii").splitlines()
    values = [line.partition(" = ") for line in lines]
    (seed,) = [bytes.fromhex(value) for key, _, value in values if key == "Seed"]
    expected = [value for key, _, value in values if key == "MD"]
    assert len(expected) == 100
    for checkpoint in expected:
        last = [seed, seed, seed]
        for _ in range(1000):
            last = [*last[1:], bytes.fromhex(digests.sha256(b"".join(last)))]
        seed = last[-1]
        assert seed.hex() == checkpoint


@pytest.mark.parametrize(
    ("size", "sha256", "crc32"),
    [
        (2048, "d0ff1b29", "3F55D17F"),
        (8192, "7d2c7ac4", "B4293435"),
        (32768, "2d864c0b", "1B43EABD"),
        (131_072, "b5a41c37", "154803CC"),
    ],
)
def test_what_a_blank_chip_gives(size: int, sha256: str, crc32: str) -> None:
    """Chips of FF alone: computed beforehand with sha256sum and zlib, no published source."""
    blank = b"\xff" * size
    assert digests.sha256(blank)[:8] == sha256
    assert digests.crc32(blank) == crc32


def test_the_check_value_of_the_crc_catalogue() -> None:
    """CRC-32/ISO-HDLC of "123456789" is CBF43926 (catalogue of parametrised CRC algorithms)."""
    assert digests.crc32(b"123456789") == "CBF43926"


def test_plain_sums() -> None:
    """A reader's sums: bytes added up, modulo 256 and 65536 (common practice, no source)."""
    data = bytes(range(256)) * 3
    assert digests.sum8(data) == f"{3 * 32640 % 256:02X}" == "80"
    assert digests.sum16(data) == f"{3 * 32640 % 65536:04X}" == "7E80"
    assert digests.sum8(b"") == "00"
    assert digests.sum16(b"\xff" * 65537) == f"{255 * 65537 % 65536:04X}"
