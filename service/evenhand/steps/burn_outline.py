"""Which skin is burnt, where a burn ends on skin: found by its outline, measured across it.

On a face natural redness reaches as far as a burn does, but it fades slowly and is alike on both
sides; a burn ends at a strap, a brim, a collar, or with the sun.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.steps.coarse import CoarsePatch
from evenhand.steps.masked_filters import blur, guided
from evenhand.steps.natural_redness import MOTTLE, Fit, NaturalRedness, Values, natural_redness
from evenhand.steps.pigments import Direction, Pigments

Map = npt.NDArray[np.float32]
Inside = npt.NDArray[np.bool_]

LEAST_SAMPLES = 200
"""Samples of skin below which no outline is looked for."""

QUANTILES = (0.2, 0.35, 0.5, 0.65, 0.8)
"""Shares of the skin that are taken for unburnt to begin with, one try each."""

LOCAL_MM = 20.0
"""Deviation of the surroundings that skin is redder than, for another first try."""

ROUNDS, ROUNDS_OF_NEIGHBOURS = 15, 3
"""Times that natural redness and outline are found in turn, and a place asks its neighbours."""

NEIGHBOURS_MM, NEIGHBOURS_COUNT = 3.0, 6.0
"""Deviation of the neighbourhood that a place goes with, and the log odds that it counts for."""

LEAST_BURN = 0.15
"""Density that a burn is taken to have at least while its outline is looked for."""

OUTLINE_COSTS = 0.5
"""Evidence that a millimetre of outline must bring: burns are in one piece, mottle is not."""

NO_EVIDENCE, FULL_EVIDENCE = 40.0, 70.0
"""Evidence, twice a log likelihood, up to which there is no outline, and from which it is sure.

On eight photographed people without a burn it was 23 at most but for one with clipped light, whose
border is no burn's; with burns simulated on one side or beside a strap, 32 to 409. Those pictures
were read while this was chosen: they do not prove it.
"""

NEARLY = 0.6
"""Share of the best try's evidence down to which another is looked at if that is no burn's."""

STRONG_EVIDENCE = 300.0
"""Evidence from which the border may agree loosely."""

LEAST_SHARE, MOST_SHARE = 0.05, 0.92
"""Shares of the skin that a burn has at least and at most: less tells little, more has no ends."""

MOST_TURN = 20.0
"""Degrees by which a border's change of colour may differ from a burn's."""

MOST_STRENGTH = 1.2
"""Density, over three channels, that a burn adds at most."""

WITH_SHADE = 0.5
"""Density at least that a border adds with shading, in that which it adds without."""

LOOSELY_AGREEING, AGREEING, CLEARLY_AGREEING = 0.47, 0.55, 0.75
"""Share of the border whose own change must be a burn's, where redness itself is strong evidence
for a burn, evidence, and evidence only on skin that is more even than most.

On natural faces what passes for a border agrees with itself by up to 0.63, on simulated burns by
0.55 to 0.95 on photographs and 0.9 on drawn skin; read while this was chosen.
"""

NEAR_MM, FAR_MM, PLANE_MM = 1.5, 6.0, 8.0
"""Deviations between which a border is looked at; the last where shading does not count."""

PIECE_MM = 8.0
"""Width of a piece of border that has a change of its own."""

LEAST_STEP = 0.05
"""Part of the whole step from which a place belongs to a border."""

SOFT_MM = (0.0, 1.0, 2.0, 3.0, 4.5)
"""Deviations of softness that a border may have."""

UNSURE = 0.3
"""Part of a burn by which what is natural may be wrong: no place loses more than it is redder."""

REWEIGHTED = 10
"""Times that places are weighted anew by how well they agree."""


@dataclass(frozen=True)
class Burn:
    """A burn that ends on skin.

    Attributes
    ----------
    share : ndarray of float32, shape (height, width)
        How much of the burn each place has, 0 to 1.
    added : ndarray of float64, shape (3,)
        Density that it added where the share is 1.
    trust : float
        0 to 1, in there being such a burn.
    """

    share: Map
    added: Direction
    trust: float


def outlined_burn(
    skin: CoarsePatch, redness: Map, shade: Map, pigments: Pigments, counterparts: Map | None
) -> Burn | None:
    """The burn that ends on a person's skin; None where none does.

    Skin parts into burnt and not by redness less what is natural there, place by place with its
    neighbours, natural redness and outline in turn, as fields of bias are taken off in magnetic
    resonance (Wells et al., IEEE TMI 15(4), 429, 1996). What the burn added is read across its
    border, where it changes faster than shade does.

    Parameters
    ----------
    skin : CoarsePatch
        The person's skin.
    redness, shade : ndarray of float32, shape (height, width)
        Redness up to a constant and density below ordinary light.
    pigments : Pigments
        The person's.
    counterparts : ndarray of float32, shape (height, width, 2), or None
        Row and column of each place of the face on its other side.
    """
    model = natural_redness(skin, redness, shade, counterparts)
    if len(model.rows) < LEAST_SAMPLES:
        return None
    starts = _starts(model, skin, redness, counterparts)
    tries = [_settled(model, start, skin) for start in starts]
    tries = [one for one in tries if one.share.mean() > LEAST_SHARE and one.fit.burn > 0]
    tries.sort(key=lambda one: -one.evidence)
    for one in tries:
        if one.evidence > max(NO_EVIDENCE, NEARLY * tries[0].evidence):
            agreeing = LOOSELY_AGREEING if one.evidence > STRONG_EVIDENCE else AGREEING
            burn = _burn(one, model, skin, redness, pigments, agreeing)
            if burn is not None:
                trust = (one.evidence - NO_EVIDENCE) / (FULL_EVIDENCE - NO_EVIDENCE)
                return replace(burn, trust=min(1.0, trust))
    tries.sort(key=lambda one: -one.evidence_if_even)
    for one in tries:
        if one.evidence_if_even > FULL_EVIDENCE:
            burn = _burn(one, model, skin, redness, pigments, CLEARLY_AGREEING)
            if burn is not None:
                return burn
    return None


@dataclass(frozen=True)
class _Try:
    """A share of burnt skin at the samples with its fit and the evidence for it."""

    evidence: float
    evidence_if_even: float
    share: Values
    fit: Fit


def _burn(
    one: _Try,
    model: NaturalRedness,
    skin: CoarsePatch,
    redness: Map,
    pigments: Pigments,
    agreeing: float,
) -> Burn | None:
    """The burn of an outline; None where its border is not a burn's."""
    shape = redness.shape[0], redness.shape[1]
    natural = model.laid_out(one.fit.natural, shape)
    over = (redness - natural) / np.float32(one.fit.burn)
    even = guided(over, over, skin.skin, skin.pixels(2.0), 0.2)
    sharp = _sharp(skin, model.laid_out(one.share, shape), even)
    share, in_plane = _softened(skin, sharp, redness)
    share = np.minimum(share, np.clip(even + UNSURE, 0, 1))
    if not LEAST_SHARE < share[skin.inside].mean() < MOST_SHARE:
        return None
    added = _added(skin, share, in_plane, pigments, agreeing)
    return None if added is None else Burn(share, added, 1.0)


