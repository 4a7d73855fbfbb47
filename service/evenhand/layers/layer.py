"""The layer: signed differences in the file's own code values inside a bounding box."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from evenhand.box import Box

CodeDifferences = npt.NDArray[np.int16] | npt.NDArray[np.int32]
"""Of code values; 16 bits where they fit, which those of 8-bit files always do."""


@dataclass(frozen=True)
class Layer:
    """One step's change to one person, already inside its cap.

    Attributes
    ----------
    step : str
        Name of the step: redness, smoothing, marks, eyes, tone.
    person : int
        Index of the person.
    box : Box
        Where `difference` lies in the upright photograph.
    difference : ndarray of int16 or int32, shape (box.height, box.width, 3)
        Wanted minus original at strength 1, in units of `1 / steps_per_code` code values.
    steps_per_code : int
        64 for 8-bit photographs, so that evening does not band; 1 for 16-bit ones.
    cap : float
        Largest CIEDE2000 (D65) difference that any pixel has at strength 1.
    settings : mapping
        The step's settings, as plain values.
    facts : mapping
        What the step measured, for the report.

    Examples
    --------
    >>> import evenhand
    >>> layer = evenhand.compute_layers(photo, people)[0]
    >>> layer.step, layer.cap, layer.difference.dtype
    ('redness', 16.0, dtype('int16'))
    """

    step: str
    person: int
    box: Box
    difference: CodeDifferences
    steps_per_code: int
    cap: float
    settings: Mapping[str, Any] = field(default_factory=dict)
    facts: Mapping[str, Any] = field(default_factory=dict)
