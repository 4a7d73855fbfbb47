"""What the pages show of codes of any profile, against colour-science and little-cms."""

from __future__ import annotations

import io

import colour
import numpy as np
import pytest
from PIL import Image, ImageCms
from scipy.interpolate import RegularGridInterpolator

from evenhand.colour.encoding import encoding_of
from evenhand.web.display_colours import STEPS, display_colours
from tests.colour.profiles import (
    adobe_rgb,
    display_p3,
    rec_2020,
    romm,
    srgb_of_samples,
    table_profile,
)
from tests.pictures import srgb_profile

CODES = np.vstack(
    [
        np.random.default_rng(1).integers(0, 256, (500, 3)),
        [[0, 0, 0], [255, 255, 255], [1, 2, 3], [200, 150, 125], [255, 0, 0]],
    ]
)
"""A page's 8-bit codes: any, and those of black, white, deep shadow, skin and a primary."""

ROUNDED = 0.6 / 255
"""Numbers of a profile have 16 bits after the point; half a code is not seen."""


@pytest.mark.parametrize("profile", [None, srgb_profile(), srgb_of_samples()])
def test_srgb_is_shown_as_it_is(profile: bytes | None) -> None:
    shown = display_colours(encoding_of(profile))
    assert (shown.kind, shown.values) == ("same", [])


@pytest.mark.parametrize(
    ("profile", "space"),
    [(adobe_rgb(), "Adobe RGB (1998)"), (display_p3(), "Display P3"),
     (rec_2020(), "ITU-R BT.2020"), (romm(), "ROMM RGB")],
)  # fmt: skip
def test_light_of_three_small_tables_adds_up_to_srgb(profile: bytes, space: str) -> None:
    shown = display_colours(encoding_of(profile))
    assert shown.kind == "light"
    red, green, blue = np.reshape(shown.values, (3, 256, 3))
    light = red[CODES[:, 0]] + green[CODES[:, 1]] + blue[CODES[:, 2]]
    wanted = colour.RGB_to_RGB(
        CODES / 255,
        colour.RGB_COLOURSPACES[space],
        colour.RGB_COLOURSPACES["sRGB"],
        chromatic_adaptation_transform="Bradford",
        apply_cctf_decoding=True,
    )
    shown_codes, wanted_codes = (
        colour.cctf_encoding(np.clip(values, 0, 1), function="sRGB") for values in (light, wanted)
    )
    assert np.abs(wanted_codes - CODES / 255).max() > 0.05  # it is not sRGB already
    np.testing.assert_allclose(shown_codes, wanted_codes, atol=ROUNDED)


def test_a_profile_of_tables_is_sampled() -> None:
    """Read between its steps by scipy, red fastest; little-cms, relative colorimetric."""
    shown = display_colours(encoding_of(table_profile()))
    assert shown.kind == "table"
    ticks = np.linspace(0, 255, STEPS)
    table = np.reshape(shown.values, (STEPS, STEPS, STEPS, 3))  # blue, green, red
    seen = RegularGridInterpolator((ticks,) * 3, table)(CODES[:, ::-1])
    wanted = ImageCms.profileToProfile(
        Image.fromarray(CODES[None].astype(np.uint8)),
        ImageCms.ImageCmsProfile(io.BytesIO(table_profile())),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    assert wanted is not None
    off = np.abs(np.clip(seen, 0, 1) * 255 - np.asarray(wanted)[0])
    assert np.quantile(off, 0.99) < 2
    assert off.mean() < 0.5
