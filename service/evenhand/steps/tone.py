"""Tone match: one person's skin looks the same over a shoot, whatever the camera's automatic did.

Face skin is measured in a portrait and in a reference that the photographer likes; the proposal is
a white balance and an exposure for the whole frame, as a layer of its own that can be taken off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field

from evenhand.colour.difference import ciede2000
from evenhand.colour.lab import lab_of
from evenhand.colour.primaries import WORKING_TO_XYZ
from evenhand.people.person import Region
from evenhand.steps.patch import LinearLight, SkinPatch

Channels = npt.NDArray[np.float64]

ORDINARY_LIGHT = (0.3, 0.8)
"""Quantiles of luminance between which skin is in ordinary light, neither shaded nor glossy."""

LEAST_PIXELS = 100
"""Pixels of skin below which its tone is not measured."""

LUMINANCE = WORKING_TO_XYZ[1]
"""Luminance of the working primaries."""

HIGHLIGHTS = 0.995
"""Share of the frame that must stay below white, so that a lift blows nothing out."""


class ToneSettings(BaseModel):
    """What the tone match may do; it runs only for portraits given a reference.

    Examples
    --------
    >>> ToneSettings(strength=0.8).most_exposure
    0.5
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    strength: float = Field(
        1.0, ge=0, le=1, description="How much of the way to the reference is gone, 0 to 1."
    )
    cap: float = Field(
        12.0, gt=0, le=25, description="Largest change of any pixel, CIEDE2000 (D65)."
    )
    most_exposure: float = Field(
        0.5, ge=0, le=1, description="Largest change of exposure, stops either way."
    )
    most_balance: float = Field(
        0.2,
        ge=0,
        le=0.5,
        description="Largest change of a channel against luminance, share either way.",
    )


@dataclass(frozen=True)
class SkinTone:
    """Skin of a person in one portrait.

    Attributes
    ----------
    light : tuple of float
        Median linear light of skin in ordinary light, Rec. 2020, D65.
    """

    light: tuple[float, float, float]

    @property
    def lab(self) -> Channels:
        """L*a*b*, D65, shape (3,)."""
        return np.asarray(lab_of(np.array([self.light], np.float64))[0], np.float64)


@dataclass(frozen=True)
class Correction:
    """White balance and exposure of a whole frame.

    Attributes
    ----------
    exposure : float
        Stops.
    balance : tuple of float
        Gain of each channel, Rec. 2020, that leaves the skin's luminance as it is.
    """

    exposure: float
    balance: tuple[float, float, float]

    @property
    def gains(self) -> Channels:
        """Gain of each channel in linear light, shape (3,)."""
        return np.asarray(2.0**self.exposure * np.array(self.balance), np.float64)

    def of(self, tone: SkinTone) -> SkinTone:
        """The tone after the correction.

        Parameters
        ----------
        tone : SkinTone

        Returns
        -------
        SkinTone
        """
        red, green, blue = (float(value) for value in self.gains * tone.light)
        return SkinTone((red, green, blue))


def skin_tone(patch: SkinPatch) -> SkinTone | None:
    """Measure a person's face skin, other skin where there is no face, None where too little.

    Parameters
    ----------
    patch : SkinPatch

    Returns
    -------
    SkinTone or None
        Median linear light of ordinarily lit skin.
    """
    for mask in (patch.masks.get(Region.FACE), patch.skin):
        if mask is None:
            continue
        inside = patch.linear[mask > 0.9]
        if len(inside) < LEAST_PIXELS:
            continue
        luminance = inside @ LUMINANCE
        low, high = np.quantile(luminance, ORDINARY_LIGHT)
        ordinary = inside[(luminance >= low) & (luminance <= high)]
        red, green, blue = (float(value) for value in np.median(ordinary, axis=0))
        return SkinTone((red, green, blue))
    return None


def correction(tone: SkinTone, reference: SkinTone, settings: ToneSettings) -> Correction:
    """White balance and exposure that bring a tone to a reference, inside the limits.

    Parameters
    ----------
    tone, reference : SkinTone
        Skin of the same person in this portrait and in the one the photographer likes.
    settings : ToneSettings
        Limits.

    Returns
    -------
    Correction
    """
    here, there = np.array(tone.light, np.float64), np.array(reference.light, np.float64)
    brighter = float(np.log2((there @ LUMINANCE) / (here @ LUMINANCE)))
    exposure = float(np.clip(brighter, -settings.most_exposure, settings.most_exposure))
    balance = np.clip(
        there / here / 2.0**brighter, 1 - settings.most_balance, 1 + settings.most_balance
    )
    balance *= (here @ LUMINANCE) / ((balance * here) @ LUMINANCE)
    red, green, blue = (float(value) for value in balance)
    return Correction(exposure, (red, green, blue))


def corrected(frame: LinearLight, wanted: Correction) -> LinearLight:
    """A whole frame after a correction; a lift stops where highlights would blow out.

    Parameters
    ----------
    frame : ndarray of float32, shape (height, width, 3)
        Linear light of the photograph, Rec. 2020.
    wanted : Correction
        White balance and exposure; one that changes nothing gives the same bits.

    Returns
    -------
    ndarray of float32, shape (height, width, 3)
    """
    gains = wanted.gains
    brightest = np.quantile(frame.reshape(-1, 3), HIGHLIGHTS, axis=0)
    lift = float((gains * brightest).max())
    if lift > 1:
        gains = gains * max(1 / lift, min(1.0, 1 / float(gains.max())))
    return np.asarray(frame * gains.astype(np.float32), np.float32)


def spread(tones: Sequence[SkinTone]) -> float:
    """Mean CIEDE2000 (D65) of a shoot's tones to their mean.

    Parameters
    ----------
    tones : sequence of SkinTone
        At least one.

    Returns
    -------
    float
    """
    values = np.array([tone.lab for tone in tones])
    middle = np.broadcast_to(values.mean(axis=0), values.shape)
    return float(ciede2000(values, middle).mean())
