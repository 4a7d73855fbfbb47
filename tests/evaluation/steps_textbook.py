"""The plain textbook version of each step, to be compared with."""

from __future__ import annotations

from collections.abc import Sequence

import colour
import cv2
import numpy as np
import numpy.typing as npt

from evenhand.steps.patch import SkinPatch
from tests.evaluation.steps_measures import lab, linear_of_lab

Light = npt.NDArray[np.floating]

TEXTURE_MM = 1.2
"""Gaussian frequency separation: what is finer stays (sigma = a 2.355th)."""

BLOTCH_MM = 10.0
"""Gaussian frequency separation: what is finer than this and not texture goes."""


def global_a_shift(patch: SkinPatch) -> Light:
    """All of the skin's a* moved by one amount, its mean to that of its least red quarter."""
    values = lab(patch.linear)
    redness = values[..., 1]
    inside = patch.skin > 0.9
    palest = redness[inside] <= np.quantile(redness[inside], 0.25)
    shift = redness[inside].mean() - redness[inside][palest].mean()
    values[..., 1] -= shift * patch.skin
    return linear_of_lab(values)


def gaussian_separation(patch: SkinPatch, strength: float) -> Light:
    """Blotch between two Gaussians reduced in linear light, blind to edges."""
    fine, broad = (
        cv2.GaussianBlur(patch.linear, (0, 0), mm / 2.355 / patch.mm_per_pixel)
        for mm in (TEXTURE_MM, BLOTCH_MM)
    )
    return np.asarray(patch.linear - strength * (fine - broad) * patch.skin[..., None])


def telea(patch: SkinPatch, discs: Sequence[tuple[float, float, float]]) -> Light:
    """Discs (row, column, radius in pixels) inpainted (Telea 2004) in 8-bit sRGB."""
    codes = colour.RGB_to_RGB(
        patch.linear, "ITU-R BT.2020", "sRGB", apply_cctf_encoding=True, is_12_bits_system=False
    )
    eight_bit = np.rint(255 * np.clip(codes, 0, 1)).astype(np.uint8)
    hole = np.zeros(patch.skin.shape, np.uint8)
    for row, column, radius in discs:
        cv2.circle(hole, (round(column), round(row)), max(1, round(radius)), 255, -1)
    painted = cv2.inpaint(eight_bit, hole, 3, cv2.INPAINT_TELEA)
    back = colour.RGB_to_RGB(painted / 255, "sRGB", "ITU-R BT.2020", apply_cctf_decoding=True)
    return np.where(hole[..., None] > 0, back, patch.linear)
