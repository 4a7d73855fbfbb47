"""From what a step wants to a layer: code values, inside the mask and inside the cap."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.colour.encoding import MatrixEncoding
from evenhand.errors import WrongSettingError
from evenhand.layers.cap import factors_within, near_together
from evenhand.layers.gaining import gained
from evenhand.layers.layer import CodeDifferences, Layer
from evenhand.layers.measure import Measure
from evenhand.layers.pieces import Pixels, any_channel, in_pieces
from evenhand.steps.gain import Gain
from evenhand.steps.patch import Change

if TYPE_CHECKING:
    from evenhand.people.person import Alpha
    from evenhand.photo.photograph import Photograph

STEPS_PER_CODE = {8: 64, 16: 1}
# Parts of a code value in which differences are kept, by depth: 8-bit files need parts so that
# a gentle change dithers instead of banding.


def layer_from_change(
    photograph: Photograph,
    person: int,
    step: str,
    box: Box,
    change: Change | Gain,
    mask: Alpha,
    cap: float,
    settings: Mapping[str, Any] | None = None,
) -> Layer:
    """Layer that makes a step's wanted change as far as mask and cap allow.

    Parameters
    ----------
    photograph : Photograph
        The original.
    person : int
        Index of the person.
    step : str
        Name of the step.
    box : Box
        Where the change lies in the upright photograph.
    change : Change or Gain
        Wanted linear light of the box, or a gain of its skin, and facts.
    mask : ndarray of float32, shape (box.height, box.width)
        Nothing changes where it is 0. It is no weight: a step feathers its own change.
    cap : float
        Largest CIEDE2000 (D65) of any pixel at any strength from 0 to 1.
    settings : mapping, optional
        The step's settings, as plain values.

    Returns
    -------
    Layer
        Cut to the pixels that change.

    Raises
    ------
    WrongSettingError
        The cap is no positive number.
    ValueError
        Change or mask do not fit the box.

    Notes
    -----
    Colours that are no number are left alone. Where a pixel's change would pass the cap it is
    shortened along its own direction in code values, with room left for rounding.
    """
    if not (np.isfinite(cap) and cap > 0):
        raise WrongSettingError(f"The cap {cap} is not above zero.", "Give a CIEDE2000 above 0.")
    shape = (box.height, box.width)
    of_change = change.patch.light if isinstance(change, Gain) else change.wanted
    if of_change.shape != (*shape, 3) or mask.shape != shape:
        raise ValueError(f"the change {of_change.shape} or mask {mask.shape} misses {shape}")
    encoding = photograph.encoding
    if isinstance(change, Gain) and isinstance(encoding, MatrixEncoding):
        place = person, step, box
        return _layer_from_gain(photograph, encoding, *place, change, mask, cap, settings)
    depth = photograph.pixels.dtype.itemsize * 8
    steps_per_code = STEPS_PER_CODE[depth]
    codes = photograph.pixels[box.slices].reshape(-1, 3)
    wanted = change.wanted.reshape(-1, 3)
    difference: CodeDifferences = np.zeros((box.area, 3), np.int32)

    def work(pixels: Pixels) -> None:
        own, goal = codes.take(pixels, axis=0), wanted.take(pixels, axis=0)
        linear = encoding.to_linear(own)
        differs = np.flatnonzero(any_channel(goal != linear) & np.isfinite(goal.sum(axis=1)))
        pixels, own = pixels[differs], own.take(differs, axis=0)
        goal, linear = goal.take(differs, axis=0), linear.take(differs, axis=0)
        if not pixels.size:
            return
        step_by = encoding.from_linear(goal, photograph.white)
        step_by -= encoding.from_linear(linear, photograph.white)
        shift = np.rint(step_by * steps_per_code).astype(np.int32)
        base = own.astype(np.int32) * steps_per_code
        np.clip(shift, -base, photograph.white * steps_per_code - base, out=shift)
        difference[pixels] = shift
        (near,) = near_together(own[None], [shift[None]], encoding, steps_per_code, cap)
        own, shift = own[near], shift[near]
        factors = factors_within(Measure(encoding, own), [shift], steps_per_code, cap)
        difference[pixels[near]] = shortened(shift, factors)

    in_pieces(work, np.flatnonzero(mask > 0))
    if depth == 8:
        difference = difference.astype(np.int16)
    box, cut = _cut_to_change(box, difference.reshape(*shape, 3))
    return Layer(
        step, person, box, cut, steps_per_code, cap, dict(settings or {}), dict(change.facts)
    )


def _layer_from_gain(
    photograph: Photograph,
    encoding: MatrixEncoding,
    person: int,
    step: str,
    box: Box,
    change: Gain,
    mask: Alpha,
    cap: float,
    settings: Mapping[str, Any] | None,
) -> Layer:
    """The same in one compiled pass, for a gain of skin and a matrix profile."""
    steps_per_code = STEPS_PER_CODE[photograph.pixels.dtype.itemsize * 8]
    skin = change.patch.skin
    if mask is not skin:
        skin = np.where(mask > 0, skin, np.float32(0))
    inner = _around(skin)
    skin = skin[inner.slices]
    found = gained(photograph, encoding, box, inner, skin, change.log_gain, steps_per_code, cap)
    box = Box(
        box.top + inner.top, box.left + inner.left, box.top + inner.bottom, box.left + inner.right
    )
    codes = photograph.pixels[box.slices]

    def work(pixels: Pixels) -> None:
        place = np.unravel_index(pixels, skin.shape)
        shift = found.difference[place].astype(np.int32)
        factors = factors_within(Measure(encoding, codes[place]), [shift], steps_per_code, cap)
        found.difference[place] = shortened(shift, factors)

    in_pieces(work, np.flatnonzero(found.near))
    rows, columns = np.flatnonzero(found.rows), np.flatnonzero(found.columns)
    box, cut = _cut_to(box, found.difference, rows, columns)
    return Layer(
        step, person, box, cut, steps_per_code, cap, dict(settings or {}), dict(change.facts)
    )


def _around(skin: Alpha) -> Box:
    """Smallest box around the pixels with any skin."""
    rows = np.flatnonzero(skin.max(axis=1, initial=0) > 0)
    columns = np.flatnonzero(skin.max(axis=0, initial=0) > 0)
    if not rows.size:
        return Box(0, 0, 0, 0)
    return Box(int(rows[0]), int(columns[0]), int(rows[-1]) + 1, int(columns[-1]) + 1)


def shortened(
    difference: npt.NDArray[np.int32], factors: npt.NDArray[np.float32]
) -> npt.NDArray[np.int32]:
    """Differences (n, 3) times their factors (n,), rounded towards zero.

    Parameters
    ----------
    difference : ndarray of int32, shape (n, 3)
    factors : ndarray of float32, shape (n,)
        In [0, 1].

    Returns
    -------
    ndarray of int32, shape (n, 3)
        A copy.
    """
    over = np.flatnonzero(factors < 1)
    shorter = difference.copy()
    shorter[over] = difference[over] * factors[over, None]
    return shorter


def _cut_to_change(box: Box, difference: CodeDifferences) -> tuple[Box, CodeDifferences]:
    """Smallest box around the pixels that change, and the differences inside it."""
    differs = any_channel(difference != 0)
    rows, columns = np.flatnonzero(differs.any(axis=1)), np.flatnonzero(differs.any(axis=0))
    return _cut_to(box, difference, rows, columns)


def _cut_to(
    box: Box, difference: CodeDifferences, rows: Pixels, columns: Pixels
) -> tuple[Box, CodeDifferences]:
    """Box from the first to the last of `rows` and `columns`, and the differences inside it."""
    if not rows.size:
        return Box(box.top, box.left, box.top, box.left), np.zeros((0, 0, 3), np.int16)
    cut = Box(
        box.top + int(rows[0]),
        box.left + int(columns[0]),
        box.top + int(rows[-1]) + 1,
        box.left + int(columns[-1]) + 1,
    )
    return cut, difference[cut.within(box)]
