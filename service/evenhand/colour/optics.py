"""Optical density of skin, and the directions in it of shading, melanin and haemoglobin.

Density is ``-ln(linear light)``: what absorbs adds up in it (Tsumura et al., JOSA A 16(9), 2169,
1999; ACM TOG 22(3), 770, 2003). The directions follow from published spectra and a model of skin.
"""

from __future__ import annotations

import csv
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
import numpy.typing as npt

from evenhand.colour.primaries import XYZ_TO_WORKING

Densities = npt.NDArray[Any]
Direction = npt.NDArray[np.float32]
Spectrum = npt.NDArray[np.float64]

DARK = 1.0 / 512.0
# Light below which density goes on along its tangent, so that black and negative light stay
# finite and can be turned back. About code value 6 of an 8-bit sRGB file.

MELANOSOMES = 0.03
# Share of the epidermis filled by melanosomes in the model skin: between light (1.3-6.3 %) and
# medium skin (11-16 %) of S. L. Jacques, "Skin optics", Oregon Medical Laser Center News, 1998.

BLOOD = 0.01
# Share of the dermis filled by blood in the model skin; 0.2-5 % are given (same source).

OXYGENATION = 0.75
# Share of haemoglobin that carries oxygen: skin is fed by arterioles, drained by venules; 0.7-0.8
# is common in the literature (from memory).

HAEMOGLOBIN_PER_LITRE = 150.0 / 64500.0
# Moles of haemoglobin in a litre of blood: 150 g, 64,500 g/mol (Prahl, haemoglobin spectra).

EPIDERMIS_CM = 0.006
# Thickness of the epidermis: 60 micrometres (Jacques 1998).

EPIDERMIS_PASSES = 2.0
# Light crosses the epidermis on its way in and out, taken straight.

SKIN_INDEX = 1.4
# Refractive index of skin (Jacques 1998).


def density(linear: Densities) -> Densities:
    """Optical density of light: ``-ln(linear)``, carried on along its tangent below `DARK`.

    Parameters
    ----------
    linear : ndarray of floats, any shape
        Linear light, 1.0 = the file's white; may be zero or negative.

    Returns
    -------
    ndarray of the same shape and dtype
        0 for white, growing as it darkens; finite for finite input.
    """
    dark = linear.dtype.type(DARK)
    value: Densities = -np.log(np.maximum(linear, dark))
    value -= np.minimum(linear - dark, 0) / dark
    return value


def haemoglobin_direction(melanosomes: float = MELANOSOMES, blood: float = BLOOD) -> Direction:
    """Change of density in the working primaries for a little more blood, unit length, (3,).

    Parameters
    ----------
    melanosomes, blood : float
        Shares of epidermis and dermis around which the change is taken, in [0, 1].

    Returns
    -------
    ndarray of float32, shape (3,)
    """
    more = blood * 1.02
    return _unit(skin_density(melanosomes, more) - skin_density(melanosomes, blood))


def melanin_direction(melanosomes: float = MELANOSOMES, blood: float = BLOOD) -> Direction:
    """Change of density in the working primaries for a little more melanin, unit length, (3,).

    Parameters
    ----------
    melanosomes, blood : float
        Shares of epidermis and dermis around which the change is taken, in [0, 1].

    Returns
    -------
    ndarray of float32, shape (3,)
    """
    more = melanosomes * 1.02
    return _unit(skin_density(more, blood) - skin_density(melanosomes, blood))


def without_shading(density: Densities) -> Densities:
    """The part of densities that does not change with shading: each minus its mean, (..., 3).

    Parameters
    ----------
    density : ndarray of floats, shape (..., 3)
        Optical density.

    Returns
    -------
    ndarray of the same shape and dtype
        Its last axis sums to 0.
    """
    pigment: Densities = density - density.mean(axis=-1, keepdims=True)
    return pigment


