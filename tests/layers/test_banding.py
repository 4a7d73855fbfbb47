"""Smooth skin never bands: a slow gradient of 8 bits through layers and blend, against 16 bits.

The truth is the same change made to the same photograph held in 16 bits. Two measures, none of them
from a published standard (common practice): the longest run of equal codes along a row, and how
much of the error is left after a blur, since bands are slow errors and dither is a quick one.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from evenhand.box import Box
from evenhand.layers import blend, layer_from_change
from evenhand.photo.photograph import Photograph
from evenhand.steps.patch import Change

HEIGHT, WIDTH = 64, 1024
FIRST, LAST = np.array((171.0, 133.0, 118.0)), np.array((177.0, 138.0, 122.0))
"""Codes at both ends of the original, of the order of skin's; made up. About 200 pixels a code."""

GAIN = (0.985, 1.02)
"""Factors on linear light at both ends; made up. About five codes over the width."""

BLUR = 6.0
"""Standard deviation in pixels: what is left after it spans more than the eye's finest detail on a
print seen as a whole; own choice."""


def results() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The 8-bit result, the truth in 8-bit codes, and that truth plainly rounded."""
    across = np.linspace(0, 1, WIDTH)[:, None]
    row = np.rint(FIRST * (1 - across) + LAST * across)
    codes = np.broadcast_to(row, (HEIGHT, WIDTH, 3)).astype(np.uint8)
    gain = np.linspace(*GAIN, WIDTH)[:, None].astype(np.float32)
    made = []
    for photograph in (Photograph(codes), Photograph(codes.astype(np.uint16) * 257)):
        box = Box(0, 0, HEIGHT, WIDTH)
        wanted = photograph.encoding.to_linear(photograph.pixels) * gain
        mask = np.ones((HEIGHT, WIDTH), np.float32)
        layer = layer_from_change(photograph, 0, "redness", box, Change(wanted), mask, 20.0, {})
        made.append(blend(photograph, [layer], [1.0]))
    truth = made[1] / 257
    return made[0], truth, np.rint(truth)


def longest_run(picture: np.ndarray) -> int:
    """The longest run of equal codes along any row of any channel."""
    longest = 0
    for line in np.moveaxis(picture, 1, -1).reshape(-1, picture.shape[1]):
        edges = np.flatnonzero(np.diff(line)) + 1
        longest = max(longest, int(np.diff(np.r_[0, edges, line.size]).max()))
    return longest


def slow_error(picture: np.ndarray, truth: np.ndarray) -> float:
    """Root mean square of the blurred error, in codes."""
    error = cv2.GaussianBlur((picture - truth).astype(np.float64), None, BLUR)
    return float(np.sqrt((error**2).mean()))


def test_a_slow_gradient_does_not_band() -> None:
    result, truth, plain = results()
    assert np.abs(result - truth).max() < 1.01
    assert (result - truth).mean() == pytest.approx(0, abs=0.01)
    assert longest_run(plain) > 100
    assert longest_run(result) < 0.5 * longest_run(plain)
    assert slow_error(result, truth) < 0.1 * slow_error(plain, truth)
