"""Colour of skin under a light, followed wavelength by wavelength, for any amount of pigment."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from functools import cached_property, lru_cache
from pathlib import Path

import colour
import cv2
import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

WAVELENGTHS = np.arange(400.0, 701.0, 4.0)
"""Nanometres."""

HAEMOGLOBIN_TABLE = Path(__file__).with_name("haemoglobin_prahl.csv")
"""Prahl's compilation of Gratzer and Kollias; columns 3 and 4: absorption at 150 g/L, 1/cm."""

EPIDERMIS_CM = 0.006
"""Thickness of the layer that holds melanin, 60 micrometres (Jacques 1998)."""

INTERNAL_REFLECTION = 3.2
"""The constant A of diffusion theory for an index of 1.4 (Flock et al. 1989)."""


class MelaninLaw(Enum):
    """Published absorption of a melanosome, 1/cm at nm."""

    JACQUES_1998 = (6.6e11, -3.33)
    JACQUES_2013 = (519.0 * 500.0**3.5, -3.5)

    def absorption(self, nm: Array) -> Array:
        """Absorption at wavelengths in nm, 1/cm."""
        factor, power = self.value
        return np.asarray(factor * nm**power, np.float64)


@dataclass(frozen=True)
class Tissue:
    """What differs between skins, photographs and published models other than pigment.

    Attributes
    ----------
    oxygenation : float
        Share of oxygenated blood; 0.7 to 0.8 is common in skin (Jacques 2013).
    scattering, scattering_power : float
        Reduced scattering at 500 nm, 1/cm, and the power it falls with: the mean of published
        skin (Jacques 2013, table 1, whose entries range from about 30 to 70, 0.7 to 2.5).
    passes : float
        Path through the epidermis, in and out, in thicknesses: 2 straight through, more for
        light spread over the half space.
    surface : float
        Light from the surface seen off the mirror direction; Fresnel's reflection of an index of
        1.4 is 0.028, and photographs avoid the mirror direction.
    melanin_law : MelaninLaw
        Absorption of melanosomes.
    """

    oxygenation: float = 0.75
    scattering: float = 46.0
    scattering_power: float = 1.421
    passes: float = 2.8
    surface: float = 0.018
    melanin_law: MelaninLaw = MelaninLaw.JACQUES_1998

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Tissue:
        """A tissue drawn from the published ranges."""
        return cls(
            oxygenation=float(rng.uniform(0.6, 0.9)),
            scattering=float(rng.uniform(36, 60)),
            scattering_power=float(rng.uniform(1.0, 1.8)),
            passes=float(rng.uniform(2.0, 3.2)),
            surface=float(rng.uniform(0.008, 0.028)),
            melanin_law=list(MelaninLaw)[rng.integers(2)],
        )


USUAL = Tissue()
"""The middle of the published ranges."""


def baseline_absorption(nm: Array) -> Array:
    """Absorption of skin without pigments, 1/cm (Jacques 1998)."""
    return np.asarray(0.244 + 85.3 * np.exp(-(nm - 154.0) / 66.2), np.float64)


@lru_cache(maxsize=64)
def blood_absorption(oxygenation: float) -> Array:
    """Absorption of whole blood at `WAVELENGTHS`, 1/cm."""
    table = np.genfromtxt(HAEMOGLOBIN_TABLE, delimiter=",", skip_header=1)
    oxygenated = np.interp(WAVELENGTHS, table[:, 0], table[:, 3])
    deoxygenated = np.interp(WAVELENGTHS, table[:, 0], table[:, 4])
    return np.asarray(oxygenation * oxygenated + (1 - oxygenation) * deoxygenated, np.float64)


def reflectance(melanin: npt.ArrayLike, blood: npt.ArrayLike, tissue: Tissue = USUAL) -> Array:
    """Reflectance of skin, shape (..., wavelengths).

    A melanin layer over a scattering half space: diffusion theory for the diffuse reflectance of
    the half space (Flock et al. 1989; Farrell et al. 1992), Beer's law in the layer.

    Parameters
    ----------
    melanin : array_like
        Volume share of melanosomes in the epidermis, about 0.01 (light) to 0.4 (dark).
    blood : array_like
        Volume share of blood in the dermis, about 0.002 to 0.07 (Jacques 2013).
    tissue : Tissue
        The rest.
    """
    melanin = np.asarray(melanin, np.float64)[..., None]
    blood = np.asarray(blood, np.float64)[..., None]
    baseline = baseline_absorption(WAVELENGTHS)
    absorption = blood * blood_absorption(tissue.oxygenation) + (1 - blood) * baseline
    scattering = tissue.scattering * (WAVELENGTHS / 500.0) ** -tissue.scattering_power
    albedo = scattering / (scattering + absorption)
    root = np.sqrt(3 * (1 - albedo))
    dermis = albedo / 2 * (1 + np.exp(-4 / 3 * INTERNAL_REFLECTION * root)) * np.exp(-root)
    layer = melanin * tissue.melanin_law.absorption(WAVELENGTHS) + (1 - melanin) * baseline
    passed = np.exp(-layer * EPIDERMIS_CM * tissue.passes)
    return np.asarray(tissue.surface + (1 - tissue.surface) * passed * dermis, np.float64)


