"""Skin of the same person in an earlier portrait, as the colour that burnt skin had before.

Light and white balance of two portraits differ, and with them every colour. What the sun does not
change, the white of the eyes and the hair, tells by how much; what it does not tell is reckoned
with as doubt, and only what is redder beyond that doubt counts as a burn. Shading is left out, as
everywhere in optical density, and so is melanin: a tan since then is no burn.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.people.person import SKIN_REGIONS, Face, Region
from evenhand.people.regions import LEFT_EYE, RIGHT_EYE
from evenhand.steps.blood import WITHOUT_SHADING, Covariance, redness_axis
from evenhand.steps.coarse import CoarsePatch, coarse
from evenhand.steps.masked_filters import blur, guided
from evenhand.steps.patch import ReferenceSkin, RegionSkin, SkinPatch
from evenhand.steps.pigments import Pigments

Map = npt.NDArray[np.float32]
Density = npt.NDArray[np.float64]

GRID_MM = 1.0
"""Pixels of the coarse grid on which a region's colour is measured."""

ORDINARY_LIGHT = (0.2, 0.7)
"""Quantiles of density between which skin and hair are in ordinary light."""

LEAST_MM2 = 200.0
"""Skin of a region below which it tells nothing of the whole region."""

WHOLE = 0.9
"""Share of a region from which a coarse pixel is of it alone."""

DARKEST, BLOWN = 1e-3, 0.95
"""Linear light of a channel below which it is noise, and above which a camera clips it."""

EYE_WHITE, HAIR = "eye white", "hair"
"""What the sun does not change."""

DEVIATIONS = {EYE_WHITE: 0.035, HAIR: 0.045}
"""By how much two portraits of one person differ in each, in density without shading, beside their
light. On the odd photographs of people at several turns in one light two eye whites differ by 0.02
and 0.035 along the two axes, hair by 0.02; hair gets more, since another light glosses it anew."""

BALANCE = 0.12
"""The same of the light itself after a camera's balance: what is reckoned with where nothing else
tells. A gain of 10 % of a channel; an estimate without a source."""

TAN = 0.12
"""Density of melanin by which skin may have become browner or paler since, as one deviation."""

IRIS_MARGIN = 1.1
"""Times its radius up to which the iris is not white of the eye."""

LEAST_PIXELS = 12
"""Pixels of the white of an eye, and of hair, that must be seen."""

BEYOND_DOUBT = 2.5
"""Deviations of doubt by which skin must somewhere be redder before anything counts as burnt."""

PART = 0.35
"""Share of a burn's redness down to which skin is of it."""

LEAST_WIDE_MM = 12.0
"""A burn is somewhere as wide as this: ears, nostrils and corners of eyes and mouth are redder by
nature."""

SURELY = 0.1
"""Excess beyond doubt at which skin is surely burnt, density."""

EVEN_MM, EVEN_CONTRAST = 4.0, 0.025
"""Half the window in which redness is evened before it is compared, and the step that stays."""

BROAD_MM = 3.0
"""Deviation over which redness is averaged before a place is called burnt, millimetres."""

BLEND_MM = 6.0
"""Deviation over which the colour of one region passes into that of the next, millimetres."""

USUAL = 1.3
"""Deviations of a region's redness within which nine tenths of unburnt skin lie."""

UNUSUAL = 3.5
"""Deviations beyond which unburnt skin does not get over as wide a place as a burn; chosen on the
odd photographs of people without one, of whom 2.5 moves three in fifty-one."""

REGION_MM2 = 100.0
"""Burnt skin of a region below which it has no level of its own."""


@dataclass(frozen=True)
class DaySkin:
    """What one portrait shows of a person's colours.

    Attributes
    ----------
    regions : mapping of Region to RegionSkin
        Regions of which enough is seen.
    unchanged : mapping of str to ndarray of float64, shape (3,)
        Median density of what the sun does not change, as far as it is seen.
    """

    regions: Mapping[Region, RegionSkin]
    unchanged: Mapping[str, Density]


@dataclass(frozen=True)
class Compared:
    """Skin against its reference.

    Attributes
    ----------
    excess : ndarray of float32, shape (height, width)
        Haemoglobin beyond doubt over the reference that is to go, density, 0 and more.
    most : ndarray of float32, shape (height, width)
        What may go at most without leaving less than the reference, doubt aside.
    belief : ndarray of float32, shape (height, width)
        How surely skin is burnt, 0 to 1.
    known : ndarray of float32, shape (height, width)
        How far the reference speaks of a place, 0 to 1.
    doubt : float
        Deviation of the excess that comes from not knowing the light, density.
    """

    excess: Map
    most: Map
    belief: Map
    known: Map
    doubt: float


