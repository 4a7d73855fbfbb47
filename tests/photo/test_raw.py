"""Camera RAW: a DNG of known linear colours is developed to those colours.

The mosaic is written by libvips and made a DNG by ExifTool, after the DNG 1.6 specification
(chapters 4 and 6); its sensor is one whose colours are linear sRGB (matrix of IEC 61966-2-1), so
that what must come out is known.
"""

from __future__ import annotations

from pathlib import Path

import colour
import numpy as np
import pytest
import pyvips
import tifffile

from evenhand import photo
from evenhand.errors import PhotographTooLargeError, UnreadablePhotographError
from tests.photo.exiftool import exiftool, tags_of
from tests.photo.pictures import read_with_vips
from tests.photo.turning import ORIENTATIONS, turned

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


PLACED = {
    "IFD0:Make": "Invented",
    "IFD0:Model": "Invented camera",
    "IFD0:Artist": "A. Rower",
    "IFD0:Copyright": "Rowing club",
    "ExifIFD:DateTimeOriginal": "2026:07:18 10:11:12",
    "ExifIFD:ExposureTime": 0.004,
    "GPS:GPSLatitude": 54.5,
    "GPS:GPSLatitudeRef": "N",
    "XMP-dc:Title": "Summer regatta",
    "IPTC:By-line": "A. Rower",
}
"""Metadata that results must carry; made up."""


def write_dng(path: Path, orientation: int = 1) -> None:
    """Stripes of `PATCHES`, 40 columns each, as a 14-bit RGGB mosaic."""
    linear = np.repeat(np.array(list(PATCHES.values()))[None], 80, 0).repeat(40, 1)
    sensor = linear * NEUTRAL
    mosaic = np.empty(sensor.shape[:2])
    for (row, column), channel in {(0, 0): 0, (0, 1): 1, (1, 0): 1, (1, 1): 2}.items():
        mosaic[row::2, column::2] = sensor[row::2, column::2, channel]
    values = np.round(mosaic * (WHITE - BLACK) + BLACK).astype(np.uint16)
    bare = path.with_name("mosaic.tif")
    pyvips.Image.new_from_array(values).copy(interpretation="grey16").write_to_file(str(bare))
    tags = {
        "IFD0:SubfileType#": 0,
        "IFD0:PhotometricInterpretation#": 32803,
        "IFD0:CFARepeatPatternDim": "2 2",
        "IFD0:CFAPattern2": "0 1 1 2",
        "DNGVersion": "1 4 0 0",
        "DNGBackwardVersion": "1 1 0 0",
        "UniqueCameraModel": "Invented camera",
        "IFD0:BlackLevel": BLACK,
        "IFD0:WhiteLevel": WHITE,
        "IFD0:ColorMatrix1": " ".join(map(str, XYZ_TO_CAMERA.ravel())),
        "AsShotNeutral": " ".join(map(str, NEUTRAL)),
        "CalibrationIlluminant1#": 21,
        "IFD0:Orientation#": orientation,
    }
    tags |= {"XMP-tiff:Orientation#": orientation, "XMP-crs:Exposure2012": 1.5}
    path.unlink(missing_ok=True)
    exiftool(*(f"-{name}={value}" for name, value in (tags | PLACED).items()), "-o", path, bare)
    bare.unlink()


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


@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_orientation_and_metadata(orientation: int, tmp_path: Path) -> None:
    write_dng(tmp_path / "upright.dng")
    path = tmp_path / "portrait.dng"
    write_dng(path, orientation)
    assert {"XMP-tiff:Orientation", "XMP-crs:Exposure2012"} <= set(tags_of(path))
    photograph = photo.read(path)
    assert np.array_equal(
        photograph.pixels, turned(photo.read(tmp_path / "upright.dng").pixels, orientation)
    )
    written = photo.write(photograph.pixels ^ 1, photograph, tmp_path / "result.tif")
    assert np.array_equal(read_with_vips(written), photograph.pixels ^ 1)
    found = tags_of(written)
    assert {key: found.get(key) for key in PLACED} == PLACED
    assert found.get("IFD0:Orientation", 1) == 1
    assert not {"XMP-tiff:Orientation", "XMP-crs:Exposure2012"} & set(found)


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
