"""What is measured of a retouched scene against its clean state, by reference libraries."""

from __future__ import annotations

from typing import Any

import colour
import cv2
import numpy as np
import numpy.typing as npt
from skimage.color import deltaE_ciede2000

from evenhand.steps.patch import SkinPatch
from tests.optics.scene import Scene

Light = npt.NDArray[np.floating]
Inside = npt.NDArray[np.bool_]

WHITE = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
"""White of all Lab values here."""

TEXTURE_MM = 1.0
"""Full width at half height of the Gaussian whose high-pass, run twice, is the texture band."""

BLOTCH_MM = 10.0
"""The same for the blotch band's upper limit."""

FWHM = 2.3548
"""Full width at half height of a Gaussian in deviations."""

BORDER_MM = 4.0
"""Distance from a burn's border within which what is left of it is looked for."""

EDGE_MM = 3.5
"""Full width at half height of the Gaussian at whose scale edges are looked for."""

SEEN_EDGE = 0.5
"""Change of a* and b* for a millimetre below which no edge is seen: one over two millimetres."""

BURNT_BLOOD = 0.004
"""Added blood from which a place counts as burnt."""

UNBURNT_BLOOD = 0.0005
"""Added blood up to which a place counts as unburnt."""


def lab(linear: Light) -> Light:
    """L*a*b*, D65, of linear Rec. 2020 (colour-science)."""
    matrix = colour.RGB_COLOURSPACES["ITU-R BT.2020"].matrix_RGB_to_XYZ
    return np.asarray(colour.XYZ_to_Lab(np.maximum(linear, 0) @ matrix.T, WHITE))


def linear_of_lab(values: Light) -> Light:
    """Linear Rec. 2020 of L*a*b*, D65 (colour-science)."""
    matrix = colour.RGB_COLOURSPACES["ITU-R BT.2020"].matrix_XYZ_to_RGB
    return np.asarray(colour.Lab_to_XYZ(values, WHITE) @ matrix.T)


def difference(one: Light, other: Light) -> Light:
    """CIEDE2000 (scikit-image)."""
    return np.asarray(deltaE_ciede2000(lab(one), lab(other)))


def burn_measures(scene: Scene, result: Light) -> dict[str, float]:
    """Burnt skin against clean, and what happened to unburnt skin."""
    skin = scene.alpha > 0.9
    burnt = skin & (scene.dose.blood > BURNT_BLOOD)
    unburnt = skin & (scene.dose.blood < UNBURNT_BLOOD)
    before = difference(scene.changed, scene.clean)[burnt].mean()
    after = difference(result, scene.clean)[burnt].mean()
    hues = [np.arctan2(values[2], values[1]) for values in _means(scene, result, burnt)]
    return {
        "burn reduced": float(1 - after / before),
        "burnt to clean": float(after),
        "unburnt moved": float(difference(result, scene.changed)[unburnt].mean()),
        "hue error": float(np.degrees(abs(hues[0] - hues[1]))),
        "residue": residue(scene, result),
    }


def residue(scene: Scene, result: Light) -> float:
    """Largest edge in colour along the old border of a burn, over the clean picture at the place.

    Change of a* and b* for a millimetre, in the hundredth of the border where most is added to the
    clean picture's; edges that nobody sees count as `SEEN_EDGE`. Not a number where the burn has no
    border well inside skin.
    """
    burnt = (scene.dose.blood > 0.5 * scene.dose.blood.max()).astype(np.uint8)
    across = 2 * max(1, round(BORDER_MM / scene.mm_per_pixel)) + 1
    near = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across))
    border = (cv2.dilate(burnt, near) > 0) & (cv2.dilate(1 - burnt, near) > 0)
    border &= well_inside(scene.patch)
    if not border.any():
        return float("nan")
    after, clean = (
        colour_edges(light, scene.mm_per_pixel)[border] for light in (result, scene.clean)
    )
    over = after - clean
    worst = over >= np.quantile(over, 0.99)
    return float(after[worst].mean() / max(clean[worst].mean(), SEEN_EDGE))


def colour_edges(linear: Light, mm_per_pixel: float) -> Light:
    """Change of a* and b* for a millimetre at the scale of `EDGE_MM`."""
    steepest = np.zeros(linear.shape[:2])
    for plane in np.moveaxis(lab(linear)[..., 1:], -1, 0):
        down, across = np.gradient(blurred(plane, EDGE_MM, mm_per_pixel), mm_per_pixel)
        steepest += down**2 + across**2
    return np.asarray(np.sqrt(steepest))


def _means(scene: Scene, result: Light, burnt: Inside) -> tuple[Any, Any]:
    return lab(result)[burnt].mean(axis=0), lab(scene.clean)[burnt].mean(axis=0)


def _density(linear: Light) -> Light:
    return -np.log(np.maximum(linear, 1e-4))


def blurred(values: Light, mm: float, mm_per_pixel: float) -> Light:
    """Gaussian average, `mm` wide at half its height."""
    return np.asarray(cv2.GaussianBlur(values, (0, 0), mm / FWHM / mm_per_pixel))


def well_inside(patch: SkinPatch, mm: float = 3.0) -> Inside:
    """Skin at least some mm from its edge."""
    far = cv2.distanceTransform((patch.skin > 0.99).astype(np.uint8), cv2.DIST_L2, 5)
    return np.asarray(far * patch.mm_per_pixel > mm)


def texture_kept(
    before: Light, after: Light, inside: Inside, mm_per_pixel: float, times: int = 2
) -> float:
    """Energy of the texture band, high-passed some times, after over before.

    Not a number where there is no skin.
    """
    energies = []
    for linear in (before, after):
        band = _density(linear).mean(axis=-1)
        for _ in range(times):
            band = band - blurred(band, TEXTURE_MM, mm_per_pixel)
        energies.append((band[inside] ** 2).sum())
    return float(energies[1] / energies[0]) if energies[0] > 0 else float("nan")


def texture_kept_at_half(before: Light, after: Light, inside: Inside, mm_per_pixel: float) -> float:
    """The same on pictures of half the size."""

    def half(values: Light) -> Light:
        return np.asarray(cv2.resize(values, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))

    within = half(inside.astype(np.float32)) > 0.99
    return texture_kept(half(before), half(after), within, 2 * mm_per_pixel)


def blotch_reduced(scene: Scene, result: Light) -> float:
    """Fall of the blotch band's energy, of the difference from clean, where skin is well inside.

    A result that also evens what the clean skin has comes out lower, as it should.
    """
    return added_blotch_reduced(scene, result, scene.clean)


def added_blotch_reduced(scene: Scene, result: Light, result_on_clean: Light) -> float:
    """Fall of the energy of what the simulation added to the blotch band.

    The result is compared with the same step's result on the clean picture, so that evening what
    the person had before counts neither for nor against.
    """
    inside = well_inside(scene.patch)

    def energy(one: Light, other: Light) -> float:
        off = _density(one) - _density(other)
        fine, broad = (blurred(off, mm, scene.mm_per_pixel) for mm in (TEXTURE_MM, BLOTCH_MM))
        return float(((fine - broad)[inside] ** 2).sum())

    before = energy(scene.changed, scene.clean)
    return 1 - energy(result, result_on_clean) / before if before > 0 else float("nan")