def _starts(
    model: NaturalRedness, skin: CoarsePatch, redness: Map, counterparts: Map | None
) -> Iterator[Inside]:
    """First tries: redder than a share of the skin, surroundings, nature, and the other side."""
    for quantile in QUANTILES:
        yield model.redness > np.quantile(model.redness, quantile)
    half = model.step // 2
    here = model.rows * model.step + half, model.columns * model.step + half
    yield model.redness > blur(redness, skin.skin, skin.pixels(LOCAL_MM))[here]
    over = model.redness - model.fit(np.zeros(len(model.redness))).natural
    yield over > _otsu(over)
    if counterparts is not None:
        row, column = np.rint(counterparts[here]).astype(np.intp).T
        row = np.clip(row, 0, redness.shape[0] - 1)
        column = np.clip(column, 0, redness.shape[1] - 1)
        even = blur(redness, skin.skin, skin.pixels(NEIGHBOURS_MM))
        usual = np.where(skin.inside[row, column], even[row, column], np.median(model.redness))
        yield (more := even[here] - usual) > _otsu(more)


def _otsu(values: Values | Map) -> float:
    """Threshold that parts values in two (Otsu, IEEE SMC 9(1), 1979)."""
    ends = np.quantile(values, [0.005, 0.995])
    steps = np.clip((values - ends[0]) / max(float(ends[1] - ends[0]), 1e-6) * 255, 0, 255)
    code, _ = cv2.threshold(steps.astype(np.uint8), 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    return float(ends[0] + (code + 0.5) / 255 * (ends[1] - ends[0]))


def _settled(model: NaturalRedness, start: Inside, skin: CoarsePatch) -> _Try:
    """Natural redness and outline found in turn from a first try."""
    cells = int(model.rows.max()) + 1, int(model.columns.max()) + 1
    whole, share_map = np.zeros(cells, np.float32), np.zeros(cells, np.float32)
    at = model.rows, model.columns
    whole[at] = 1
    sigma = max(0.8, skin.pixels(NEIGHBOURS_MM) / model.step)
    trust = np.minimum(model.weight / model.weight.max(), 1)
    share = start.astype(np.float64)
    for _ in range(ROUNDS):
        fit = model.fit(share)
        burn = max(fit.burn, LEAST_BURN)
        odds = (model.redness - fit.natural - burn / 2) * burn / (2 * MOTTLE**2) * trust
        before = share
        for _ in range(ROUNDS_OF_NEIGHBOURS):
            share_map[at] = share
            near = blur(share_map, whole, sigma)[at]
            share = 1 / (1 + np.exp(-np.clip(odds + NEIGHBOURS_COUNT * (near - 0.5), -30, 30)))
        if np.abs(share - before).mean() < 0.002:
            break
    share_map[at] = share
    length = _length(share_map, whole) * model.step * skin.mm_per_pixel
    fit = model.fit(share)
    none = model.fit(np.zeros_like(share))
    cost = OUTLINE_COSTS * length
    return _Try(
        none.misfit - fit.misfit - cost,
        none.misfit_if_even - fit.misfit_if_even - cost,
        share,
        fit,
    )


def _length(share: Map, whole: Map) -> float:
    """Length of an outline amid skin, in cells."""
    across, down = (cv2.Sobel(share, cv2.CV_32F, *axes) / 8 for axes in ((1, 0), (0, 1)))
    amid = cv2.erode(whole, np.ones((5, 5), np.uint8), borderValue=0) > 0
    return float(np.hypot(across, down)[amid].sum())


def _sharp(skin: CoarsePatch, burnt: Map, even: Map) -> Map:
    """Outline as fine as the coarse grid shows it, 0 or 1; `even`: redness in burns over nature."""
    wide = blur(burnt, skin.skin, skin.pixels(NEIGHBOURS_MM))
    sharp = np.where((wide > 0.08) & (wide < 0.92), even > 0.5, burnt > 0.5)
    size = 2 * int(skin.pixels(1.5)) + 1
    return np.asarray(cv2.medianBlur(sharp.astype(np.uint8), size), np.float32)


def _softened(skin: CoarsePatch, sharp: Map, redness: Map) -> tuple[Map, float]:
    """Outline as soft as the burn's border is, and the redness that it adds, density."""
    tried = []
    band = _band(redness, skin, 1.0, PLANE_MM)
    border = _amid(skin) & (np.abs(_band(sharp, skin, NEAR_MM, PLANE_MM)) > LEAST_STEP)
    if not border.any():
        return sharp, 0.0
    for soft in SOFT_MM:
        share = blur(sharp, skin.skin, skin.pixels(soft))
        step = _band(share, skin, 1.0, PLANE_MM)[border]
        amount = _agreed(step, band[border, None])[0]
        tried.append((float(np.median(np.abs(band[border] - amount * step))), share, amount))
    _, share, amount = min(tried, key=lambda one: one[0])
    return share, float(amount)


def _added(
    skin: CoarsePatch, share: Map, in_plane: float, pigments: Pigments, agreeing: float
) -> Direction | None:
    """Density that the burn added, from its border; None where the border is not a burn's.

    Read with shading, which clouds it, and without, along the published direction: either falls
    short where the outline is off, so that the larger of the two counts.
    """
    step = _band(share, skin, NEAR_MM, FAR_MM)
    change = _band(skin.density, skin, NEAR_MM, FAR_MM)
    border = _amid(skin) & (np.abs(step) > LEAST_STEP)
    if not border.any():
        return None
    added = _agreed(step[border], change[border])
    strength = float(np.linalg.norm(added))
    like = _alikeness(added, pigments.haemoglobin)
    if like < np.cos(np.radians(MOST_TURN)):
        return None
    if not LEAST_BURN <= strength <= MOST_STRENGTH or strength * like < WITH_SHADE * in_plane:
        return None
    if _agreeing(skin, step, change, border, added) < agreeing:
        return None
    both = added + in_plane * pigments.haemoglobin
    return np.asarray(both * (max(strength, in_plane) / np.linalg.norm(both)), np.float64)


def _alikeness(one: Direction, other: Direction) -> float:
    """Cosine between two directions."""
    return float(one @ other / max(float(np.linalg.norm(one) * np.linalg.norm(other)), 1e-9))


def _agreeing(skin: CoarsePatch, step: Map, change: Map, border: Inside, added: Direction) -> float:
    """Share of the border whose own pieces change as the whole does, at least half as much."""
    on, sigma = border.astype(np.float32), skin.pixels(PIECE_MM) / 2.355
    power = cv2.GaussianBlur(step * step * on, (0, 0), sigma)
    own = cv2.GaussianBlur(change * (step * on)[..., None], (0, 0), sigma)[border]
    own = own / (power[border, None] + 1e-6)
    along = own @ added / (added @ added)
    whole = np.linalg.norm(own, axis=-1) / np.linalg.norm(added)
    agrees = (along > 0.5) & (along > np.cos(np.radians(25.0)) * whole)
    weight = (step * step)[border]
    return float((weight * agrees).sum() / weight.sum())


def _amid(skin: CoarsePatch) -> Inside:
    """Skin away from the mask's edge, where hair and cloth mix in."""
    far = cv2.distanceTransform(skin.inside.astype(np.uint8), cv2.DIST_L2, 5)
    return np.asarray(far > skin.pixels(2.0), np.bool_)


def _band(values: Map, skin: CoarsePatch, near_mm: float, far_mm: float) -> Map:
    """What changes over some millimetres."""
    near, far = (blur(values, skin.skin, skin.pixels(mm)) for mm in (near_mm, far_mm))
    return near - far


def _agreed(step: Map, change: Map) -> Direction:
    """Change to a whole step, by places that agree (Cauchy's weights), shape (channels,)."""
    weight = np.ones(len(step))
    for _ in range(REWEIGHTED):
        slope = change.T @ (weight * step) / max(float((weight * step) @ step), 1e-9)
        off = np.linalg.norm(change - step[:, None] * slope, axis=1)
        weight = 1 / (1 + (off / max(1.5 * float(np.median(off)), 0.01)) ** 2)
    return np.asarray(slope, np.float64)
