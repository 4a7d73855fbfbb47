"""Content credentials: signed with a made-up certificate, checked after the specification.

The signature and the hash of the file are checked here with the packages cryptography and cbor2
after C2PA 2.1 (sections 11.1 and 18.5, annex A.3), RFC 9052 (COSE) and ISO 19566-5 (JUMBF), without
the package that wrote them.
"""

from __future__ import annotations

import hashlib
import io
import json
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from evenhand import photo
from evenhand.errors import WrongSettingError
from evenhand.photo.credentials import Certificate, sign
from tests.photo.exiftool import tags_of
from tests.photo.forms import FORMS
from tests.photo.pictures import read_with_vips, scene, write_with_pillow
from tests.photo.test_raw import write_dng

c2pa = pytest.importorskip("c2pa")
cbor2 = pytest.importorskip("cbor2")

from cryptography import x509  # noqa: E402
from cryptography.hazmat.primitives import hashes  # noqa: E402
from cryptography.hazmat.primitives.asymmetric import ec, utils  # noqa: E402

from tests.photo.certificates import made_certificate  # noqa: E402


@pytest.fixture(scope="module")
def certificate() -> Certificate:
    return made_certificate()


def signed(folder: Path, suffix: str, certificate: Certificate) -> tuple[Path, np.ndarray]:
    """A signed result and its pixels before it was signed."""
    path = folder / f"portrait{suffix}"
    write_with_pillow(path, scene(8), None, 1)
    photograph = photo.read(path)
    result = photograph.pixels.copy()
    result[20:40, 30:50] += 3
    written = photo.write(result, photograph, folder / f"result{suffix}")
    pixels = photo.read(written).pixels
    sign(written, path, ["redness", "smoothing"], ("Evenhand", "0.1.0"), certificate)
    return written, pixels


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
def test_signed_results_are_valid_and_keep_their_pixels(
    suffix: str, certificate: Certificate, tmp_path: Path
) -> None:
    written, pixels = signed(tmp_path, suffix, certificate)
    assert np.array_equal(photo.read(written).pixels, pixels)
    media_type = {".jpg": "image/jpeg", ".png": "image/png", ".tif": "image/tiff"}[suffix]
    with c2pa.Reader(media_type, io.BytesIO(written.read_bytes())) as reader:
        report = json.loads(reader.json())
    failures = report["validation_results"]["activeManifest"]["failure"]
    assert {failure["code"] for failure in failures} <= {"signingCredential.untrusted"}
    manifest = report["manifests"][report["active_manifest"]]
    (assertion,) = [a for a in manifest["assertions"] if a["label"].startswith("c2pa.actions")]
    actions = [action["action"] for action in assertion["data"]["actions"]]
    assert actions == ["c2pa.opened", "c2pa.adjustedColor", "c2pa.filtered"]
    assert manifest["ingredients"][0]["title"] == f"portrait{suffix}"
    assert "thumbnail" not in manifest
    assert "thumbnail" not in manifest["ingredients"][0]


def test_signature_and_hash_after_the_specification(
    certificate: Certificate, tmp_path: Path
) -> None:
    written, _ = signed(tmp_path, ".jpg", certificate)
    content = written.read_bytes()
    boxes = dict(_boxes(_manifest_store(content)))
    claim = next(v for k, v in boxes.items() if k.endswith("c2pa.claim.v2"))
    signature = cbor2.loads(next(v for k, v in boxes.items() if k.endswith("c2pa.signature")))
    protected, unprotected, _, raw = signature.value
    headers = {**cbor2.loads(protected), **unprotected}
    chain = headers.get(33, headers.get("x5chain"))
    leaf = x509.load_der_x509_certificate(chain[0] if isinstance(chain, list) else chain)
    assert leaf.subject == x509.load_pem_x509_certificate(certificate.chain).subject
    message = cbor2.dumps(["Signature1", protected, b"", claim])
    half = len(raw) // 2
    encoded = utils.encode_dss_signature(
        int.from_bytes(raw[:half], "big"), int.from_bytes(raw[half:], "big")
    )
    key = leaf.public_key()
    assert isinstance(key, ec.EllipticCurvePublicKey)
    key.verify(encoded, message, ec.ECDSA(hashes.SHA256()))

    binding = cbor2.loads(next(v for k, v in boxes.items() if k.endswith("c2pa.hash.data")))
    kept = bytearray(content)
    for exclusion in sorted(binding["exclusions"], key=lambda e: -e["start"]):
        del kept[exclusion["start"] : exclusion["start"] + exclusion["length"]]
    assert hashlib.sha256(kept).digest() == binding["hash"]


def _manifest_store(content: bytes) -> bytes:
    """JUMBF boxes put together from the APP11 segments (ISO 19566-5, annex D)."""
    place, parts = 2, []
    while content[place + 1] != 0xDA:
        length = int.from_bytes(content[place + 2 : place + 4], "big")
        payload = content[place + 4 : place + 2 + length]
        if content[place + 1] == 0xEB and payload[:2] == b"JP":
            parts.append(payload[8:] if not parts else payload[16:])
        place += 2 + length
    return b"".join(parts)


def _boxes(data: bytes, label: str = "") -> Iterator[tuple[str, bytes]]:
    """Content of all boxes, by the labels of the superboxes around them."""
    place = 0
    while place + 8 <= len(data):
        size, kind = struct.unpack_from(">I4s", data, place)
        body = data[place + 8 : place + size]
        if kind == b"jumb":
            described = struct.unpack_from(">I", body)[0]
            name = body[8 + 17 : described].split(b"\0")[0].decode()
            yield from _boxes(body[described:], f"{label}/{name}")
        else:
            yield label, body
        place += size


