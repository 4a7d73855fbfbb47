"""The result at any strengths, from the original and its layers.

For every channel of every pixel, in whole numbers, with n = round(1024 strength):

* 8 bit: ``result = (original * 65536 + sum of n * difference + threshold) >> 16``
* 16 bit: ``result = (original * 1024 + sum of n * difference + 512) >> 10``

clipped to what the file can hold; differences are in 1/64 of a code value for 8 bit and in whole
code values for 16 bit, thresholds are those of `evenhand.layers.dither`. Where the sum is zero
the result is the original, bit for bit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import numpy as np

from evenhand.box import Box
from evenhand.compiling import compiled
from evenhand.errors import WrongSettingError
from evenhand.layers.dither import thresholds
from evenhand.layers.layer import CodeDifferences, Layer
from evenhand.processors import PROCESSORS

if TYPE_CHECKING:
    from evenhand.colour.encoding import CodeValues
    from evenhand.photo.photograph import Photograph

STRENGTH_STEPS = 1024
# Strengths are rounded to this part, so that a result is the same on every machine.

ROWS = 64
# Rows at a time: the sums of a strip stay in the cache.


Reading = Callable[[Layer, Box], CodeDifferences]
"""Gives a layer's differences in a part of its box."""


def held(layer: Layer, part: Box) -> CodeDifferences:
    """A layer's differences in a part of its box, as the layer holds them.

    Parameters
    ----------
    layer : Layer
    part : Box
        In the frame's coordinates, inside the layer's box.

    Returns
    -------
    ndarray of int16 or int32, shape (part.height, part.width, 3)
        A view.
    """
    return layer.difference[part.within(layer.box)]


def blend(
    photograph: Photograph,
    layers: Sequence[Layer],
    strengths: Mapping[str, float] | Sequence[float],
    read: Reading = held,
) -> CodeValues:
    """Original plus every layer at its strength.

    Parameters
    ----------
    photograph : Photograph
        The original; it is not changed.
    layers : sequence of Layer
        In any order.
    strengths : mapping of step to float, or sequence of float
        In [0, 1]: one for each step, or one for each layer in order.
    read : callable, optional
        Where the layers' differences come from, if not from the layers themselves.

    Returns
    -------
    ndarray of the original's dtype and shape

    Raises
    ------
    WrongSettingError
        A layer has no strength, or one outside [0, 1].

    Examples
    --------
    >>> import evenhand
    >>> layers = evenhand.compute_layers(photo, people)
    >>> pixels = evenhand.blend(photo, layers, {"redness": 0.8, "smoothing": 0})
    >>> (pixels == photo.pixels).all()
    False
    >>> (evenhand.blend(photo, layers, [0, 0]) == photo.pixels).all()
    True
    """
    return _moved(photograph.pixels, layers, strengths, 1, read)


def unblend(
    pixels: CodeValues,
    layers: Sequence[Layer],
    strengths: Mapping[str, float] | Sequence[float],
) -> CodeValues:
    """Pixels of the original from those of a result; the inverse of `blend`, bit for bit.

    Parameters
    ----------
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
        What `blend` gave: after a lossy file the original comes back only nearly.
    layers : sequence of Layer
        What was blended.
    strengths : mapping of step to float, or sequence of float
        In [0, 1], as given to `blend`.

    Returns
    -------
    ndarray of the same dtype and shape

    Raises
    ------
    WrongSettingError
        A layer has no strength, or one outside [0, 1].

    Examples
    --------
    >>> import evenhand
    >>> layers = evenhand.compute_layers(photo, people)
    >>> pixels = evenhand.blend(photo, layers, [1, 1])
    >>> (evenhand.unblend(pixels, layers, [1, 1]) == photo.pixels).all()
    True
    """
    return _moved(pixels, layers, strengths, -1, held)


