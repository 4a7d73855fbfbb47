"""Colour spaces named without a profile: what the profile made of them does, by little-cms.

Formulas: IEC 61966-2-1 (sRGB), Adobe RGB (1998) section 4.3.1.2, PNG third edition 11.3.2.5.
"""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import colour
import numpy as np
import pytest
from PIL import Image, ImageCms

from evenhand import photo
from evenhand.errors import UnsupportedPhotographError
from evenhand.photo.png import START
from tests.photo.pictures import PROFILES, scene, write_with_pillow


def lab_by_profile(profile: bytes, codes: tuple[int, int, int]) -> np.ndarray:
    """CIELAB, D50, of a colour by Pillow's little-cms."""
    source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    transform = ImageCms.buildTransform(
        source, ImageCms.createProfile("LAB"), "RGB", "LAB", ImageCms.Intent.RELATIVE_COLORIMETRIC
    )
    picture = ImageCms.applyTransform(Image.new("RGB", (1, 1), codes), transform)
    assert picture is not None
    lightness, a, b = np.asarray(picture)[0, 0].tolist()
    signed = [value - 256 if value > 127 else value for value in (a, b)]
    return np.array([lightness * 100 / 255, *signed])


def lab_by_formula(space: str, codes: tuple[int, int, int], gamma: float | None) -> np.ndarray:
    """CIELAB, D50 (Bradford), of a colour by colour-science."""
    definition = colour.RGB_COLOURSPACES[space]
    values = np.array(codes) / 255
    linear = definition.cctf_decoding(values) if gamma is None else values**gamma
    xyz = definition.matrix_RGB_to_XYZ @ linear
    d50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    adapted = colour.chromatic_adaptation(
        xyz,
        colour.xy_to_XYZ(definition.whitepoint),
        colour.xy_to_XYZ(d50),
        method="Von Kries",
        transform="Bradford",
    )
    return colour.XYZ_to_Lab(adapted, d50)


COLOURS = [(200, 120, 100), (90, 60, 40), (128, 128, 128), (30, 200, 90)]


def assert_same(profile: bytes | None, space: str, gamma: float | None = None) -> None:
    """Within the 8 bits of little-cms's Lab."""
    assert profile is not None
    for codes in COLOURS:
        assert lab_by_profile(profile, codes) == pytest.approx(
            lab_by_formula(space, codes, gamma), abs=1.2
        )


def png_with(path: Path, *chunks: tuple[bytes, bytes]) -> Path:
    """A PNG file with chunks put in after its header."""
    write_with_pillow(path, scene(8), None, 1)
    content = path.read_bytes()
    more = b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in chunks
    )
    path.write_bytes(content[:33] + more + content[33:])
    assert content.startswith(START)
    return path


def chromaticities(space: str) -> bytes:
    definition = colour.RGB_COLOURSPACES[space]
    numbers = [*definition.whitepoint, *definition.primaries.ravel()]
    return struct.pack(">8I", *(round(float(n) * 100_000) for n in numbers))


def test_png_with_gamma_and_primaries(tmp_path: Path) -> None:
    path = png_with(
        tmp_path / "portrait.png",
        (b"gAMA", struct.pack(">I", 45470)),
        (b"cHRM", chromaticities("Adobe RGB (1998)")),
    )
    photograph = photo.read(path)
    assert_same(photograph.profile, "Adobe RGB (1998)", 1 / 0.4547)
    assert any("numbers its colour space" in note for note in photograph.notes)
    written = photo.write(photograph.pixels ^ 1, photograph, tmp_path / "result.png")
    assert b"cHRM" in written.read_bytes()
    assert b"iCCP" not in written.read_bytes()


def test_png_with_linear_light(tmp_path: Path) -> None:
    path = png_with(tmp_path / "portrait.png", (b"gAMA", struct.pack(">I", 100_000)))
    assert_same(photo.read(path).profile, "sRGB", 1.0)


def test_png_of_display_p3_by_code(tmp_path: Path) -> None:
    path = png_with(tmp_path / "portrait.png", (b"cICP", bytes([12, 13, 0, 1])))
    assert_same(photo.read(path).profile, "Display P3")


@pytest.mark.parametrize(
    "chunks",
    [
        [],
        [(b"sRGB", b"\0"), (b"gAMA", struct.pack(">I", 45455))],
        [(b"gAMA", struct.pack(">I", 45455)), (b"cHRM", chromaticities("sRGB"))],
        [(b"gAMA", struct.pack(">I", 0))],
        [(b"gAMA", struct.pack(">I", 45000)), (b"cHRM", bytes(32))],
        [(b"cICP", bytes([1, 13, 0, 1]))],
    ],
)
def test_png_that_says_srgb_or_nonsense(chunks: list[tuple[bytes, bytes]], tmp_path: Path) -> None:
    photograph = photo.read(png_with(tmp_path / "portrait.png", *chunks))
    assert photograph.profile is None


def test_high_dynamic_range_png_is_refused(tmp_path: Path) -> None:
    path = png_with(tmp_path / "portrait.png", (b"cICP", bytes([9, 16, 0, 1])))
    with pytest.raises(UnsupportedPhotographError, match="PQ"):
        photo.read(path)


def write_marked(path: Path, mark: str, profile: bytes | None) -> None:
    """A JPEG file with an interoperability index in Exif."""
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA005] = {1: mark}
    options = {"icc_profile": profile} if profile else {}
    Image.fromarray(scene(8)).save(path, exif=exif, **options)


def test_exif_marks_adobe_rgb(tmp_path: Path) -> None:
    path = tmp_path / "portrait.jpg"
    write_marked(path, "R03", None)
    photograph = photo.read(path)
    assert_same(photograph.profile, "Adobe RGB (1998)")
    assert any("Adobe RGB" in note for note in photograph.notes)
    write_marked(path, "R98", None)
    assert photo.read(path).profile is None
    write_marked(path, "R03", PROFILES["sRGB"])
    assert photo.read(path).profile == PROFILES["sRGB"]