def day_skin(patch: SkinPatch) -> DaySkin:
    """Measure a person's skin, and what tells the light, in one portrait.

    Parameters
    ----------
    patch : SkinPatch

    Returns
    -------
    DaySkin
        Without the regions of which too little is seen.
    """
    skin = coarse(patch, GRID_MM)
    regions = {
        region: measured
        for region in SKIN_REGIONS
        if region in skin.regions and (measured := _region_skin(skin, region)) is not None
    }
    return DaySkin(regions, _unchanged(patch))


def matched(today: DaySkin, before: DaySkin) -> ReferenceSkin:
    """The earlier skin in today's light.

    The difference of light is the mean of what each unchanged part says, weighted by how sure it
    is; where they disagree by more than that, doubt grows. Where nothing is seen that tells it,
    both are taken to be balanced, in doubt.

    Parameters
    ----------
    today, before : DaySkin
        The same person in both portraits.

    Returns
    -------
    ReferenceSkin
    """
    seen = [name for name in DEVIATIONS if name in today.unchanged and name in before.unchanged]
    plane = WITHOUT_SHADING
    shift, variance = np.zeros(2), BALANCE**2
    if seen:
        said = np.array([plane @ (today.unchanged[name] - before.unchanged[name]) for name in seen])
        weights = np.array([DEVIATIONS[name] ** -2 for name in seen])
        shift, variance = weights @ said / weights.sum(), 1 / weights.sum()
        apart = float(weights @ ((said - shift) ** 2).sum(axis=1))
        variance *= max(1.0, apart / max(1, 2 * (len(seen) - 1)))
    regions = {
        region: RegionSkin(skin.density + plane.T @ shift, skin.spread)
        for region, skin in before.regions.items()
    }
    return ReferenceSkin(regions, variance * plane.T @ plane, tuple(seen))


def compared(
    skin: CoarsePatch, reference: ReferenceSkin, pigments: Pigments, others: Covariance
) -> Compared:
    """How much redder skin is than the reference.

    Parameters
    ----------
    skin : CoarsePatch
        The person's skin today.
    reference : ReferenceSkin
        The same person's before the burn, in today's light.
    pigments : Pigments
        The person's.
    others : ndarray of float64, shape (3, 3)
        Covariance of what is not a burn in this picture (`evenhand.steps.blood.nuisance`).

    Returns
    -------
    Compared
    """
    tan = TAN * pigments.melanin
    unknown = reference.doubt + np.outer(tan, tan)
    axis = redness_axis(pigments.haemoglobin, others + unknown)
    doubt = float(np.sqrt(axis @ unknown @ axis))
    before, usual, known = _levels(skin, reference, axis)
    red = skin.density @ axis.astype(np.float32)
    even = guided(red, red, skin.skin, skin.pixels(EVEN_MM), EVEN_CONTRAST)
    over = even - before
    burnt = known * _belief(skin, over, usual, doubt)
    level = _level(skin, reference, over, burnt > 0)
    # what varies as unburnt skin does is left: a cheek stays rosier than a forehead
    redder = np.maximum(over, 0)
    wanted = np.maximum(np.minimum(redder, level), redder - usual)
    trusted = np.maximum(1 - (doubt / np.maximum(level, 1e-6)) ** 2, 0)
    most = redder + np.float32(doubt)
    excess = np.asarray(trusted * wanted, np.float32)
    # a light that nothing tells can look like a burn: then the photographer has to point
    belief = burnt if reference.balanced_by else np.zeros_like(burnt)
    return Compared(excess, np.asarray(most, np.float32), belief, known, doubt)


def _belief(skin: CoarsePatch, over: Map, usual: Map, doubt: float) -> Map:
    """How surely skin is burnt that is redder than the reference by so much.

    What is beyond doubt, and beyond what unburnt skin usually gets to, over a place as wide as a
    burn is, counts with all that hangs together with it and is a good part as red.
    """
    broad = np.where(skin.inside, blur(over, skin.skin, skin.pixels(BROAD_MM)), 0)
    unusual = np.maximum(UNUSUAL / USUAL * usual + doubt, BEYOND_DOUBT * doubt)
    core = broad > unusual
    if not core.any():
        return np.zeros_like(over)
    least = max(doubt, PART * float(np.median(broad[core])))
    wide = cv2.distanceTransform(core.astype(np.uint8), cv2.DIST_L2, 5)
    _, labels = cv2.connectedComponents((broad > least).astype(np.uint8))
    burnt = np.isin(labels, np.unique(labels[wide > skin.pixels(LEAST_WIDE_MM / 2)]))
    return np.asarray(np.clip((broad - least) / SURELY, 0, 1) * burnt, np.float32)