def test_a_changed_file_is_found_out(certificate: Certificate, tmp_path: Path) -> None:
    written, _ = signed(tmp_path, ".jpg", certificate)
    content = bytearray(written.read_bytes())
    content[-20] ^= 1
    with c2pa.Reader("image/jpeg", io.BytesIO(bytes(content))) as reader:
        report: dict[str, Any] = json.loads(reader.json())
    failures = report["validation_results"]["activeManifest"]["failure"]
    assert "assertion.dataHash.mismatch" in {failure["code"] for failure in failures}


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
def test_credentials_of_the_original(suffix: str, certificate: Certificate, tmp_path: Path) -> None:
    """They fit no unsigned result, and are left out; a signed one names the original with them."""
    (tmp_path / "before").mkdir()
    path, _ = signed(tmp_path / "before", suffix, certificate)
    media_type = {".jpg": "image/jpeg", ".png": "image/png", ".tif": "image/tiff"}[suffix]
    assert b"c2pa.claim" in path.read_bytes()
    photograph = photo.read(path)
    assert any("content credentials" in note for note in photograph.notes)
    unchanged = photo.write(photograph.pixels, photograph, tmp_path / f"unchanged{suffix}")
    if suffix != ".png":  # whose picture data are packed anew
        assert unchanged.read_bytes() == path.read_bytes()

    result = photograph.pixels.copy()
    result[20:40, 30:50] += 3
    written = photo.write(result, photograph, tmp_path / f"result{suffix}")
    assert b"c2pa.claim" not in written.read_bytes()
    assert not any("JUMBF" in key for key in tags_of(written))
    with pytest.raises(c2pa.C2paError, match="ManifestNotFound"):
        c2pa.Reader(media_type, io.BytesIO(written.read_bytes()))
    if suffix != ".jpg":
        assert np.array_equal(read_with_vips(written), result)

    sign(written, path, ["redness"], ("Evenhand", "0.1.0"), certificate)
    with c2pa.Reader(media_type, io.BytesIO(written.read_bytes())) as reader:
        report = json.loads(reader.json())
    failures = report["validation_results"]["activeManifest"]["failure"]
    assert {failure["code"] for failure in failures} <= {"signingCredential.untrusted"}
    parent = report["manifests"][report["active_manifest"]]["ingredients"][0]
    assert parent["active_manifest"] in report["manifests"]
    assert len(report["manifests"]) == 2


@pytest.mark.parametrize("suffix", [".dng", ".heic", ".avif"])
def test_results_of_formats_that_become_tiff_are_signed(
    suffix: str, certificate: Certificate, tmp_path: Path
) -> None:
    path = tmp_path / f"portrait{suffix}"
    if suffix == ".dng":
        write_dng(path)
    else:
        form = FORMS[{".heic": "HEIF 10", ".avif": "AVIF 8"}[suffix]]
        form.write(path, form.stored(), None, 6)
    photograph = photo.read(path)
    result = photograph.pixels.copy()
    result[5:20, 5:20] += 3
    written = photo.write(result, photograph, tmp_path / "result.tif")
    sign(written, path, ["redness"], ("Evenhand", "0.1.0"), certificate)
    with c2pa.Reader("image/tiff", io.BytesIO(written.read_bytes())) as reader:
        report = json.loads(reader.json())
    failures = report["validation_results"]["activeManifest"]["failure"]
    assert {failure["code"] for failure in failures} <= {"signingCredential.untrusted"}
    manifest = report["manifests"][report["active_manifest"]]
    assert manifest["ingredients"][0]["title"] == f"portrait{suffix}"
    assert np.array_equal(read_with_vips(written), result)


@pytest.mark.parametrize(
    "head", [b"FUJIFILMCCD-RAW 0201", b"\0\0\0\x18ftypcrx \0\0\0\1crx isom", b"FOVb", b"II*\0\7\0"]
)
def test_a_raw_file_that_cannot_hold_credentials_is_named(
    head: bytes, certificate: Certificate, tmp_path: Path
) -> None:
    """The original here is a file's beginning, and no more is read of it."""
    path, written = tmp_path / "portrait.raw", tmp_path / "result.tif"
    path.write_bytes(head + bytes(range(256)) * 40)
    write_with_pillow(written, scene(8), None, 1)
    sign(written, path, ["redness"], ("Evenhand", "0.1.0"), certificate)
    with c2pa.Reader("image/tiff", io.BytesIO(written.read_bytes())) as reader:
        report = json.loads(reader.json())
    failures = report["validation_results"]["activeManifest"]["failure"]
    assert {failure["code"] for failure in failures} <= {"signingCredential.untrusted"}
    (parent,) = report["manifests"][report["active_manifest"]]["ingredients"]
    assert (parent["title"], parent["relationship"]) == ("portrait.raw", "parentOf")


def test_a_wrong_key_is_told_and_leaves_the_result(
    certificate: Certificate, tmp_path: Path
) -> None:
    path = tmp_path / "portrait.jpg"
    write_with_pillow(path, scene(8), None, 1)
    photograph = photo.read(path)
    written = photo.write(photograph.pixels ^ 1, photograph, tmp_path / "result.jpg")
    content = written.read_bytes()
    with pytest.raises(WrongSettingError, match="not signed"):
        sign(written, path, [], ("Evenhand", "0.1.0"), Certificate(certificate.chain, b"no key"))
    with pytest.raises(WrongSettingError, match="unknown"):
        sign(
            written,
            path,
            [],
            ("Evenhand", "0.1.0"),
            Certificate(certificate.chain, certificate.private_key, "md5"),
        )
    assert written.read_bytes() == content
    assert {entry.name for entry in tmp_path.iterdir()} == {"portrait.jpg", "result.jpg"}
