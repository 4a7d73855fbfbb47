"""Small made-up photographs with people in known places, and files of them made by other libraries.

They have what the steps look for (skin with texture, blotch and a burnt arm, cloth around it) and
nothing that the networks would find: tests hand the people over.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import imagecodecs
import numpy as np
import numpy.typing as npt
import tifffile
from PIL import Image, ImageCms

from evenhand.box import Box
from evenhand.people.person import Alpha, Mask, Person, Region, Scale, ScaleSource
from evenhand.photo.photograph import Photograph

Frame = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]

SKIN = (0.42, 0.24, 0.16)
"""Linear sRGB of middling skin; made up."""

CLOTH = (0.05, 0.12, 0.35)
"""Linear sRGB of blue cloth; made up."""

BURN = (0.05, 0.22, 0.20)
"""Optical density that the burnt arm has more than the face; made up."""

MM_PER_PIXEL = 0.6
"""Scale of the made-up person: the face is some 40 mm tall on a picture of 100 rows."""


def frame_of(height: int, width: int, bits: int = 8, seed: int = 0) -> Frame:
    """A face above and a burnt arm below on blue cloth, sRGB."""
    random = np.random.default_rng(seed)
    linear = np.empty((height, width, 3))
    linear[:] = CLOTH
    skin = np.maximum(_face(height, width), _arm(height, width))[..., None]
    linear = linear * (1 - skin) + np.array(SKIN) * skin
    density = -np.log(linear)
    density += _arm(height, width)[..., None] * np.array(BURN)
    blotch = cv2.GaussianBlur(random.normal(0, 1, (height, width)), None, 5.0)
    density += (0.8 * blotch * skin[..., 0])[..., None] * np.array(BURN)
    density += random.normal(0, 0.02, (height, width, 1))
    white = 2**bits - 1
    encoded = _srgb(np.clip(np.exp(-density), 0, 1)) * white
    return np.rint(encoded).astype(np.uint16 if bits == 16 else np.uint8)


def person_in(height: int, width: int, mm_per_pixel: float = MM_PER_PIXEL) -> Person:
    """The person of `frame_of`, with one eye that is to be kept."""
    face = _face(height, width)
    eye = _ellipse(height, width, (0.3, 0.5), (0.05, 0.1))
    face = np.where(eye > 0, 0, face).astype(np.float32)
    masks = {
        Region.FACE: _mask(face),
        Region.ARM: _mask(_arm(height, width)),
        Region.EYE: _mask(eye),
    }
    return Person(0, None, Scale(mm_per_pixel, ScaleSource.GIVEN), masks)


def photograph_of(frame: Frame, profile: bytes | None = None) -> Photograph:
    """A photograph in memory."""
    return Photograph(pixels=frame, profile=profile)


def write_file(frame: Frame, path: Path, profile: bytes | None = None) -> Path:
    """Write a frame as JPEG, PNG or TIFF by its suffix, with libraries of the general kind."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if frame.dtype == np.uint16 and path.suffix == ".png":
        path.write_bytes(imagecodecs.png_encode(frame))
    elif path.suffix == ".tif":
        extra = [(34675, 7, len(profile), profile, True)] if profile else []
        tifffile.imwrite(path, frame, photometric="rgb", extratags=extra)
    else:
        options = {"quality": 95, "subsampling": 0} if path.suffix == ".jpg" else {}
        Image.fromarray(frame).save(path, icc_profile=profile, **options)
    return path


def pixels_in(path: Path) -> Frame:
    """Pixels of a file as libraries other than Evenhand's readers give them."""
    if path.suffix == ".tif":
        return tifffile.imread(path)
    if path.suffix == ".png":
        read = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
        return read if read.ndim == 2 else np.ascontiguousarray(read[..., ::-1])
    return np.asarray(Image.open(path))


def srgb_profile() -> bytes:
    """ICC profile of sRGB as little-cms makes it."""
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def skin_of(person: Person, shape: tuple[int, int]) -> Alpha:
    """The person's skin over the whole frame."""
    return person.skin(Box(0, 0, *shape))


def _face(height: int, width: int) -> Alpha:
    return _ellipse(height, width, (0.35, 0.5), (0.28, 0.3))


def _arm(height: int, width: int) -> Alpha:
    return _ellipse(height, width, (0.85, 0.5), (0.12, 0.45))


def _ellipse(
    height: int, width: int, middle: tuple[float, float], radii: tuple[float, float]
) -> Alpha:
    """Soft-edged ellipse; middle and radii as shares of height and width."""
    rows, columns = np.mgrid[:height, :width]
    down = ((rows + 0.5) / height - middle[0]) / radii[0]
    across = ((columns + 0.5) / width - middle[1]) / radii[1]
    soft = np.clip((1 - np.hypot(down, across)) * 6, 0, 1)
    return soft.astype(np.float32)


def _mask(alpha: Alpha) -> Mask:
    rows, columns = np.flatnonzero(alpha.any(axis=1)), np.flatnonzero(alpha.any(axis=0))
    if not rows.size:
        return Mask(Box(0, 0, 0, 0), np.zeros((0, 0), np.float32))
    box = Box(int(rows[0]), int(columns[0]), int(rows[-1]) + 1, int(columns[-1]) + 1)
    return Mask(box, np.ascontiguousarray(alpha[box.slices]))


def _srgb(linear: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """IEC 61966-2-1."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