class Light(Enum):
    """The light that skin is seen under."""

    D65 = "D65"
    D50 = "D50"
    LOW_SUN = "low sun, 3500 K"

    @property
    def spectrum(self) -> Array:
        """Relative power at `WAVELENGTHS`."""
        if self is Light.LOW_SUN:
            power = colour.sd_blackbody(3500, colour.SpectralShape(400, 700, 4)).values
        else:
            power = np.interp(
                WAVELENGTHS,
                colour.SDS_ILLUMINANTS[self.value].wavelengths,
                colour.SDS_ILLUMINANTS[self.value].values,
            )
        return np.asarray(power / power.mean(), np.float64)


@lru_cache(maxsize=1)
def _matching_functions() -> Array:
    functions = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    return np.stack(
        [np.interp(WAVELENGTHS, functions.wavelengths, functions.values[:, i]) for i in range(3)],
        axis=-1,
    )


def to_linear(spectrum: Array, light: Light, balanced: bool = True) -> Array:
    """Linear Rec. 2020 of reflectance spectra under a light, white = (1, 1, 1) if balanced.

    Parameters
    ----------
    spectrum : ndarray, shape (..., wavelengths)
        Reflectance.
    light : Light
        What falls on it.
    balanced : bool
        Whether the photograph's white balance removed the light's cast; else a camera set to
        daylight keeps it warm.
    """
    weights = _matching_functions() * light.spectrum[:, None]
    weights = weights / weights[:, 1].sum()
    matrix = colour.RGB_COLOURSPACES["ITU-R BT.2020"].matrix_XYZ_to_RGB
    values = spectrum @ (weights @ matrix.T)
    if balanced:
        values = values / (weights.sum(axis=0) @ matrix.T)
    return np.asarray(values, np.float64)


@dataclass(frozen=True)
class Skin:
    """One person's unburnt skin under a light.

    Attributes
    ----------
    melanin, blood : float
        Volume shares, see `reflectance`.
    light : Light
        What falls on it.
    balanced : bool
        Whether white balance removed the cast.
    tissue : Tissue
        What else differs.
    """

    melanin: float
    blood: float = 0.005
    light: Light = Light.D65
    balanced: bool = True
    tissue: Tissue = USUAL

    @cached_property
    def linear(self) -> Array:
        """Linear Rec. 2020 of this skin in full light, shape (3,)."""
        return self.with_pigment(self.melanin, self.blood)

    def with_pigment(self, melanin: npt.ArrayLike, blood: npt.ArrayLike) -> Array:
        """Linear Rec. 2020 with other amounts of pigment, shape (..., 3)."""
        return to_linear(reflectance(melanin, blood, self.tissue), self.light, self.balanced)

    def ratio(self, more_blood: npt.ArrayLike, more_melanin: npt.ArrayLike = 0.0) -> Array:
        """Factors by which linear light changes when pigment is added, shape (..., 3), float64.

        Read from a table of 33 x 33 amounts, linear in between.
        """
        more_blood, more_melanin = np.broadcast_arrays(
            np.asarray(more_blood, np.float64), np.asarray(more_melanin, np.float64)
        )
        bloods = np.linspace(min(0.0, more_blood.min()), max(1e-6, more_blood.max()), 33)
        melanins = np.linspace(min(0.0, more_melanin.min()), max(1e-6, more_melanin.max()), 33)
        grid_melanin, grid_blood = np.meshgrid(melanins, bloods, indexing="ij")
        table = np.log(
            self.with_pigment(
                np.maximum(self.melanin + grid_melanin, 0.001),
                np.maximum(self.blood + grid_blood, 0.0005),
            )
            / self.linear
        )
        column = (more_blood - bloods[0]) / (bloods[1] - bloods[0])
        row = (more_melanin - melanins[0]) / (melanins[1] - melanins[0])
        flat = (-1, more_blood.shape[-1] if more_blood.ndim else 1)
        looked_up = cv2.remap(
            table.astype(np.float32),
            column.reshape(flat).astype(np.float32),
            row.reshape(flat).astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        return np.exp(looked_up.reshape(*more_blood.shape, 3).astype(np.float64))


MELANIN = {"light": 0.02, "intermediate": 0.05, "tan": 0.09, "brown": 0.15, "dark": 0.28}
"""Melanin shares of five skins from light to dark."""
