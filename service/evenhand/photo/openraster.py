"""OpenRaster files: the original at the bottom, each step above it, named and switchable.

Follows the baseline specification (openraster.org, file layout and layer stack, version 0.0.3).
"""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
import zipfile
from collections.abc import Sequence
from pathlib import Path

import imagecodecs
import numpy as np

from evenhand.colour.encoding import CodeValues
from evenhand.photo import png
from evenhand.photo.photograph import Photograph
from evenhand.photo.saving import saved
from evenhand.photo.stages import Stage

MIME_TYPE = "image/openraster"
"""Content of the archive's first entry, which is stored without compression."""

_VERSION = "0.0.3"
"""Version of the specification that the stack names."""

_THUMBNAIL_SIDE = 256
"""Largest side of the thumbnail in pixels, as the specification has it."""

_PIXELS_PER_INCH = "300"


def write_openraster(
    photograph: Photograph,
    stages: Sequence[Stage],
    result: CodeValues,
    path: Path | str,
    *,
    overwrite: bool = False,
) -> Path:
    """Write the photograph and its stages as one OpenRaster file.

    Parameters
    ----------
    photograph : Photograph
        The original, upright.
    stages : sequence of Stage
        What each step made, the first step's first; those that changed nothing are left out.
    result : ndarray like `photograph.pixels`
        The photograph with all stages shown.
    path : Path or str
        The file, usually ending in .ora.
    overwrite : bool
        Replace an existing file.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    NotWrittenError
        As for `write`.
    """
    path = Path(path)
    shown = [stage for stage in stages if stage.box.area]
    with (
        saved(path, overwrite=overwrite, original=photograph.path) as file,
        zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive,
    ):
        archive.writestr("mimetype", MIME_TYPE)
        archive.writestr("stack.xml", _stack(photograph, shown), zipfile.ZIP_DEFLATED)
        archive.writestr("data/original.png", _encoded(photograph.pixels, photograph))
        for number, stage in enumerate(shown):
            archive.writestr(_entry(number), _encoded(stage.rgba, photograph))
        archive.writestr("mergedimage.png", _encoded(result, photograph))
        archive.writestr("Thumbnails/thumbnail.png", _thumbnail(result, photograph))
    return path


def _stack(photograph: Photograph, stages: Sequence[Stage]) -> bytes:
    """The layer stack, topmost first as the specification has it."""
    height, width = photograph.shape
    image = ElementTree.Element(
        "image",
        version=_VERSION,
        w=str(width),
        h=str(height),
        xres=_PIXELS_PER_INCH,
        yres=_PIXELS_PER_INCH,
    )
    stack = ElementTree.SubElement(image, "stack")
    for number, stage in reversed(list(enumerate(stages))):
        _layer(stack, stage.name, _entry(number), stage.box.left, stage.box.top)
    _layer(stack, "original", "data/original.png", 0, 0)
    written: bytes = ElementTree.tostring(image, "UTF-8", xml_declaration=True)
    return written


def _layer(stack: ElementTree.Element, name: str, source: str, left: int, top: int) -> None:
    attributes = {"name": name, "src": source, "x": str(left), "y": str(top)}
    attributes |= {"opacity": "1.0", "visibility": "visible", "composite-op": "svg:src-over"}
    ElementTree.SubElement(stack, "layer", attributes)


def _entry(number: int) -> str:
    return f"data/stage{number}.png"


def _encoded(pixels: CodeValues, photograph: Photograph) -> bytes:
    encoded = bytes(imagecodecs.png_encode(pixels, level=png.COMPRESSION_LEVEL))
    return png.with_profile(encoded, photograph.profile)


def _thumbnail(result: CodeValues, photograph: Photograph) -> bytes:
    """An 8-bit picture of at most 256 pixels, each the mean of a block."""
    step = -(-max(photograph.shape) // _THUMBNAIL_SIDE)
    height, width = (max(1, side // step) for side in photograph.shape)
    blocks = result[: height * step, : width * step].reshape(height, step, width, step, 3)
    small = blocks.mean(axis=(1, 3), dtype=np.float32) * (255 / photograph.white)
    return _encoded(np.rint(small).astype(np.uint8), photograph)
