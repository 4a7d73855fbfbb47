"""Camera RAW: a DNG of known linear colours is developed to those colours.

The DNG is written by tifffile after the DNG 1.6 specification (chapters 4 and 6); its sensor is one
whose colours are linear sRGB (matrix of IEC 61966-2-1), so that what must come out is known.
"""

from __future__ import annotations

from pathlib import Path

import colour
import numpy as np
import numpy.typing as npt
import pytest
import tifffile

from evenhand import photo
from evenhand.errors import PhotographTooLargeError, UnreadablePhotographError
from tests.photo.pictures import read_with_vips

XYZ_TO_CAMERA = np.array(
    [
        [3.2404542, -1.5371385, -0.4985314],
        [-0.9692660, 1.8760108, 0.0415560],
        [0.0556434, -0.2040259, 1.0572252],
    ]
)
"""Inverse of the sRGB matrix of IEC 61966-2-1, D65."""

NEUTRAL = (0.5, 1.0, 0.6)
"""What the sensor gives for white, so that the white balance has something to do."""

BLACK, WHITE = 512, 16512

PATCHES = {
    "grey": (0.18, 0.18, 0.18),
    "light skin": (0.55, 0.34, 0.26),
    "brown skin": (0.16, 0.08, 0.05),
    "sunburnt skin": (0.50, 0.18, 0.14),
    "white": (0.90, 0.90, 0.90),
}
"""Linear sRGB; made up, of the order of skin's reflectance."""


def fractions(values: npt.ArrayLike) -> list[int]:
    """Numerators and denominators for a rational tag."""
    return [part for v in np.ravel(values) for part in (round(float(v) * 10000), 10000)]


def write_dng(path: Path, orientation: int = 1) -> None:
    """Stripes of `PATCHES`, 40 columns each, as a 14-bit RGGB mosaic."""
    linear = np.repeat(np.array(list(PATCHES.values()))[None], 80, 0).repeat(40, 1)
    sensor = linear * NEUTRAL
    mosaic = np.empty(sensor.shape[:2])
    for (row, column), channel in {(0, 0): 0, (0, 1): 1, (1, 0): 1, (1, 1): 2}.items():
        mosaic[row::2, column::2] = sensor[row::2, column::2, channel]
    tags = [
        (271, "s", 0, "Invented", True),
        (272, "s", 0, "Invented camera", True),
        (274, "H", 1, orientation, True),
        (315, "s", 0, "A. Rower", True),
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, (0, 1, 1, 2), True),
        (50706, "B", 4, (1, 4, 0, 0), True),
        (50707, "B", 4, (1, 1, 0, 0), True),
        (50708, "s", 0, "Invented camera", True),
        (50714, "H", 1, BLACK, True),
        (50717, "H", 1, WHITE, True),
        (50721, "2i", 9, fractions(XYZ_TO_CAMERA), True),
        (50728, "2I", 3, fractions(NEUTRAL), True),
        (50778, "H", 1, 21, True),
    ]
    values = np.round(mosaic * (WHITE - BLACK) + BLACK).astype(np.uint16)
    tifffile.imwrite(path, values, photometric=32803, extratags=tags, metadata=None)


def test_known_colours_come_out(tmp_path: Path) -> None:
    path = tmp_path / "portrait.dng"
    write_dng(path)
    photograph = photo.read(path)
    assert photograph.pixels.dtype == np.uint16
    romm = colour.RGB_COLOURSPACES["ROMM RGB"]
    for number, expected in enumerate(PATCHES.values()):
        found = photograph.pixels[30:50, 40 * number + 15 : 40 * number + 25].mean((0, 1)) / 65535
        linear = colour.RGB_to_RGB(
            found, romm, colour.RGB_COLOURSPACES["sRGB"], chromatic_adaptation_transform="Bradford"
        )
        assert linear == pytest.approx(expected, rel=0.02, abs=0.003)


def test_the_result_is_a_16_bit_tiff_with_a_linear_profile(tmp_path: Path) -> None:
    path = tmp_path / "portrait.dng"
    write_dng(path)
    photograph = photo.read(path)
    assert photograph.result_suffix == ".tif"
    result = photograph.pixels.copy()
    result[10:20, 10:20] += 100
    written = photo.write(result, photograph, tmp_path / "result.tif")
    assert np.array_equal(read_with_vips(written), result)
    with tifffile.TiffFile(written) as tiff:
        tags = tiff.pages[0].tags
        assert tags["Artist"].value == "A. Rower"
        assert tags["Model"].value == "Invented camera"
        assert tags["InterColorProfile"].value == photograph.profile
    assert np.array_equal(photo.read(written).pixels, result)


def test_orientation_is_applied(tmp_path: Path) -> None:
    write_dng(tmp_path / "upright.dng")
    write_dng(tmp_path / "turned.dng", orientation=6)
    upright, turned = (photo.read(tmp_path / n).pixels for n in ("upright.dng", "turned.dng"))
    assert np.array_equal(np.rot90(upright, -1), turned)


def test_truncated(tmp_path: Path) -> None:
    path = tmp_path / "portrait.dng"
    write_dng(path)
    content = path.read_bytes()
    for share in (0.1, 0.5, 0.9):
        path.write_bytes(content[: int(share * len(content))])
        with pytest.raises(UnreadablePhotographError, match=r"portrait\.dng"):
            photo.read(path)


def test_too_large(tmp_path: Path) -> None:
    write_dng(tmp_path / "portrait.dng")
    with pytest.raises(PhotographTooLargeError):
        photo.read(tmp_path / "portrait.dng", pixel_limit=1000)
