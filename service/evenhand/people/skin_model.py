"""A person's own skin in optical density: learnt on the face, found again on the body.

Optical density is `-ln(linear light)`. What is left of it after taking away the direction in which
all three channels move together hardly depends on shading [1]_. Sunburnt skin lies away from the
face's along the haemoglobin direction, so the model has slack that way.

References
----------
.. [1] N. Tsumura, H. Haneishi, Y. Miyake, "Independent-component analysis of skin color image",
   J. Opt. Soc. Am. A 16 (1999) 2169-2176.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.colour.optics import (
    density,
    haemoglobin_direction,
    melanin_direction,
    pigment_axes,
)

Field = npt.NDArray[np.float32]

BURN_SLACK = 0.45
"""Density along haemoglobin by which skin may differ from the face: a strong sunburn."""

TAN_SLACK = 0.12
"""Density along melanin by which skin may be darker than the face: a tan. Paler skin gets none,
since less melanin is also the way to grey cloth."""

LEAST_SPREAD = 0.05
"""Density: smallest standard deviation of a person's skin in the plane."""

LARGEST_SPREAD = 0.14
"""Density: largest; a wider spread means that the seeds were not only skin."""

SURE, UNSURE = 2.0, 3.2
"""Standard deviations from the model: skin up to the first, something else from the second."""

FOREIGN = (5.0, 9.0)
"""Standard deviations from which a colour may be, and is, one that this skin has in no light: body
paint, cloth, metal."""

GREY = (0.35, 0.6)
"""Share of the way from grey to the person's skin up to which a colour is cloth, and from which it
may be skin: pale and shaded cloth is nearly grey."""

BRIGHTER, DARKER = 1.3, 1.5
"""Density by which lit and shaded skin may differ from the middle of the face."""

TRIM = 2.5
"""Standard deviations beyond which a seed is left out."""

FEWEST_SEEDS = 50
"""Pixels: fewer say nothing about a person's skin."""


@dataclass(frozen=True)
class SkinModel:
    """One person's skin.

    Attributes
    ----------
    middle : ndarray of float64, shape (2,)
        Median of the pigment coordinates, in density without shading.
    whitening : ndarray of float64, shape (2, 2)
        Turns a difference in the plane into standard deviations.
    density : float
        Median of the mean density over the three channels.
    """

    middle: npt.NDArray[np.float64]
    whitening: npt.NDArray[np.float64]
    density: float


def learn(linear: Field, seeds: npt.NDArray[np.bool_]) -> SkinModel | None:
    """Learn a person's skin from pixels that are mostly skin; None if they are too few.

    Parameters
    ----------
    linear : ndarray of float32, shape (height, width, 3)
        Linear light.
    seeds : ndarray of bool, shape (height, width)

    Returns
    -------
    SkinModel or None
    """
    plane, mean = in_plane(linear[seeds])
    if len(mean) < FEWEST_SEEDS:
        return None
    kept = np.abs(mean - np.median(mean)) < DARKER / 2
    for _ in range(4):
        middle = np.median(plane[kept], axis=0)
        whitening = _whitening(plane[kept] - middle)
        near = _length((plane - middle) @ whitening) < TRIM
        if near.sum() < FEWEST_SEEDS:
            break
        kept = near & (np.abs(mean - np.median(mean[near])) < DARKER / 2)
        if kept.sum() < FEWEST_SEEDS:
            break
    return SkinModel(middle.astype(np.float64), whitening, float(np.median(mean[near])))


