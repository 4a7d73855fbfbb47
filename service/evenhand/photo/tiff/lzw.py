"""Pixels of LZW-compressed TIFF files, decoded so that damaged data cannot end the process.

Given the size of what it shall decode, imagecodecs' LZW decoder (2026.1) trusts the data and may
read outside its memory; without, it looks through the data first. So the size is not given.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import imagecodecs
import numpy as np
import numpy.typing as npt
import tifffile

from evenhand.photo.tiff.segments import Segment, segments_of

_THREADS = 2
"""Threads that decode strips and tiles."""

_REVERSED_BITS = 2
"""FillOrder of bytes whose lowest bit comes first (TIFF 6.0, section 8)."""


def lzw_pixels(page: tifffile.TiffPage) -> npt.NDArray[Any]:
    """All samples of a page, shape (height, width, samples), whatever their planes.

    Parameters
    ----------
    page : TiffPage

    Returns
    -------
    ndarray, shape (height, width, samples)
        Of the page's type.

    Raises
    ------
    ValueError, imagecodecs.ImcdError
        A strip or tile is damaged or too short.
    """
    shape = (page.imagelength, page.imagewidth, page.samplesperpixel)
    pixels = np.empty(shape, page.dtype)

    def decode(segment: Segment) -> None:
        inside = _segment_values(page, segment)[
            : segment.rows.stop - segment.rows.start, : segment.columns.stop - segment.columns.start
        ]
        pixels[segment.rows, segment.columns, segment.samples] = inside

    with ThreadPoolExecutor(_THREADS) as threads:
        list(threads.map(decode, segments_of(page)))
    return pixels


def _segment_values(page: tifffile.TiffPage, segment: Segment) -> npt.NDArray[Any]:
    offset, count = page.dataoffsets[segment.number], page.databytecounts[segment.number]
    data = os.pread(page.parent.filehandle.fileno(), count, offset)
    if page.fillorder == _REVERSED_BITS:
        data = bytes(imagecodecs.bitorder_decode(data))
    decoded = bytes(imagecodecs.lzw_decode(data))
    shape = (*segment.shape, segment.samples.stop - segment.samples.start)
    stored = page.dtype.newbyteorder(page.parent.byteorder)
    values = np.frombuffer(decoded, stored, int(np.prod(shape))).reshape(shape).astype(page.dtype)
    match page.predictor:
        case tifffile.PREDICTOR.HORIZONTAL:
            return np.asarray(imagecodecs.delta_decode(values, axis=-2))
        case tifffile.PREDICTOR.FLOATINGPOINT:
            raw = np.frombuffer(decoded, page.dtype, int(np.prod(shape))).reshape(shape)
            return np.asarray(imagecodecs.floatpred_decode(raw, axis=-2))
    return values
