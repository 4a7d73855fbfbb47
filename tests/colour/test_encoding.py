"""Encodings against the standards, colour-science and little-cms."""

import colour
import imagecodecs
import numpy as np
import pytest

from evenhand.colour.encoding import MatrixEncoding, encoding_of
from evenhand.colour.primaries import D50_TO_D65, XYZ_TO_WORKING
from evenhand.colour.table_encoding import TableEncoding
from evenhand.errors import UnreadablePhotographError, UnsupportedPhotographError
from tests.colour import profiles

PROFILES = {
    "none": lambda: None,
    "adobe": profiles.adobe_rgb,
    "p3": profiles.display_p3,
    "romm": profiles.romm,
    "samples": profiles.srgb_of_samples,
    "tables": profiles.table_profile,
}

CMS_TOLERANCE = 5e-5
"""Of linear light against little-cms, which rounds sampled curves and tables to 16 bits."""


TABLE_SLACK = {8: 20, 16: 100}
"""Factor on round-trip tolerances for tables: little-cms evaluates 16-bit tables in 16 bits, and a
step there is many steps of a dark channel. Still under a tenth of an 8-bit code from a tenth of
white on."""


def random_codes(dtype, shape=(50, 40), low=0.0):
    white = np.iinfo(dtype).max
    return np.random.default_rng(7).integers(int(low * white), white + 1, (*shape, 3)).astype(dtype)


@pytest.mark.parametrize(
    ("profile", "space"),
    [
        (None, "sRGB"),
        (profiles.adobe_rgb(), "Adobe RGB (1998)"),
        (profiles.display_p3(), "Display P3"),
        (profiles.romm(), "ROMM RGB"),
    ],
)
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_to_linear_is_what_colour_science_computes(profile, space, dtype):
    codes = random_codes(dtype)
    spaces = [colour.RGB_COLOURSPACES[name].copy() for name in (space, "ITU-R BT.2020")]
    for each in spaces:  # from the primaries: the published matrices are rounded
        each.use_derived_transformation_matrices(True)
    expected = colour.RGB_to_RGB(
        codes / np.iinfo(dtype).max,
        *spaces,
        chromatic_adaptation_transform="Bradford",
        apply_cctf_decoding=True,
    )
    linear = encoding_of(profile).to_linear(codes)
    assert linear.dtype == np.float32
    np.testing.assert_allclose(linear, expected, atol=1e-6 if profile is None else 3e-4)


def test_published_grey_of_srgb():
    # IEC 61966-2-1: 0.18 -> 0.461356129500442
    grey = np.full((1, 3), 0.18, np.float32)
    assert encoding_of(None).from_linear(grey, 255) == pytest.approx(
        0.461356129500442 * 255, abs=1e-3
    )


def test_published_grey_of_romm():
    # ISO 22028-2: 0.18 -> 0.3857114
    grey = np.full((1, 3), 0.18, np.float32)
    codes = encoding_of(profiles.romm()).from_linear(grey, 65535)
    # Half a thousandth: the white of the profile is rounded to four places.
    assert codes / 65535 == pytest.approx(0.3857114, abs=5e-4)


def test_published_gamma_of_adobe_rgb():
    # Adobe RGB (1998), 4.3.1.2: gamma 563/256
    codes = np.full((1, 3), 128, np.uint8)
    expected = (128 / 255) ** (563 / 256)
    assert encoding_of(profiles.adobe_rgb()).to_linear(codes) == pytest.approx(expected, abs=2e-5)


@pytest.mark.parametrize("name", PROFILES)
def test_white_is_one(name):
    white = encoding_of(PROFILES[name]()).to_linear(np.full((1, 3), 255, np.uint8))
    np.testing.assert_allclose(white, 1, atol=1e-4)


@pytest.mark.parametrize("name", [name for name in PROFILES if name != "none"])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_to_linear_agrees_with_little_cms(name, dtype):
    profile, codes = PROFILES[name](), random_codes(dtype)
    device = (codes / np.iinfo(dtype).max).astype(np.float32)
    xyz = imagecodecs.cms_transform(
        device, profile, imagecodecs.cms_profile("xyz"), colorspace="rgb", outcolorspace="xyz",
        outdtype="f4", intent=1,
    )  # fmt: skip
    expected = xyz @ (XYZ_TO_WORKING @ D50_TO_D65).T
    np.testing.assert_allclose(encoding_of(profile).to_linear(codes), expected, atol=CMS_TOLERANCE)


