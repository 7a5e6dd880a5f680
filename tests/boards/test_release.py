"""Releases of the board code and the key that signs them."""

import hashlib
import os
import stat
from pathlib import Path

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from sootline.bench import FIRMWARE
from sootline.boards import key as keys
from sootline.boards import release as releases
from sootline.boards.release import Release
from sootline.errors import UserError


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("data")


@pytest.fixture(scope="module")
def release(data: Path) -> Release:
    return releases.build(keys.load(data))


def test_manifest_names_every_module_with_its_hash(release: Release) -> None:
    lines = release.manifest.decode().splitlines()
    assert lines[:4] == ["sootboard-release 1", f"version {release.version}", "mpy 6", "arch any"]
    sources = {str(p.relative_to(FIRMWARE)) for p in (FIRMWARE / "sootboard").rglob("*.py")}
    assert {f"{name.removesuffix('.mpy')}.py" for name in release.files} == sources
    for line, (name, content) in zip(lines[4:-1], release.files.items(), strict=True):
        assert line == f"file {len(content)} {hashlib.sha256(content).hexdigest()} {name}"
        assert content[:2] == b"M\x06" and content[2] >> 2 == 0  # no native code
    assert release.size < 100_000  # two of them fit the smallest board's file system many times


def test_signature_is_over_all_lines_before_it(release: Release, data: Path) -> None:
    text, _, last = release.manifest.rpartition(b"signature ")
    public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(keys.public_hex(keys.load(data))))
    signed = b"sootboard release\n" + hashlib.sha256(text).hexdigest().encode()
    public.verify(bytes.fromhex(last.decode()), signed)
    with pytest.raises(InvalidSignature):
        public.verify(bytes.fromhex(last.decode()), signed.replace(b"release", b"relaase"))


def test_the_same_sources_give_the_same_release(release: Release, data: Path) -> None:
    assert releases.build(keys.load(data)) == release
    assert b"older yes\n" in releases.manifest("1.2.3", {}, older=True)
    assert b"signature" not in releases.manifest("1.2.3", {})


def test_key_is_made_once_and_only_for_its_owner(tmp_path: Path) -> None:
    first = keys.load(tmp_path / "data")
    path = tmp_path / "data" / keys.NAME
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert keys.public_hex(keys.load(tmp_path / "data")) == keys.public_hex(first)
    os.chmod(path, 0o640)
    with pytest.raises(UserError, match="chmod 600"):
        keys.load(tmp_path / "data")
    os.chmod(path, 0o600)
    path.write_text("rubbish")
    with pytest.raises(UserError, match="no key for updates"):
        keys.load(tmp_path / "data")


def test_code_that_cannot_be_compiled_is_said(tmp_path: Path) -> None:
    (tmp_path / "sootboard").mkdir()
    with pytest.raises(UserError, match="no board code"):
        releases.build(firmware=tmp_path)
    (tmp_path / "sootboard" / "__init__.py").write_text('VERSION = "1"\n')
    with pytest.raises(UserError, match="three whole numbers"):
        releases.build(firmware=tmp_path)
    (tmp_path / "sootboard" / "__init__.py").write_text('VERSION = "1.0.0"\ndef (\n')
    with pytest.raises(UserError, match=r"__init__\.py: cannot be compiled"):
        releases.build(firmware=tmp_path)
