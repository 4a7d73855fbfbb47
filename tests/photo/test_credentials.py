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
from tests.photo.pictures import scene, write_with_pillow

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
