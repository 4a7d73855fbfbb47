"""The fixed pattern by which 8-bit results are rounded, so that evening does not band."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from evenhand.box import Box

COLUMN_STEP = 49471
# 65536 / p for the plastic number p = 1.3247..., made odd: neighbours differ by about 0.75.

ROW_STEP = 37345
# 65536 / p^2: together the two steps spread thresholds evenly over any small square, with no
# visible grain or grid (R2 sequence, M. Roberts, "The unreasonable effectiveness of quasirandom
# sequences", 2018).

CHANNEL_STEP = 21845
# A third of 65536: the channels round at different places, so the grain has little lightness.


def thresholds(box: Box) -> npt.NDArray[np.int32]:
    """Rounding thresholds of the pixels of `box`, in 1/65536 of a code value.

    ``(49471 column + 37345 row + 21845 channel) mod 65536``, with column and row counted from the
    upper left of the upright photograph and channels R, G, B as 0, 1, 2. The pattern depends on
    nothing else, so that a result can be made again anywhere.

    Parameters
    ----------
    box : Box

    Returns
    -------
    ndarray of int32, shape (box.height, box.width, 3)
        In [0, 65535].
    """
    row = np.arange(box.top, box.bottom, dtype=np.int64) * ROW_STEP
    column = np.arange(box.left, box.right, dtype=np.int64) * COLUMN_STEP
    channel = np.arange(3, dtype=np.int64) * CHANNEL_STEP
    line = ((column[:, None] + channel) & 0xFFFF).astype(np.int32)
    pattern = (row & 0xFFFF).astype(np.int32)[:, None, None] + line
    pattern &= 0xFFFF
    return pattern
