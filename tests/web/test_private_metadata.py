"""What a client or anybody else is shown carries nothing of the original's personal metadata."""

from __future__ import annotations

import base64
import io
import re
import zipfile
import zlib

import imagecodecs
import numpy as np

from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import picture
from tests.private import TRACES, assert_nothing_private, metadata_in, private_original


def test_nothing_private_is_shown(studio: Studio) -> None:
    shoot = studio.shoot()
    original = private_original(np.asarray(imagecodecs.png_decode(picture(1))), ".png")
    added = studio.post(f"/v1/shoots/{shoot}/portraits?name=a.png", content=original)
    assert studio.wait(added["job"]).state == "done"
    portrait = added["portrait"]["id"]
    studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "redness")
    _, link = studio.proof(shoot, portrait)

    iiif = f"/v1/portraits/{portrait}/iiif"
    for path in (
        f"/v1/portraits/{portrait}/preview?side=128",
        f"{iiif}/original/full/max/0/default.jpg",
        f"{iiif}/original/full/max/0/default.png",
        f"{iiif}/retouched/full/max/0/default.jpg",
        f"{iiif}/retouched/full/max/0/default.png",
    ):
        answer = studio.http.get(path)
        assert answer.status_code == 200, path
        assert_nothing_private(answer.content)
    for strength in (0, 0.5):
        path = f"/v1/proof/portraits/{portrait}/picture?side=128&strength={strength}"
        seen = studio.http.get(path, headers=link)
        assert_nothing_private(seen.content)
    signed = studio.sign(portrait, link, choices=[])
    assert_nothing_private(studio.http.get(f"/v1/sign-offs/{signed['id']}/picture").content)

    studio.wait(studio.post(f"/v1/portraits/{portrait}/final", json={"override": "a test"})["id"])
    job = studio.wait(studio.post(f"/v1/shoots/{shoot}/delivery", json={})["id"])
    package = studio.http.get(f"/v1/jobs/{job.id}/files/finals.zip").content
    with zipfile.ZipFile(io.BytesIO(package)) as finals:
        before, after = metadata_in(original), metadata_in(finals.read("a.png"))
        assert {key: after.get(key) for key in before} == before
        sheet = finals.read("contact-sheet.pdf")
    streams = [decoded(*found) for found in re.findall(STREAM, sheet, re.DOTALL)]
    pictures = [stream for stream in streams if stream.startswith(b"\xff\xd8")]
    assert pictures
    for one in pictures:
        assert_nothing_private(one)
    assert not [trace for trace in TRACES for part in (sheet, *streams) if trace in part]


STREAM = rb"/Filter \[([^\]]*)\].*?stream\r?\n(.*?)endstream"
"""A stream of a PDF and how it is coded (ISO 32000-1, section 7.3.8)."""


def decoded(filters: bytes, data: bytes) -> bytes:
    """A PDF stream without its ASCII and deflate coding; a picture's own coding stays."""
    if b"ASCII85" in filters:
        data = base64.a85decode(data.strip().removesuffix(b"~>"))
    return zlib.decompress(data) if b"Flate" in filters else data
