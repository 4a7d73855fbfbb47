"""Pictures for a screen are in sRGB and say so, whatever the profile of the photograph."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, ImageCms

from tests.colour.profiles import adobe_rgb
from tests.jobs.fixtures import Studio

GREEN = (60, 200, 90)
"""Codes of Adobe RGB that sRGB can show, too, and that are others there."""


@pytest.fixture
def green(studio: Studio) -> tuple[str, str]:
    """A shoot with a green frame in Adobe RGB."""
    shoot, file = studio.shoot(), io.BytesIO()
    Image.new("RGB", (128, 64), GREEN).save(file, "PNG", icc_profile=adobe_rgb())
    added = studio.post(f"/v1/shoots/{shoot}/portraits?name=a.png", content=file.getvalue())
    studio.wait(added["job"])
    return shoot, added["portrait"]["id"]


def test_pictures_for_a_screen_are_srgb(studio: Studio, green: tuple[str, str]) -> None:
    """Against Pillow's colour management, within what JPEG takes."""
    profiles = [ImageCms.ImageCmsProfile(io.BytesIO(adobe_rgb())), ImageCms.createProfile("sRGB")]
    shown = ImageCms.profileToProfile(Image.new("RGB", (1, 1), GREEN), *profiles)
    wanted = np.array(shown.getpixel((0, 0)))
    shoot, portrait = green
    _, link = studio.proof(shoot, portrait)
    for path, headers in (
        (f"/v1/portraits/{portrait}/preview?side=64", {}),
        (f"/v1/portraits/{portrait}/iiif/original/full/max/0/default.jpg", {}),
        (f"/v1/proof/portraits/{portrait}/picture?side=64", link),
    ):
        answer = studio.http.get(path, headers=headers)
        assert answer.status_code == 200, answer.text
        with Image.open(io.BytesIO(answer.content)) as picture:
            profile = ImageCms.ImageCmsProfile(io.BytesIO(picture.info["icc_profile"]))
            assert "sRGB" in ImageCms.getProfileDescription(profile)
            assert np.abs(np.asarray(picture).astype(int) - wanted).max() <= 2
