"""Every form of file that is read, and how the tests write it with libraries the reader is without.

The reader decodes with imagecodecs (JPEG, PNG, AVIF), tifffile, libheif and LibRaw. Files are
written here by Pillow, libvips, OpenImageIO, libtiff's tiffcp, x265 and ExifTool.
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import OpenImageIO
import pillow_heif
import pytest
import pyvips
from PIL import Image

from tests.photo.pictures import (
    XMP,
    read_with_vips,
    scene,
    write_with_pillow,
    write_with_vips,
)
from tests.photo.turning import turned

Pixels = npt.NDArray[Any]
Writer = Callable[[Path, Pixels, bytes | None, int], None]

SHAPE = (45, 61)
"""Odd, so that no block, strip or tile ends where the picture does."""


@dataclass(frozen=True)
class Form:
    """A form of file.

    Attributes
    ----------
    suffix : str
        Ending of its name.
    bits : int
        Bits of a sample as stored.
    write : callable
        Writes stored pixels with a profile and an orientation.
    channels : int
        4 with opacity.
    is_float : bool
        Whether samples are floating point.
    exact : bool
        Whether the file holds the very pixels (JPEG does not).
    read : callable
        Reads results and turns them upright.
    """

    suffix: str
    bits: int
    write: Writer = field(repr=False)
    channels: int = 3
    is_float: bool = False
    exact: bool = True
    read: Callable[[Path], Pixels] = field(default=read_with_vips, repr=False)

    @property
    def result_suffix(self) -> str:
        return ".tif" if self.suffix in (".heic", ".avif") else self.suffix

    def stored(self) -> Pixels:
        """Pixels to write: code values of `bits` bits, or floating point."""
        if self.is_float:
            values = (scene(16, SHAPE, channels=self.channels) / 40000 - 0.1).astype(
                np.float16 if self.bits == 16 else np.float32
            )
            values[0, 0] = np.nan
            return values
        pixels = scene(8 if self.bits == 8 else 16, SHAPE, channels=self.channels)
        return pixels if self.bits in (8, 16) else pixels >> (16 - self.bits)

    def codes(self, stored: Pixels) -> npt.NDArray[np.float64]:
        """Code values that reading must give for stored pixels, before rounding."""
        if self.is_float:
            return np.clip(np.nan_to_num(stored.astype(np.float64)), 0, 1) * 65535
        if self.bits in (8, 16):
            return stored.astype(np.float64)
        return stored * (65535 / (2**self.bits - 1))


def write_with_openimageio(
    path: Path, pixels: Pixels, profile: bytes | None, orientation: int, **options: Any
) -> None:
    """8, 16-bit or floating-point TIFF with Exif, profile and orientation by OpenImageIO."""
    height, width, channels = pixels.shape
    kind = {"float16": "half", "float32": "float"}.get(pixels.dtype.name, pixels.dtype.name)
    spec = OpenImageIO.ImageSpec(width, height, channels, kind)
    tile = options.pop("tile", 0)
    spec.tile_width = spec.tile_height = tile
    texts = {"Make": "Invented", "Artist": "A. Rower"}
    texts["Exif:DateTimeOriginal"] = "2026:07:18 10:11:12"
    numbers = {"Orientation": orientation, "tiff:half": 1, "XResolution": 300.0}
    numbers |= {"YResolution": 300.0, "oiio:UnassociatedAlpha": 1}
    for name, value in (texts | numbers | {"ResolutionUnit": "in"} | options).items():
        spec.attribute(name, value)
    if profile:
        kind_of_bytes = OpenImageIO.TypeDesc(f"uint8[{len(profile)}]")
        spec.attribute("ICCProfile", kind_of_bytes, np.frombuffer(profile, np.uint8))
    output = OpenImageIO.ImageOutput.create(str(path))
    assert output.open(str(path), spec), OpenImageIO.geterror()
    assert output.write_image(np.ascontiguousarray(pixels)), output.geterror()
    output.close()


def read_with_openimageio(path: Path) -> Pixels:
    """A TIFF file's values as OpenImageIO reads them, turned upright."""
    opened = OpenImageIO.ImageInput.open(str(path))
    spec = opened.spec()
    values = np.asarray(opened.read_image(spec.format))
    opened.close()
    shaped = values.reshape(spec.height, spec.width, spec.nchannels)
    return turned(shaped, spec.getattribute("Orientation"))


def write_with_tiffcp(
    path: Path,
    pixels: Pixels,
    *arguments: str,
    profile: bytes | None = None,
    orientation: int = 1,
    planar: str = "contig",
) -> None:
    """A TIFF of OpenImageIO coded anew by libtiff's tiffcp (Debian's libtiff-tools)."""
    if shutil.which("tiffcp") is None:
        pytest.skip("tiffcp is not installed (Debian: libtiff-tools)")
    before = path.with_name("before.tif")
    write_with_openimageio(before, pixels, profile, orientation, planarconfig=planar)
    command = ["tiffcp", *arguments, "-p", planar, before, path]
    subprocess.run(command, check=True, capture_output=True)


def write_big_endian(
    path: Path, pixels: Pixels, profile: bytes | None, orientation: int, planar: str = "contig"
) -> None:
    """A big-endian TIFF."""
    write_with_tiffcp(path, pixels, "-B", profile=profile, orientation=orientation, planar=planar)


