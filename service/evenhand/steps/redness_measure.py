"""Measuring redness above unburnt skin, and which way this person's burn moved density."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.steps.burn_outline import Burn, outlined_burn
from evenhand.steps.coarse import CoarsePatch
from evenhand.steps.masked_filters import blur
from evenhand.steps.pigments import Direction, Pigments, pigments_of
from evenhand.steps.unburnt import EVEN_BY_NATURE, GENTLE, unburnt_level, unburnt_levels

Map = npt.NDArray[np.float32]
Covariance = npt.NDArray[np.float64]

WITHOUT_SHADING = np.array([[1.0, -1.0, 0.0], [1.0, 1.0, -2.0]]) / np.sqrt([[2.0], [6.0]])
"""Two axes of density that shading leaves alone, orthonormal."""

MOTTLE_MM = 3.0
"""Size below which differences count as mottle and noise, millimetres."""

SURFACES = (0.004, 0.011, 0.018, 0.025)
"""Light that the skin's surface may return, from hardly any to nearly all of Fresnel's."""

THINNED = 2
"""Step between the coarse pixels by which the surface is judged."""

MELANIN_SPREAD = 0.03
"""Deviation of melanin over unburnt skin that is reckoned with, density."""

LEAST_SPREAD = 0.005
"""Deviation of density that is always reckoned with."""

BORDER_MM = 6.0
"""Distance over which a burn's border is compared with its two sides."""

LEAST_STEP = 0.03
"""Steps of redness that count as a border, density."""

LEAST_EVIDENCE = 0.2
"""Sum over the border of squared steps times area, density squared times mm2, to go by."""

PRIOR_WEIGHT = 10.0
"""Evidence that the published direction counts for, same unit."""

MOST_TURN = 20.0
"""Degrees by which a person's own direction may differ from the published one."""


ROUNDS = 3
"""Times that direction, tilt and redness are measured in turn."""

GLOSS_SHARE, SHADOW_SHARE = 0.1, 0.85
"""Quantiles of darkness between which skin is in ordinary light."""

SHADE_MM = 2.0
"""Blur of the darkness that tells gloss and shadow, millimetres."""

MOST_TILT = 0.6
"""Redness per density of shade at most that is put down to light and not to blood."""

GIVEN_BACK = 0.5
"""Share given back of what the tilt takes off a burn for being darker.

One would be right if redness rose evenly with shade; it levels off, and on burns simulated on
seven portraits, read while this was chosen, a half came nearest to clean.
"""

DEEP_SHADOW, NO_LIGHT = 0.5, 1.2
"""Density below ordinary light from which redness is trusted less, and no more at all.

Light in folds, under arms and under the chin has been from skin to skin, and is redder for it. A
shadow cast on open skin lies at 0.3 to 0.6 on the rendered people, an armpit at 1 and more.
"""

BODY_GENTLE = 0.12
"""Density taken off at most on neck, arms, hands, torso and legs where no burn ends on skin."""


@dataclass(frozen=True)
class Excess:
    """Redness above the person's unburnt skin of the same region.

    Attributes
    ----------
    amount : ndarray of float32, shape (height, width)
        Density along the burn's direction.
    least : ndarray of float32, shape (height, width)
        Amount from which skin counts as burnt in part; twice that, in full.
    most : ndarray of float32, shape (height, width)
        Density to take off at most.
    in_light : ndarray of float32, shape (height, width)
        Trust in `amount`, 0 in deep shadow, else 1.
    """

    amount: Map
    least: Map
    most: Map
    in_light: Map


def measure(
    skin: CoarsePatch, counterparts: Map | None = None
) -> tuple[Direction, Excess, Burn | None]:
    """Direction of a person's burn, its excess everywhere, and the burn if it ends on skin.

    Parameters
    ----------
    skin : CoarsePatch
        The person's skin.
    counterparts : ndarray of float32, shape (height, width, 2), or None
        Row and column of each place of the face on its other side.
    """
    shade = blur(skin.density.mean(axis=-1), skin.skin, skin.pixels(SHADE_MM))
    gloss, dark = np.quantile(shade[skin.inside], [GLOSS_SHARE, SHADOW_SHARE])
    lit = skin.inside & (shade >= gloss) & (shade <= dark)
    shade = shade - np.median(shade[lit])
    pigments, others = _clearest(skin, lit)
    direction, burnt = pigments.haemoglobin, np.zeros_like(lit)
    for turn in range(ROUNDS):
        amount = redness_map(skin.density, direction, others)
        split = unburnt_level(amount[lit]).split
        plain = lit & ~burnt if split is None else lit & (amount < split)
        tilt = _tilt(amount, shade, plain)
        # The burn darkens too: what is put down to shade there must be given back.
        kept = 1 - GIVEN_BACK * tilt * float(direction.mean())
        amount = (amount - np.float32(tilt) * shade) / np.float32(kept)
        levels = unburnt_levels(skin, amount, lit)
        amount -= levels.middle
        burnt = skin.inside & (amount > np.maximum(2 * levels.least, LEAST_STEP))
        burnt &= levels.most > 2 * GENTLE
        if turn < ROUNDS - 1:
            reddened = np.where(burnt, amount, 0).astype(np.float32)
            direction = own_direction(skin, reddened, pigments.haemoglobin)
    in_light = np.clip((NO_LIGHT - shade) / (NO_LIGHT - DEEP_SHADOW), 0, 1)
    in_light = (in_light * in_light * (3 - 2 * in_light)).astype(np.float32)
    redness = redness_map(skin.density, pigments.haemoglobin, others)
    burn = outlined_burn(skin, redness, shade, pigments, counterparts)
    most = levels.most if burn is not None else _eased(skin, levels.most)
    return direction, Excess(amount, levels.least, most, in_light), burn


