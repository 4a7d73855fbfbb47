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
        near = np.linalg.norm((plane - middle) @ whitening, axis=-1) < TRIM
        if near.sum() < FEWEST_SEEDS:
            break
        kept = near & (np.abs(mean - np.median(mean[near])) < DARKER / 2)
        if kept.sum() < FEWEST_SEEDS:
            break
    return SkinModel(middle.astype(np.float64), whitening, float(np.median(mean[near])))


def likeness(model: SkinModel, linear: Field) -> Field:
    """How much each pixel looks like this person's skin, float32 in [0, 1].

    Parameters
    ----------
    model : SkinModel
    linear : ndarray of float32, shape (height, width, 3)
        Linear light.

    Returns
    -------
    ndarray of float32, shape (height, width)
    """
    plane, mean = in_plane(linear)
    in_colour = falling(_deviations(model, plane), SURE, UNSURE)
    in_colour = in_colour * rising(_share_of_pigment(model, plane), *GREY)
    shade = mean - model.density
    in_light = falling(shade, 0.8 * DARKER, DARKER) * falling(-shade, 0.8 * BRIGHTER, BRIGHTER)
    alike: Field = (in_colour * in_light).astype(np.float32)
    return alike


def foreign(model: SkinModel, linear: Field) -> Field:
    """How surely each pixel has a colour that this skin has in no light, float32 in [0, 1].

    Parameters
    ----------
    model : SkinModel
    linear : ndarray of float32, shape (height, width, 3)
        Linear light.

    Returns
    -------
    ndarray of float32, shape (height, width)
    """
    deviations = cv2.GaussianBlur(_deviations(model, in_plane(linear)[0]), (0, 0), 1.0)
    return rising(deviations, *FOREIGN)


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
    return plane, opacity.mean(axis=-1)


def _deviations(model: SkinModel, plane: Field) -> Field:
    """Standard deviations from the person's skin, burnt and tanned skin included."""
    away = plane - model.middle.astype(np.float32)
    away = _without_slack(away, haemoglobin_direction(), 0.0, BURN_SLACK)
    away = _without_slack(away, melanin_direction(), 0.0, TAN_SLACK)
    deviations: Field = np.linalg.norm(away @ model.whitening.astype(np.float32), axis=-1)
    return deviations


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


def _without_slack(away: Field, pigment: Field, least: float, most: float) -> Field:
    """The difference from the model, less what more or less of one pigment may explain."""
    unit = pigment_axes() @ pigment
    unit /= np.linalg.norm(unit)
    along = np.clip(away @ unit, least, most)
    freed: Field = away - along[..., None] * unit
    return freed


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