@pytest.mark.parametrize(
    ("function", "parameters"),
    [
        (0, (2.2,)),
        (1, (2.2, 0.9, 0.1)),
        (1, (2.2, 1.1, -0.1)),
        (2, (2.2, 0.8, 0.05, 0.1)),
        (2, (2.2, 1.0, -0.1, 0.1)),
        (3, (2.4, 0.947867, 0.052133, 0.077399, 0.04045)),
        (4, (2.4, 0.9, 0.05, 0.08, 0.04, 0.01, 0.005)),
    ],
)
def test_parametric_curves_agree_with_little_cms(function, parameters):
    profile = profiles.parametric(function, parameters)
    codes = random_codes(np.uint16)
    xyz = imagecodecs.cms_transform(
        (codes / 65535).astype(np.float32), profile, imagecodecs.cms_profile("xyz"),
        colorspace="rgb", outcolorspace="xyz", outdtype="f4", intent=1,
    )  # fmt: skip
    encoding = encoding_of(profile)
    assert isinstance(encoding, MatrixEncoding)
    expected = xyz @ (XYZ_TO_WORKING @ D50_TO_D65).T
    np.testing.assert_allclose(encoding.to_linear(codes), expected, atol=CMS_TOLERANCE)


@pytest.mark.parametrize("name", PROFILES)
def test_round_trip_of_8_bits(name):
    encoding, codes = encoding_of(PROFILES[name]()), random_codes(np.uint8, low=0.02)
    back = encoding.from_linear(encoding.to_linear(codes), 255)
    assert back.dtype == np.float32
    slack = TABLE_SLACK[8] if name == "tables" else 1
    np.testing.assert_allclose(back, codes, atol=1e-2 * slack)


@pytest.mark.parametrize("name", PROFILES)
def test_round_trip_of_16_bits(name):
    # From a tenth of white on: next to a bright channel the float32 of a nearly black one ends.
    encoding, codes = encoding_of(PROFILES[name]()), random_codes(np.uint16, low=0.1)
    back = encoding.from_linear(encoding.to_linear(codes), 65535)
    slack = TABLE_SLACK[16] if name == "tables" else 1
    np.testing.assert_allclose(back, codes, atol=0.2 * slack)


@pytest.mark.parametrize("name", PROFILES)
def test_light_round_trips_inside_the_gamut(name):
    encoding = encoding_of(PROFILES[name]())
    grey = np.linspace(0.02, 0.85, 60, dtype=np.float32)
    tint = np.array([1.0, 0.95, 0.9], np.float32)
    light = grey[:, None] * tint
    codes = encoding.from_linear(light, 65535)
    again = encoding.to_linear(np.rint(codes).astype(np.uint16))
    np.testing.assert_allclose(again, light, atol=3e-5)


@pytest.mark.parametrize("name", PROFILES)
def test_light_outside_the_gamut_is_clipped_to_the_file(name):
    encoding = encoding_of(PROFILES[name]())
    light = np.array([[1.7, 1.7, 1.7], [-0.2, -0.2, -0.2]], np.float32)
    codes = encoding.from_linear(light, 255)
    np.testing.assert_allclose(codes[0], 255, atol=0.1)
    np.testing.assert_allclose(codes[1], 0, atol=0.1)


@pytest.mark.parametrize("name", PROFILES)
def test_any_shape_gives_the_same_pixels(name):
    encoding, codes = encoding_of(PROFILES[name]()), random_codes(np.uint8, (6, 4))
    flat = encoding.to_linear(codes.reshape(-1, 3))
    np.testing.assert_array_equal(encoding.to_linear(codes).reshape(-1, 3), flat)
    np.testing.assert_array_equal(
        encoding.to_linear(codes[2:5, 1:3]), flat.reshape(6, 4, 3)[2:5, 1:3]
    )
    assert encoding.from_linear(flat.reshape(2, 3, 4, 3), 255).shape == (2, 3, 4, 3)
    assert encoding.to_linear(codes[:0]).shape == (0, 4, 3)


def test_nan_stays_nan():
    light = np.array([[0.5, 0.5, 0.5], [np.nan, 0.5, 0.5]], np.float32)
    codes = encoding_of(None).from_linear(light, 255)
    assert np.isfinite(codes[0]).all()
    assert np.isnan(codes[1]).all()


@pytest.mark.parametrize("name", PROFILES)
def test_other_types_are_refused(name):
    with pytest.raises(TypeError, match="uint8 or uint16"):
        encoding_of(PROFILES[name]()).to_linear(np.zeros((1, 3), np.int32))


def test_a_profile_of_tables_goes_through_its_tables():
    assert isinstance(encoding_of(profiles.table_profile()), TableEncoding)


@pytest.mark.parametrize(
    "broken",
    [
        b"",
        b"no profile" * 40,
        profiles.display_p3()[:200],
        profiles.display_p3()[:150] + b"\xff" * 400,
        profiles.table_profile()[:3000],
    ],
)
def test_broken_profiles_say_what_to_do(broken):
    with pytest.raises(UnreadablePhotographError, match="profile in the file is broken"):
        encoding_of(broken)


@pytest.mark.parametrize("data", [b"CMYK", b"GRAY"])
def test_profiles_of_other_data_are_told(data):
    with pytest.raises(UnsupportedPhotographError, match=data.decode()):
        encoding_of(profiles.profile({}, b"XYZ ", data))