def write_heif(path: Path, pixels: Pixels, profile: bytes | None, orientation: int) -> None:
    """A lossless HEIF file of 8, 10 or 12 bits, coded by x265; turned by its own properties."""
    bits = 8 if pixels.dtype == np.uint8 else 12 if pixels.max() > 1023 else 10
    codes = pixels if bits == 8 else pixels << (16 - bits)
    size = pixels.shape[1], pixels.shape[0]
    made = pillow_heif.from_bytes("RGB" if bits == 8 else "RGB;16", size, codes.tobytes())
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x013B] = orientation, "Invented", "A. Rower"
    exif.get_ifd(0x8769)[0x9003] = "2026:07:18 10:11:12"
    options = {"quality": -1, "chroma": 444, "matrix_coefficients": 0}
    options |= {"exif": exif.tobytes(), "xmp": XMP}
    if profile:
        options["icc_profile"] = profile
    pillow_heif.options.SAVE_HDR_TO_12_BIT = bits == 12
    try:
        made.save(path, **options)
    finally:
        pillow_heif.options.SAVE_HDR_TO_12_BIT = False


def write_avif(path: Path, pixels: Pixels, profile: bytes | None, orientation: int) -> None:
    """A lossless AVIF file of 8, 10 or 12 bits by libvips; turned by its own properties."""
    bits = 8 if pixels.dtype == np.uint8 else 12 if pixels.max() > 1023 else 10
    image = pyvips.Image.new_from_array(pixels if bits == 8 else pixels << (16 - bits))
    image = image.copy(interpretation="srgb" if bits == 8 else "rgb16")
    image.set_type(pyvips.GValue.gint_type, "orientation", orientation)
    image.set_type(pyvips.GValue.blob_type, "xmp-data", XMP)
    for name, text in (
        ("exif-ifd0-Make", "Invented"),
        ("exif-ifd0-Artist", "A. Rower"),
        ("exif-ifd2-DateTimeOriginal", "2026:07:18 10:11:12"),
    ):
        image.set_type(pyvips.GValue.gstr_type, name, f"{text} (x)")
    if profile:
        image.set_type(pyvips.GValue.blob_type, "icc-profile-data", profile)
    image.write_to_file(str(path), compression="av1", bitdepth=bits, lossless=True, effort=0)


def _tiff(write: Callable[..., None], bits: int, **options: Any) -> Form:
    channels, is_float = options.pop("channels", 3), options.pop("is_float", False)
    # libvips reads neither 16-bit floating point nor tiles of planes.
    read = read_with_openimageio if write is write_with_openimageio else read_with_vips
    return Form(".tif", bits, partial(write, **options), channels, is_float, read=read)


_LZW_TILES = {"compression": "lzw", "predictor": "horizontal", "tile": True}
_LZW_TILES |= {"tile_width": 16, "tile_height": 32}

FORMS = {
    "JPEG 8": Form(".jpg", 8, write_with_pillow, exact=False),
    "JPEG 8 progressive": Form(
        ".jpg", 8, partial(write_with_pillow, progressive=True), exact=False
    ),
    "PNG 8": Form(".png", 8, write_with_pillow),
    "PNG 16": Form(".png", 16, write_with_vips),
    "PNG 8 alpha": Form(".png", 8, write_with_pillow, channels=4),
    "PNG 16 alpha": Form(".png", 16, write_with_vips, channels=4),
    "TIFF 8": _tiff(write_with_pillow, 8),
    "TIFF 16": _tiff(write_with_vips, 16),
    "TIFF 8 alpha": _tiff(write_with_vips, 8, channels=4),
    "TIFF 16 alpha, deflate": _tiff(write_with_vips, 16, channels=4, compression="deflate"),
    "TIFF 8 planes": _tiff(write_with_openimageio, 8, planarconfig="separate"),
    "TIFF 16 planes, tiles, zip": _tiff(
        write_with_openimageio, 16, planarconfig="separate", tile=16, compression="zip"
    ),
    "TIFF 8 big-endian": _tiff(write_big_endian, 8),
    "TIFF 16 big-endian planes": _tiff(write_big_endian, 16, planar="separate"),
    "BigTIFF 8 tiles, LZW": _tiff(write_with_vips, 8, bigtiff=True, **_LZW_TILES),
    "BigTIFF 16 tiles, LZW": _tiff(write_with_vips, 16, bigtiff=True, **_LZW_TILES),
    "TIFF float 16": _tiff(write_with_openimageio, 16, is_float=True),
    "TIFF float 32": _tiff(write_with_openimageio, 32, is_float=True),
    "BigTIFF float 32 planes, tiles, zip": _tiff(
        write_with_openimageio,
        32,
        is_float=True,
        planarconfig="separate",
        tile=16,
        compression="zip",
        **{"tiff:bigtiff": 1},
    ),
    "HEIF 8": Form(".heic", 8, write_heif),
    "HEIF 10": Form(".heic", 10, write_heif),
    "HEIF 12": Form(".heic", 12, write_heif),
    "AVIF 8": Form(".avif", 8, write_avif),
    "AVIF 10": Form(".avif", 10, write_avif),
    "AVIF 12": Form(".avif", 12, write_avif),
}
"""Forms by name. Camera RAW has a test of its own: its files hold no profile."""
