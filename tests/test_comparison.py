"""The before/after picture is made for the eye."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from PIL import Image, ImageCms

from evenhand.box import Box
from evenhand.photo.photograph import Photograph
from evenhand.pictures.comparison import GAP, LONG_SIDE, comparison
from evenhand.pictures.screen import write_with_notices
from tests.pictures import frame_of, photograph_of


def test_halves_stand_side_by_side() -> None:
    original = frame_of(100, 150)
    picture = comparison(photograph_of(original), original // 2)
    assert picture.shape == (100, 2 * 150 + GAP, 3)
    assert (picture[:, :150] == original).all()
    assert (picture[:, 150 + GAP :] == original // 2).all()


def test_large_ones_are_scaled_down_and_cut() -> None:
    original = np.zeros((LONG_SIDE, 3 * LONG_SIDE, 3), np.uint8)
    original[600:700, 1700:1800] = 200
    picture = comparison(photograph_of(original), original, Box(600, 1700, 700, 1800))
    whole = LONG_SIDE // 3
    assert picture.shape == (2 * whole + GAP, 2 * LONG_SIDE + GAP, 3)
    cut = picture[whole + GAP :, :LONG_SIDE]
    assert (cut == 200).all(axis=-1).sum() == 100 * 100


def test_other_profiles_are_shown_in_srgb(tmp_path: Path) -> None:
    """Against Pillow's own use of little-cms, on a profile with its primaries swapped."""
    srgb = ImageCms.createProfile("sRGB")
    swapped = swapped_primaries(ImageCms.ImageCmsProfile(srgb).tobytes())
    original = frame_of(60, 80)
    photograph = Photograph(pixels=original, profile=swapped)
    picture = comparison(photograph, original)
    shown = ImageCms.profileToProfile(
        Image.fromarray(original), ImageCms.ImageCmsProfile(io.BytesIO(swapped)), srgb
    )
    assert np.abs(picture[:, :80].astype(int) - np.asarray(shown)).max() <= 1
    assert (picture[:, :80] != original).any()
    write_with_notices(picture, tmp_path / "picture.jpg")
    with Image.open(tmp_path / "picture.jpg") as read:
        assert read.width == picture.shape[1]
        beneath = np.asarray(read.convert("L"))[picture.shape[0] :]
    assert (beneath < 128).any(), "no notice stands below the picture"


def swapped_primaries(profile: bytes) -> bytes:
    """The profile with the tags of its red and its green primary exchanged."""
    return profile.replace(b"rXYZ", b"????").replace(b"gXYZ", b"rXYZ").replace(b"????", b"gXYZ")
