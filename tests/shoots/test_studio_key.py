"""The key that signs records: its public half is RFC 8032's, its signature one for OpenSSL."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from evenhand.jobs.place import addresses_in
from evenhand.shoots.errors import DamagedFileError
from evenhand.shoots.files import Files
from evenhand.shoots.studio_key import PLACE, StudioKey

SECRET = "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"
PUBLIC = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
"""RFC 8032, 7.1, test 1."""

PUBLIC_HEAD = bytes.fromhex("302a300506032b6570032100")
"""What stands before the 32 bytes of an Ed25519 public key in DER (RFC 8410, 4)."""

END = ("a" * 32, 7, "5" * 64)


@pytest.fixture
def files(tmp_path: Path) -> Files:
    return Files(addresses_in(tmp_path)[1])


def test_the_public_key_is_that_of_the_standard() -> None:
    assert StudioKey(bytes.fromhex(SECRET)).public == PUBLIC


def test_somebody_else_can_check_a_signature(tmp_path: Path) -> None:
    """With OpenSSL, the public key and what the API says is signed (`models.RecordOut`)."""
    if shutil.which("openssl") is None:
        pytest.skip("OpenSSL's program is not installed")
    key = StudioKey(bytes.fromhex(SECRET))
    (tmp_path / "public.der").write_bytes(PUBLIC_HEAD + bytes.fromhex(key.public))
    (tmp_path / "signature").write_bytes(bytes.fromhex(key.sign(*END)))

    def verified(statement: str) -> bool:
        (tmp_path / "statement").write_text(statement)
        command = ["openssl", "pkeyutl", "-verify", "-rawin", "-pubin", "-keyform", "DER"]
        command += ["-inkey", "public.der", "-sigfile", "signature", "-in", "statement"]
        return subprocess.run(command, cwd=tmp_path, capture_output=True).returncode == 0

    assert verified(f"evenhand record {END[0]} {END[1]} {END[2]}")
    assert not verified(f"evenhand record {END[0]} {END[1] - 1} {END[2]}")


def test_a_signature_holds_for_its_end_of_its_record_and_key_alone() -> None:
    key, other = StudioKey(bytes.fromhex(SECRET)), StudioKey(bytes(32))
    signature = key.sign(*END)
    assert key.holds(signature, *END)
    assert not other.holds(signature, *END)
    for changed in (("b" * 32, *END[1:]), (END[0], 6, END[2]), (*END[:2], "6" * 64)):
        assert not key.holds(signature, *changed)
    for broken in ("", "no hexadecimal", signature[:-2]):
        assert not key.holds(broken, *END)


def test_a_store_keeps_the_key_that_it_was_given_first(files: Files) -> None:
    assert StudioKey.of(files).public == StudioKey.of(files).public


def test_a_key_that_is_none_is_told(files: Files) -> None:
    files.put_named(PLACE, b"short")
    with pytest.raises(DamagedFileError, match="key that signs the records is damaged"):
        StudioKey.of(files)
