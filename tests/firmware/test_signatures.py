"""SHA-512 and Ed25519 of the board, under MicroPython, against the standards' examples and a reference library."""

import hashlib
import random
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from .micropython import figures, run

# RFC 8032 section 7.1: tests 1, 2, 3 and SHA(abc): secret key, message. Public key and signature follow below.
RFC8032 = (
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555"
        "fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
        "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
    (
        "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
        "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
        hashlib.sha512(b"abc").hexdigest(),
        "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b589"
        "09351fc9ac90b3ecfdfbc7c66431e0303dca179c138ac17ad9bef1177331a704",
    ),
)
# FIPS 180-4, examples of SHA-512: one block and two.
FIPS180 = {
    b"abc": "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a"
    "2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f",
    b"abcdefghbcdefghicdefghijdefghijkefghijklfghijklmghijklmnhijklmnoijklmnopjklmnopqklmnopqrlmnopqrsmnopqrst"
    b"nopqrstu": "8e959b75dae313da8cf4f72814fc143f8f7779c6eb9f7fa17299aeadb6889018"
    "501d289e4900f7e4331b99dec4b5433ac7d329eeb6dd26545e96e55b874be909",
}
L = 2**252 + 27742317777372353535851937790883648493


@pytest.mark.parametrize("secret, public, message, signature", RFC8032)
def test_the_examples_are_those_of_the_standard(secret: str, public: str, message: str, signature: str) -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert key.public_key().public_bytes_raw().hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == signature


def _cases() -> tuple[list[str], list[int]]:
    """Lines for the script and what it must say of each."""
    rng = random.Random(25519)
    lines, expected = [], []

    def add(public: bytes, signature: bytes, message: bytes, good: int) -> None:
        lines.append(f"{public.hex() or '-'} {signature.hex() or '-'} {message.hex() or '-'}")
        expected.append(good)

    for _, public, message, signature in RFC8032:
        add(bytes.fromhex(public), bytes.fromhex(signature), bytes.fromhex(message), 1)
    for n in range(6):
        key = Ed25519PrivateKey.from_private_bytes(rng.randbytes(32))
        public, message = key.public_key().public_bytes_raw(), rng.randbytes(83 + n)
        signature = key.sign(message)
        add(public, signature, message, 1)
        for _ in range(3):
            whole = bytearray(public + signature + message)
            bit = rng.randrange(len(whole) * 8)
            whole[bit // 8] ^= 1 << bit % 8
            add(bytes(whole[:32]), bytes(whole[32:96]), bytes(whole[96:]), 0)
    add(public, signature[:63], message, 0)
    add(public, signature + b"\0", message, 0)
    add(public, b"", message, 0)
    add(public[:31], signature, message, 0)
    # The same signature with L added to S: section 5.1.7 wants it refused.
    s = int.from_bytes(signature[32:], "little") + L
    add(public, signature[:32] + s.to_bytes(32, "little"), message, 0)
    add(b"\xff" * 32, signature, message, 0)  # y is not below p
    add((2).to_bytes(32, "little"), signature, message, 0)  # y is on no point of the curve
    return lines, expected


def test_signatures_and_hashes_in_small_and_constant_memory(tmp_path: Path) -> None:
    rng = random.Random(512)
    lines, expected = _cases()
    texts = [*FIPS180, *(rng.randbytes(n) for n in (1, 111, 112, 127, 128, 147, 300))]
    path = tmp_path / "cases"
    path.write_text("\n".join([*(text.hex() for text in texts), *lines]) + "\n")
    said = run("ed25519_verify.py", "64k", 60, str(path))
    words = [line.split() for line in said.splitlines()]
    hashes = [w[1] for w in words if w[0] == "sha512"]
    assert hashes == [hashlib.sha512(text).hexdigest() for text in texts]
    assert hashes[:2] == list(FIPS180.values())
    assert [int(w[1]) for w in words if w[0] == "signature"] == expected
    got = figures("\n".join(line for line in said.splitlines() if not line.startswith("sha512")))
    assert got["held_bytes"] < 8000
    assert got["steps"] > 250  # other tasks run in between