def pigment_axes() -> npt.NDArray[np.float32]:
    """Two axes of the plane without shading, orthonormal, shape (2, 3).

    The first is haemoglobin's direction without its shading. The second stands on it, on melanin's
    side: pure blood does not move along it.
    """
    blood = _unit(without_shading(haemoglobin_direction()))
    melanin = without_shading(melanin_direction())
    return np.stack([blood, _unit(melanin - blood * (blood @ melanin))])


def skin_density(melanosomes: float, blood: float) -> npt.NDArray[np.float64]:
    """Density of model skin under D65 in the working primaries, shape (3,).

    Light passes the epidermis twice, straight, and returns from a dermis without end by diffusion:
    ``R = exp(-2 d mu_epidermis) a' / (1 + 2k(1 - a') + (1 + 2k/3) sqrt(3(1 - a')))``.

    Parameters
    ----------
    melanosomes : float
        Share of the epidermis filled by melanosomes, in [0, 1].
    blood : float
        Share of the dermis filled by blood, in [0, 1].

    Returns
    -------
    ndarray of float64, shape (3,)
        0 for a surface that returns all light.

    References
    ----------
    S. L. Jacques, "Skin optics", Oregon Medical Laser Center News, January 1998: absorption of
    epidermis, dermis and melanosomes, scattering. S. T. Flock, M. S. Patterson, B. C. Wilson,
    D. R. Wyman, IEEE Trans. Biomed. Eng. 36(12), 1162-1168, 1989: diffuse reflectance.
    """
    nm, absorbed_by_blood, weights = _spectra()
    baseline = 0.244 + 85.3 * np.exp(-(nm - 154.0) / 66.2)
    melanin = 6.6e11 * nm**-3.33
    scattering = 2e5 * nm**-1.5 + 2e12 * nm**-4
    epidermis = melanosomes * melanin + (1 - melanosomes) * baseline
    dermis = blood * absorbed_by_blood + (1 - blood) * baseline
    passed = np.exp(-EPIDERMIS_PASSES * EPIDERMIS_CM * epidermis)
    spectrum = passed * _diffuse_reflectance(dermis, scattering)
    result: npt.NDArray[np.float64] = -np.log(weights @ spectrum)
    return result


def _diffuse_reflectance(absorption: Spectrum, scattering: Spectrum) -> Spectrum:
    """Share of light that a half-space returns, for absorption and reduced scattering per cm."""
    albedo = scattering / (scattering + absorption)
    inner = -1.440 / SKIN_INDEX**2 + 0.710 / SKIN_INDEX + 0.668 + 0.0636 * SKIN_INDEX
    mirror = (1 + inner) / (1 - inner)
    root = np.sqrt(3 * (1 - albedo))
    share: Spectrum = albedo / (1 + 2 * mirror * (1 - albedo) + (1 + 2 * mirror / 3) * root)
    return share


@lru_cache(maxsize=1)
def _spectra() -> tuple[Spectrum, Spectrum, Spectrum]:
    """Wavelengths in nm (n,), absorption of whole blood per cm (n,), and weights (3, n).

    The weights turn a reflectance spectrum under D65 into working light, 1 for a perfect white.
    """
    blood, observer = _table("haemoglobin.csv"), _table("observer_d65.csv")
    nm, oxy, deoxy = blood.T
    absorption = np.log(10) * HAEMOGLOBIN_PER_LITRE
    absorption_of_blood = absorption * (OXYGENATION * oxy + (1 - OXYGENATION) * deoxy)
    working = XYZ_TO_WORKING @ (observer[:, 1:4] * observer[:, 4:5]).T
    return nm, absorption_of_blood, working / working.sum(axis=1, keepdims=True)


def _table(name: str) -> Spectrum:
    lines = (files("evenhand") / "models" / "spectra" / name).read_text("utf-8").splitlines()
    return np.array([[float(cell) for cell in row] for row in csv.reader(lines[1:])])


def _unit(direction: npt.NDArray[Any]) -> Direction:
    unit: Direction = (direction / np.linalg.norm(direction)).astype(np.float32)
    return unit