def compared(model: SkinModel, linear: Field) -> tuple[Field, Field]:
    """How each pixel compares with this person's skin.

    Parameters
    ----------
    model : SkinModel
    linear : ndarray of float32, shape (height, width, 3)
        Linear light.

    Returns
    -------
    likeness : ndarray of float32, shape (height, width)
        How much it looks like the skin, in [0, 1].
    foreign : ndarray of float32, shape (height, width)
        How surely it has a colour that this skin has in no light, in [0, 1].
    """
    plane, mean = in_plane(linear)
    deviations = _deviations(model, plane)
    in_colour = falling(deviations, SURE, UNSURE)
    in_colour = in_colour * rising(_share_of_pigment(model, plane), *GREY)
    shade = mean - model.density
    in_light = falling(shade, 0.8 * DARKER, DARKER) * falling(-shade, 0.8 * BRIGHTER, BRIGHTER)
    likeness: Field = (in_colour * in_light).astype(np.float32)
    return likeness, rising(cv2.GaussianBlur(deviations, (0, 0), 1.0), *FOREIGN)


def in_plane(linear: Field) -> tuple[Field, Field]:
    """Pigment coordinates of light, shape (..., 2), haemoglobin first; and mean density, (...).

    Parameters
    ----------
    linear : ndarray of float32, shape (..., 3)
        Linear light.

    Returns
    -------
    plane : ndarray of float32, shape (..., 2)
    mean : ndarray of float32, shape (...)
    """
    opacity = density(linear)
    plane: Field = opacity @ pigment_axes().T
    red, green, blue = np.moveaxis(opacity, -1, 0)
    return plane, (red + green + blue) / np.float32(3)  # np.mean takes three times as long


def _deviations(model: SkinModel, plane: Field) -> Field:
    """Standard deviations from the person's skin, burnt and tanned skin included."""
    away = plane - model.middle.astype(np.float32)
    _take_slack(away, haemoglobin_direction(), BURN_SLACK)
    _take_slack(away, melanin_direction(), TAN_SLACK)
    return _length(away @ model.whitening.astype(np.float32))


def _length(vectors: Field) -> Field:
    """Of vectors (..., 2); for so few numbers in a row np.linalg.norm takes three times as long."""
    length: Field = np.sqrt(vectors[..., 0] ** 2 + vectors[..., 1] ** 2)
    return length


def _share_of_pigment(model: SkinModel, plane: Field) -> Field:
    """How far each pixel is from grey towards this skin: 0 for grey, 1 for the skin itself."""
    middle = model.middle.astype(np.float32)
    share: Field = (plane @ middle) / max(float(middle @ middle), 1e-6)
    return share


def _whitening(away: npt.NDArray[Any]) -> npt.NDArray[np.float64]:
    """Inverse square root of the covariance, its spreads kept within limits."""
    values, vectors = np.linalg.eigh(np.cov(away.T))
    spreads = np.clip(np.sqrt(np.maximum(values, 0)), LEAST_SPREAD, LARGEST_SPREAD)
    whitening: npt.NDArray[np.float64] = vectors @ np.diag(1 / spreads) @ vectors.T
    return whitening


def _take_slack(away: Field, pigment: Field, most: float) -> None:
    """Take what more of one pigment may explain out of the difference from the model, in place."""
    unit = pigment_axes() @ pigment
    unit /= np.linalg.norm(unit)
    along = np.clip(away @ unit, 0.0, most)
    for axis in range(2):
        away[..., axis] -= along * unit[axis]


def rising(values: Field, start: float, end: float) -> Field:
    """0 up to `start`, 1 from `end`, smooth between.

    Parameters
    ----------
    values : ndarray of floats
    start, end : float
        Not equal.

    Returns
    -------
    ndarray of floats, same shape
        In [0, 1].
    """
    share = np.clip((values - start) / (end - start), 0, 1)
    smooth: Field = share * share * (3 - 2 * share)
    return smooth


def falling(values: Field, start: float, end: float) -> Field:
    """1 up to `start`, 0 from `end`, smooth between.

    Parameters
    ----------
    values : ndarray of floats
    start, end : float
        Not equal.

    Returns
    -------
    ndarray of floats, same shape
        In [0, 1].
    """
    return 1 - rising(values, start, end)
