"""What a screen cannot show is told: shares against colour-science's own spaces."""

from __future__ import annotations

from pathlib import Path

import colour
import numpy as np
import pytest

import evenhand
from evenhand.photo.photograph import Photograph
from evenhand.report.gamut import gamut_notes, share_beyond_srgb
from tests.colour import profiles
from tests.pictures import frame_of, srgb_profile, write_file

SPACES = {
    "Adobe RGB (1998)": profiles.adobe_rgb(),
    "Display P3": profiles.display_p3(),
    "ITU-R BT.2020": profiles.rec_2020(),
    "ROMM RGB": profiles.romm(),
}


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("space", SPACES)
def test_the_share_is_what_colour_science_finds(space: str, bits: int) -> None:
    codes = np.random.default_rng(3).random((150, 200, 3))
    white = 2**bits - 1
    pixels = np.rint(codes * white).astype(np.uint8 if bits == 8 else np.uint16)
    found = share_beyond_srgb(Photograph(pixels, SPACES[space]))
    spaces = colour.RGB_COLOURSPACES
    linear = spaces[space].cctf_decoding(pixels / white)
    light = colour.RGB_to_RGB(linear, spaces[space], spaces["sRGB"], "Bradford")
    beyond = ((light < -0.004) | (light > 1.004)).any(-1).mean()
    assert 0.1 < beyond < 0.9
    assert found == pytest.approx(beyond, abs=0.005)


@pytest.mark.parametrize("profile", [None, srgb_profile()])
def test_srgb_is_within_srgb(profile: bytes | None) -> None:
    pixels = np.random.default_rng(4).integers(0, 256, (60, 80, 3), np.uint8)
    assert gamut_notes(Photograph(pixels, profile)) == []


def test_large_photographs_are_sampled() -> None:
    pixels = np.zeros((1500, 1000, 3), np.uint8)
    pixels[:, :250] = (0, 255, 0)
    found = share_beyond_srgb(Photograph(pixels, SPACES["Adobe RGB (1998)"]))
    assert found == pytest.approx(0.25, abs=0.005)


@pytest.mark.usefixtures("known_people")
def test_the_report_says_so(tmp_path: Path) -> None:
    frame = frame_of(96, 128)
    frame[:10, :20] = (0, 255, 0)
    path = write_file(frame, tmp_path / "portrait.png", SPACES["Adobe RGB (1998)"])
    report = evenhand.retouch(path, tmp_path / "out")
    (note,) = (note for note in report.notes if "outside sRGB" in note)
    assert "cannot show" in note
    plain = write_file(frame, tmp_path / "plain.png", srgb_profile())
    report = evenhand.retouch(plain, tmp_path / "out")
    assert not any("outside sRGB" in note for note in report.notes)
