"""The forms in which a final can be made, other than the original's own."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from evenhand.colour.encoding import CodeValues
from evenhand.jobs.pictures import fitted, resized
from evenhand.layers.layer import Layer
from evenhand.photo.kinds import FileKind
from evenhand.photo.photograph import Photograph
from evenhand.photo.saving import saved
from evenhand.photo.source import Stored
from evenhand.photo.tiff.new_tiff import NewTiffSource
from evenhand.photo.xmp import with_edit
from evenhand.pictures.screen import SRGB, on_screen
from evenhand.retouching.provenance import edit_of
from evenhand.shoots.finals import Format

JPEG_QUALITY = 95
"""Of a final: its errors are not seen beside the picture; common practice without a source."""


def write_form(
    pixels: CodeValues,
    photograph: Photograph,
    format: Format,
    longest_side: int | None,
    folder: Path,
    layers: Sequence[Layer],
    strengths: Sequence[float],
) -> Path:
    """Write a final as JPEG or TIFF, of whose metadata only what was done is told.

    Parameters
    ----------
    pixels : ndarray like `photograph.pixels`
        The result, upright.
    photograph : Photograph
        The original.
    format : Format
        `Format.JPEG` (sRGB, 8 bits) or `Format.TIFF` (depth and profile of the original).
    longest_side : int or None
        Pixels; each new one is the mean of those it covers. None, or more than there are: as large
        as the original.
    folder : path
        Where the file is made.
    layers : sequence of Layer
        What was blended.
    strengths : sequence of float
        In [0, 1], one for each layer.

    Returns
    -------
    Path
        The file.
    """
    shape = fitted(photograph.shape, longest_side or max(photograph.shape))
    sized = _codes(pixels, shape)
    edit = edit_of(layers, strengths)
    packet = None if edit is None else with_edit(None, edit)
    if format is Format.JPEG:
        return _jpeg(sized, photograph.profile, packet, folder / "final.jpg")
    alpha = None if photograph.alpha is None else _codes(photograph.alpha, shape)
    source = NewTiffSource(FileKind.TIFF, photograph.profile, {"xmp": packet} if packet else {})
    stored = Stored(sized, alpha)
    with saved(folder / "final.tif") as file:
        source.write(stored, stored, file)
    return folder / "final.tif"


def _codes(values: CodeValues, shape: tuple[int, int]) -> CodeValues:
    if values.shape[:2] == shape:
        return values
    rounded = np.rint(resized(values, shape))
    return rounded.astype(np.uint8) if values.dtype == np.uint8 else rounded.astype(np.uint16)


def _jpeg(pixels: CodeValues, profile: bytes | None, packet: bytes | None, path: Path) -> Path:
    from PIL import Image

    picture = Image.fromarray(np.ascontiguousarray(on_screen(pixels, profile)))
    told = {"xmp": packet} if packet else {}
    with saved(path) as file:
        picture.save(file, "JPEG", quality=JPEG_QUALITY, subsampling=0, icc_profile=SRGB, **told)
    return path
