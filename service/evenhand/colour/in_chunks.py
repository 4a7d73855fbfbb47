"""Pixelwise functions on large pictures, worked through in pieces that stay in the cache."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

Planes = tuple[npt.NDArray[Any], ...]

CHUNK = 16384
# Pixels at a time: some thirty float32 planes of this size fit the second-level cache.


def map_pixels(
    function: Callable[..., Planes | npt.NDArray[Any]],
    *pictures: npt.NDArray[Any],
    channels: int,
) -> npt.NDArray[Any]:
    """Apply a function of colour planes to pictures, chunk by chunk.

    Parameters
    ----------
    function : callable
        Takes the planes of every picture in turn, each of shape (n,), and returns as many planes
        as `channels` says (one plane without a tuple).
    *pictures : ndarray of floats, shape (..., 3)
        Integers are taken as float32. Pictures of unlike shapes are broadcast.
    channels : int
        3 for a picture, 1 for a map without a last axis.

    Returns
    -------
    ndarray, shape (..., 3) or (...)
        float64 where any picture is, else float32.

    Raises
    ------
    ValueError
        A picture's last axis is not 3 long.
    """
    for picture in pictures:
        if np.ndim(picture) == 0 or np.shape(picture)[-1] != 3:
            raise ValueError(f"colours need a last axis of 3, not shape {np.shape(picture)}")
    wide = any(np.asarray(picture).dtype == np.float64 for picture in pictures)
    dtype = np.float64 if wide else np.float32
    even = np.broadcast_arrays(*pictures)
    shape = even[0].shape[:-1]
    flat = [picture.reshape(-1, 3) for picture in even]
    result = np.empty((flat[0].shape[0], channels), dtype)
    for start in range(0, len(result), CHUNK):
        part = slice(start, start + CHUNK)
        planes = [
            np.ascontiguousarray(picture[part].T, dtype)[channel]
            for picture in flat
            for channel in range(3)
        ]
        answer = function(*planes)
        for channel, plane in enumerate(answer if isinstance(answer, tuple) else (answer,)):
            result[part, channel] = plane
    return result.reshape((*shape, 3) if channels == 3 else shape)