def _region_skin(skin: CoarsePatch, region: Region) -> RegionSkin | None:
    """Colour of a region in ordinary light; None where too little is seen or it is blown out."""
    whole = skin.inside & (skin.regions[region] > WHOLE)
    mine = skin.density[whole].astype(np.float64)
    if len(mine) * skin.mm_per_pixel**2 < LEAST_MM2:
        return None
    mean = mine.mean(axis=1)
    low, high = np.quantile(mean, ORDINARY_LIGHT)
    ordinary = mine[(mean >= low) & (mean <= high)]
    held = ordinary[ordinary.min(axis=1) > -np.log(BLOWN)]
    if len(held) < 0.5 * len(ordinary):
        return None
    flat = mine @ WITHOUT_SHADING.T @ WITHOUT_SHADING  # in sun and shade: so it is judged too
    return RegionSkin(np.median(held, axis=0), np.cov(flat.T))


def _unchanged(patch: SkinPatch) -> dict[str, Density]:
    """Median density of eye white and hair, as far as they are seen about the face."""
    if patch.face is None:
        return {}
    box = patch.face.box
    about = box.grown(box.height // 3, (patch.box.bottom, patch.box.right)).intersection(patch.box)
    rows, columns = about.within(patch.box)
    light = patch.window(rows, columns)
    found = {}
    if len(patch.face.landmarks):
        white = _eye_whites(patch.face, (about.left, about.top), light.shape[:2])
        found[EYE_WHITE] = _ordinary(light[white], (0.0, 0.5))
    if Region.HAIR in patch.masks:
        hair = patch.masks[Region.HAIR][rows, columns] > WHOLE
        found[HAIR] = _ordinary(light[hair], ORDINARY_LIGHT)
    return {name: density for name, density in found.items() if density is not None}


def _eye_whites(
    face: Face, corner: tuple[int, int], shape: tuple[int, ...]
) -> npt.NDArray[np.bool_]:
    """Where the white of the eyes is seen: between the lids, without the iris and the edges."""
    white = np.zeros(shape, np.uint8)
    points = face.landmarks - np.array(corner, np.float32)
    for lids in (RIGHT_EYE, LEFT_EYE):
        cv2.fillPoly(white, [np.rint(points[list(lids)]).astype(np.int32)], 1)
    white = cv2.erode(white, np.ones((3, 3), np.uint8))
    for centre in (468, 473):
        radius = np.linalg.norm(points[centre + 1 : centre + 5] - points[centre], axis=1).mean()
        place = np.rint(points[centre]).astype(int).tolist()
        cv2.circle(white, place, max(1, int(np.ceil(IRIS_MARGIN * radius))), 0, -1)
    return np.asarray(white > 0)


def _ordinary(light: Map, quantiles: tuple[float, float]) -> Density | None:
    """Median density between two quantiles of density; None where too little is left."""
    kept = light[light.max(axis=1) < BLOWN]
    if len(kept) < LEAST_PIXELS:
        return None
    density = -np.log(np.maximum(kept, DARKEST)).astype(np.float64)
    mean = density.mean(axis=1)
    low, high = np.quantile(mean, quantiles)
    return np.asarray(np.median(density[(mean >= low) & (mean <= high)], axis=0))


def _levels(skin: CoarsePatch, reference: ReferenceSkin, axis: Density) -> tuple[Map, Map, Map]:
    """The reference's redness, how much of it is usual, and how far it speaks, at each place."""
    weight = np.zeros(skin.skin.shape, np.float32)
    level, usual = np.zeros_like(weight), np.zeros_like(weight)
    for region in skin.regions:
        if region in reference.regions:
            one, share = reference.regions[region], skin.regions[region]
            weight += share
            level += share * np.float32(axis @ one.density)
            usual += share * np.float32(USUAL * np.sqrt(float(axis @ one.spread @ axis)))
    sigma = skin.pixels(BLEND_MM)
    near = np.maximum(blur(weight, skin.skin, sigma), np.float32(1e-6))
    known = np.clip(blur(weight, skin.skin, sigma / 2), 0, 1)
    return blur(level, skin.skin, sigma) / near, blur(usual, skin.skin, sigma) / near, known


def _level(
    skin: CoarsePatch, reference: ReferenceSkin, over: Map, burnt: npt.NDArray[np.bool_]
) -> Map:
    """How much redder the burnt skin of each region is in the middle."""
    whole = float(np.median(over[burnt])) if burnt.any() else 0.0
    level = np.full(over.shape, whole, np.float32)
    for region in skin.regions:
        mine = burnt & (skin.regions[region] > WHOLE)
        if region in reference.regions and mine.sum() * skin.mm_per_pixel**2 >= REGION_MM2:
            level += skin.regions[region] * np.float32(np.median(over[mine]) - whole)
    return blur(level, skin.skin, skin.pixels(BLEND_MM))