def _moved(
    pixels: CodeValues,
    layers: Sequence[Layer],
    strengths: Mapping[str, float] | Sequence[float],
    way: int,
    read: Reading,
) -> CodeValues:
    """A copy of pixels moved by the layers' sum, forth (1) or back (-1)."""
    parts = [round(STRENGTH_STEPS * value) for value in strengths_of(layers, strengths)]
    result = pixels.copy()
    active = [(layer, part) for layer, part in zip(layers, parts, strict=True) if part]
    strips = [
        Box(top, region.left, min(top + ROWS, region.bottom), region.right)
        for region in apart([layer.box for layer, _ in active])
        for top in range(region.top, region.bottom, ROWS)
    ]
    with ThreadPoolExecutor(PROCESSORS) as pool:
        list(pool.map(lambda strip: _move_strip(result, strip, active, way, read), strips))
    return result


def strengths_of(
    layers: Sequence[Layer], strengths: Mapping[str, float] | Sequence[float]
) -> list[float]:
    """Strength of every layer in order, checked.

    Parameters
    ----------
    layers : sequence of Layer
    strengths : mapping of step to float, or sequence of float
        In [0, 1]: one for each step, or one for each layer in order.

    Returns
    -------
    list of float

    Raises
    ------
    WrongSettingError
        A layer has no strength, or one outside [0, 1].
    """
    if isinstance(strengths, Mapping):
        missing = sorted({layer.step for layer in layers} - set(strengths))
        if missing:
            raise WrongSettingError(
                f"No strength is given for {', '.join(missing)}.", "Give one from 0 to 1."
            )
        values = [float(strengths[layer.step]) for layer in layers]
    else:
        values = [float(value) for value in strengths]
    if len(values) != len(layers):
        raise WrongSettingError(
            f"There are {len(layers)} layers but {len(values)} strengths.", "Give one for each."
        )
    for value in values:
        if not 0 <= value <= 1:
            raise WrongSettingError(
                f"The strength {value} is not between 0 and 1.", "Give a strength from 0 to 1."
            )
    return values


def apart(boxes: Sequence[Box]) -> list[Box]:
    """Boxes that share no pixel and together cover `boxes`: those that meet are joined.

    Parameters
    ----------
    boxes : sequence of Box
        Empty ones are left out.

    Returns
    -------
    list of Box
    """
    separate: list[Box] = []
    for box in boxes:
        joined = box
        while True:
            meeting = [other for other in separate if other.intersection(joined).area]
            if not meeting:
                break
            separate = [other for other in separate if other not in meeting]
            for other in meeting:
                joined = joined.union(other)
        if joined.area:
            separate.append(joined)
    return separate


def _move_strip(
    result: CodeValues,
    strip: Box,
    active: Sequence[tuple[Layer, int]],
    way: int,
    read: Reading,
) -> None:
    """Move the rows of one strip of `result` by the layers' sum, in place."""
    total = np.zeros((strip.height, strip.width, 3), np.int32)
    for layer, part in active:
        shared = layer.box.intersection(strip)
        if shared.area:
            _add(read(layer, shared), part, total[shared.within(strip)])
    if not total.any():
        return
    codes = result[strip.slices]
    if codes.dtype == np.uint8:
        _move(codes, total, thresholds(strip), 16, way, 255)
    else:
        half = np.full((1, 1, 3), STRENGTH_STEPS // 2, np.int32)
        _move(codes, total, np.broadcast_to(half, total.shape), 10, way, 65535)


@compiled
def _add(difference, part, total):  # type: ignore[no-untyped-def]
    """Add a layer's differences times its whole-numbered strength."""
    for row in range(total.shape[0]):
        for column in range(total.shape[1]):
            for channel in range(3):
                step = np.int32(difference[row, column, channel]) * np.int32(part)
                total[row, column, channel] += step


@compiled
def _move(codes, total, threshold, shift, way, white):  # type: ignore[no-untyped-def]
    """Move code values by the sum, rounded by thresholds and shifted down."""
    for row in range(total.shape[0]):
        for column in range(total.shape[1]):
            for channel in range(3):
                step = (total[row, column, channel] + threshold[row, column, channel]) >> shift
                moved = np.int32(codes[row, column, channel]) + np.int32(way) * step
                codes[row, column, channel] = min(max(moved, 0), white)
