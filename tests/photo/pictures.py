"""Pictures for the tests of this package, written with other libraries than the reader's."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import numpy.typing as npt
import pyvips
from PIL import Image, ImageCms
from PIL.PngImagePlugin import PngInfo

from tests.colour.profiles import display_p3, rec_2020, table_profile

HEIGHT, WIDTH = 75, 101
"""Odd sizes, so that no block, strip or tile ends where the picture does."""

XMP = (
    b'<?xpacket begin="\xef\xbb\xbf" id="W5M0MpCehiHzreSzNTczkc9d"?>'
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF '
    b'xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about="" '
    b'xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:creator><rdf:Seq><rdf:li>A. Rower</rdf:li>'
    b"</rdf:Seq></dc:creator></rdf:Description></rdf:RDF></x:xmpmeta>"
    b'<?xpacket end="w"?>'
)
"""A small XMP packet (XMP specification, part 1)."""

PROFILES: dict[str, bytes | None] = {
    "no profile": None,
    "sRGB": ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
    "Adobe RGB primaries": imagecodecs.cms_profile(
        "rgb",
        whitepoint=(0.3127, 0.3290, 1.0),
        primaries=(0.64, 0.33, 1.0, 0.21, 0.71, 1.0, 0.15, 0.06, 1.0),
        gamma=563 / 256,
    ),
    "ROMM primaries": imagecodecs.cms_profile(
        "rgb",
        whitepoint=(0.3457, 0.3585, 1.0),
        primaries=(0.7347, 0.2653, 1.0, 0.1596, 0.8404, 1.0, 0.0366, 0.0001, 1.0),
        gamma=1.8,
    ),
    "Display P3": display_p3(),
    "Rec. 2020": rec_2020(),
    "tables": table_profile(),
}
"""Profiles by name; primaries of Adobe RGB (1998), section 4.3, and ROMM RGB (ISO 22028-2)."""


def scene(
    depth: int, shape: tuple[int, int] = (HEIGHT, WIDTH), seed: int = 1, channels: int = 3
) -> npt.NDArray[Any]:
    """Smooth waves with a little grain, no side like another; uint8 or uint16 by `depth`."""
    random = np.random.default_rng(seed)
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    waves = [
        np.sin(rows / (7 + c) + c) + np.cos(columns / (11 + 2 * c)) + columns / shape[1]
        for c in range(channels)
    ]
    picture = np.stack(waves, -1) / 6 + 0.4 + random.normal(0, 0.01, (*shape, channels))
    dtype = np.uint8 if depth == 8 else np.uint16
    return np.round(np.clip(picture, 0, 1) * (2**depth - 1)).astype(dtype)


def write_with_pillow(
    path: Path,
    pixels: npt.NDArray[np.uint8],
    profile: bytes | None,
    orientation: int,
    **options: Any,
) -> None:
    """8-bit JPEG, PNG or TIFF with Exif, XMP, resolution, profile and orientation."""
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x8298] = orientation, "Invented camera", "A. Rower"
    exif.get_ifd(0x8769)[0x9003] = "2026:07:18 10:11:12"
    options = {"exif": exif, "dpi": (300, 300)} | options
    if path.suffix == ".png":
        text = PngInfo()
        text.add_itxt("XML:com.adobe.xmp", XMP.decode())
        options["pnginfo"] = text
    elif path.suffix == ".jpg":
        options["xmp"] = XMP
    if profile:
        options["icc_profile"] = profile
    Image.fromarray(pixels).save(path, **options)


def write_with_vips(
    path: Path, pixels: npt.NDArray[Any], profile: bytes | None, orientation: int, **options: Any
) -> None:
    """8 or 16-bit PNG or TIFF with XMP, profile and orientation, by libvips."""
    image = pyvips.Image.new_from_array(pixels)
    interpretation = "srgb" if pixels.dtype == np.uint8 else "rgb16"
    image = image.copy(interpretation=interpretation, xres=300 / 25.4, yres=300 / 25.4)
    image.set_type(pyvips.GValue.gint_type, "orientation", orientation)
    image.set_type(pyvips.GValue.blob_type, "xmp-data", XMP)
    if profile:
        image.set_type(pyvips.GValue.blob_type, "icc-profile-data", profile)
    image.write_to_file(str(path), **options)


def read_with_vips(path: Path) -> npt.NDArray[Any]:
    """The picture as libvips reads it, turned upright."""
    return np.asarray(pyvips.Image.new_from_file(str(path)).autorot().numpy())