def _eased(skin: CoarsePatch, most: Map) -> Map:
    """Most that comes off where no burn ends on skin: red may be natural, or the light's."""
    body = sum(skin.regions[region] for region in EVEN_BY_NATURE if region in skin.regions)
    return np.asarray(np.minimum(most, GENTLE + (BODY_GENTLE - GENTLE) * body), np.float32)


def _clearest(skin: CoarsePatch, lit: npt.NDArray[np.bool_]) -> tuple[Pigments, Covariance]:
    """Pigments, and what is not a burn, for the gloss under which skin parts most clearly in two.

    How much light the surface returns decides on dark skin which way blood moves its colour.
    """
    mottle = skin.density - blur(skin.density, skin.skin, skin.pixels(MOTTLE_MM))
    tried = [pigments_of(skin, surface) for surface in SURFACES]
    found = [(pigments, nuisance(mottle[skin.inside], pigments)) for pigments in tried]
    thinned = lit[::THINNED, ::THINNED]
    few = skin.density[::THINNED, ::THINNED][thinned]
    return max(
        found,
        key=lambda one: unburnt_level(redness_map(few, one[0].haemoglobin, one[1])).separation,
    )


def _tilt(amount: Map, shade: Map, plain: npt.NDArray[np.bool_]) -> float:
    """Redness that comes with shade on unburnt skin, per density."""
    if plain.sum() < 100:
        return 0.0
    x, y = shade[plain], amount[plain]
    x, y = x - x.mean(), y - y.mean()
    return float(np.clip((x * y).sum() / max(float((x * x).sum()), 1e-6), 0, MOST_TILT))


def nuisance(mottle: Map, pigments: Pigments) -> Covariance:
    """Covariance of density, shape (3, 3), of what is not a burn: noise, mottle, melanin.

    Parameters
    ----------
    mottle : ndarray of float32, shape (pixels, 3)
        Density against its surroundings.
    pigments : Pigments
        The person's.
    """
    mottle64 = mottle.astype(np.float64)
    spread = mottle64.T @ mottle64 / max(1, len(mottle))
    melanin = MELANIN_SPREAD * pigments.melanin
    return np.asarray(spread + np.outer(melanin, melanin) + LEAST_SPREAD**2 * np.eye(3))


def redness_map(density: Map, direction: Direction, others: Covariance) -> Map:
    """Haemoglobin in density along `direction`, up to a constant, shape (...).

    Read along the axis that answers one to `direction`, nothing to shading, and least to `others`:
    the linear estimate of least variance (Gauss, Markov).
    """
    plane = WITHOUT_SHADING
    answer = np.linalg.solve(plane @ others @ plane.T, plane @ direction)
    axis = (answer / (answer @ plane @ direction)) @ plane
    return np.asarray(density @ axis.astype(np.float32), np.float32)


def own_direction(skin: CoarsePatch, burn: Map, published: Direction) -> Direction:
    """Direction in which this person's burn changed density, from the burn's own border.

    Across its border a burn changes faster than shading does, and shading knows nothing of it:
    regressing the change of density on the change of the burn gives the whole direction, what it
    does to lightness included. A result far from the published direction is something else than a
    burn, and the published one is used.

    Parameters
    ----------
    skin : CoarsePatch
        The person's skin.
    burn : ndarray of float32, shape (height, width)
        Excess density, zero on unburnt skin.
    published : ndarray of float64, shape (3,)
        Direction from published spectra, unit length.
    """
    near, far = skin.pixels(BORDER_MM / 4), skin.pixels(BORDER_MM)
    step, change = (
        blur(values, skin.skin, near) - blur(values, skin.skin, far)
        for values in (burn, skin.density)
    )
    far_inside = cv2.distanceTransform(skin.inside.astype(np.uint8), cv2.DIST_L2, 5) > far
    border = far_inside & (np.abs(step) > LEAST_STEP)
    area = skin.mm_per_pixel**2
    evidence = area * float((step[border] ** 2).sum())
    if evidence < LEAST_EVIDENCE:
        return published
    measured = area * (change[border] * step[border, None]).sum(axis=0, dtype=np.float64)
    turned = measured + PRIOR_WEIGHT * published
    turned /= np.linalg.norm(turned)
    if turned @ published < np.cos(np.radians(MOST_TURN)):
        return published
    return np.asarray(turned, np.float64)
