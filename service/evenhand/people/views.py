"""What the networks look at: reduced, turned and cut 8-bit sRGB copies of a photograph."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.colour.encoding import Encoding, encoding_of
from evenhand.people.networks import Picture, Points
from evenhand.photo.photograph import Photograph

Affine = npt.NDArray[np.float64]

MOST_HALVINGS = 4
"""Halvings on the way to a reduced view: enough for 100 megapixels down to 450 pixels."""

ROTATIONS = (None, cv2.ROTATE_90_COUNTERCLOCKWISE, cv2.ROTATE_180, cv2.ROTATE_90_CLOCKWISE)
"""OpenCV's names for quarter turns anticlockwise."""

SAME_LOOK = 12.0
"""Code values of 8 bit: colours nearer than this look the same to the networks."""


@dataclass(frozen=True)
class View:
    """A picture taken from a photograph, and where it was taken from.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (height, width, 3)
        sRGB code values.
    to_photograph : ndarray of float64, shape (2, 3)
        Affine map from (column, row) in the view to (column, row) in the photograph.
    """

    pixels: Picture
    to_photograph: Affine

    def in_photograph(self, points: npt.NDArray[Any]) -> Points:
        """Points (column, row) of the view in pixels of the photograph, shape (n, 2).

        Parameters
        ----------
        points : ndarray of floats, shape (n, 2 or more)
            What follows column and row is left out.

        Returns
        -------
        ndarray of float32, shape (n, 2)
        """
        mapped = points[:, :2] @ self.to_photograph[:, :2].T + self.to_photograph[:, 2]
        return np.asarray(mapped, np.float32)

    def in_view(self, points: npt.NDArray[Any]) -> Points:
        """Points (column, row) of the photograph in pixels of the view, shape (n, 2).

        Parameters
        ----------
        points : ndarray of floats, shape (n, 2 or more)
            What follows column and row is left out.

        Returns
        -------
        ndarray of float32, shape (n, 2)
        """
        back = np.linalg.inv(self.to_photograph[:, :2])
        mapped = (points[:, :2] - self.to_photograph[:, 2]) @ back.T
        return np.asarray(mapped, np.float32)

    @property
    def pixel_size(self) -> float:
        """Pixels of the photograph along one pixel of the view."""
        return float(np.sqrt(abs(np.linalg.det(self.to_photograph[:, :2]))))


def reduced(photograph: Photograph, box: Box, longest: int) -> View:
    """The box of the photograph, reduced so that its longer side has at most `longest` pixels.

    Averages over halves first, which costs a tenth of doing it at once; a few rows and columns at
    the lower right are left out for the halves to come out even.

    Parameters
    ----------
    photograph : Photograph
    box : Box
        Inside the photograph, at least a pixel.
    longest : int
        Pixels.

    Returns
    -------
    View
        sRGB, 8 bit; never enlarged.
    """
    factor = max(1.0, max(box.height, box.width) / longest)
    width, height = max(1, round(box.width / factor)), max(1, round(box.height / factor))
    halvings = min(MOST_HALVINGS, int(np.log2(min(factor, box.height, box.width))))
    grid = 2**halvings
    even = Box(box.top, box.left, box.bottom - box.height % grid, box.right - box.width % grid)
    small = photograph.pixels[even.slices]
    for _ in range(halvings):
        small = cv2.resize(small, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    if small.shape[:2] != (height, width):
        small = cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)
    across, down = even.width / width, even.height / height
    to_photograph = np.array(
        [[across, 0, box.left + (across - 1) / 2], [0, down, box.top + (down - 1) / 2]]
    )
    return View(_as_srgb(small, photograph), to_photograph)


def smaller(view: View, factor: int) -> View:
    """The view averaged over squares of `factor` pixels; what is left at its ends is dropped.

    Parameters
    ----------
    view : View
    factor : int
        1 gives the view itself.

    Returns
    -------
    View
    """
    if factor <= 1:
        return view
    height, width = (side // factor for side in view.pixels.shape[:2])
    if not height or not width:
        return view
    even = view.pixels[: height * factor, : width * factor]
    pixels = cv2.resize(even, (width, height), interpolation=cv2.INTER_AREA)
    middle = (factor - 1) / 2
    scaling = np.array([[factor, 0, middle], [0, factor, middle]])
    return View(pixels, chained(view.to_photograph, scaling))


def part(view: View, box: Box) -> View:
    """A cut of a view; the box is in the view's own pixels and may reach beyond it (grey).

    Parameters
    ----------
    view : View
    box : Box

    Returns
    -------
    View
    """
    height, width = view.pixels.shape[:2]
    inside = box.intersection(Box(0, 0, height, width))
    cut = np.full((box.height, box.width, 3), 128, np.uint8)
    cut[inside.within(box)] = view.pixels[inside.slices]
    moved = view.to_photograph.copy()
    moved[:, 2] += view.to_photograph[:, :2] @ np.array([box.left, box.top])
    return View(cut, moved)


def quarter_turned(view: View, turns: int) -> View:
    """The view turned anticlockwise by `turns` quarters.

    Parameters
    ----------
    view : View
    turns : int
        Any number.

    Returns
    -------
    View
    """
    height, width = view.pixels.shape[:2]
    back = {
        0: np.array([[1, 0, 0], [0, 1, 0]]),
        1: np.array([[0, -1, width - 1], [1, 0, 0]]),
        2: np.array([[-1, 0, width - 1], [0, -1, height - 1]]),
        3: np.array([[0, 1, 0], [-1, 0, height - 1]]),
    }[turns % 4]
    way = ROTATIONS[turns % 4]
    turned = view.pixels if way is None else cv2.rotate(view.pixels, way)
    return View(turned, chained(view.to_photograph, back))


def aligned(
    photograph: Photograph,
    centre: npt.NDArray[Any],
    side: float,
    roll: float,
    size: int,
    whole: View | None = None,
) -> View:
    """A square crop turned so that a head with the given roll stands upright.

    Parameters
    ----------
    photograph : Photograph
    centre : array_like of float, shape (2,)
        Middle of the square (column, row) in the photograph.
    side : float
        Side of the square in pixels of the photograph.
    roll : float
        Degrees clockwise by which the head is turned in the photograph.
    size : int
        Side of the crop in pixels.
    whole : View, optional
        A reduced view of the whole photograph, to cut from where it is fine enough.

    Returns
    -------
    View
        `size` pixels square; grey beyond the photograph.
    """
    cosine, sine = np.cos(np.radians(roll)), np.sin(np.radians(roll))
    step = side / size
    matrix = step * np.array([[cosine, -sine], [sine, cosine]])
    middle = (size - 1) / 2
    shift = np.asarray(centre, np.float64) - matrix @ np.array([middle, middle])
    to_photograph = np.hstack([matrix, shift[:, None]])
    if whole is not None and whole.pixel_size <= step:
        source = smaller(whole, int(step / whole.pixel_size))
    else:
        reach = int(np.ceil(side * (abs(cosine) + abs(sine)) / 2 + 2 * step + 1))
        column, row = (round(float(c)) for c in centre)
        around = Box(row - reach, column - reach, row + reach, column + reach)
        around = around.intersection(photograph.frame)
        source = reduced(photograph, around, max(8, int(2 * reach / step * 1.3)))
    to_source = chained(inverse(source.to_photograph), to_photograph)
    pixels = cv2.warpAffine(
        source.pixels,
        to_source,
        (size, size),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(128, 128, 128),
    )
    return View(pixels, to_photograph)


def _as_srgb(code_values: npt.NDArray[Any], photograph: Photograph) -> Picture:
    """8-bit sRGB for the networks; close encodings are taken as they are."""
    eight_bit: Picture = np.ascontiguousarray(code_values)
    if photograph.white > 255:
        eight_bit = cv2.convertScaleAbs(code_values, alpha=255.0 / photograph.white)
    if photograph.profile is None or _looks_like_srgb(photograph.encoding):
        return eight_bit
    linear = photograph.encoding.to_linear(eight_bit)
    srgb = encoding_of(None).from_linear(linear, 255)
    return np.asarray(np.clip(np.rint(srgb), 0, 255), np.uint8)


def _looks_like_srgb(encoding: Encoding) -> bool:
    """Whether the same code values look nearly the same in sRGB, over skin-like colours."""
    levels = np.array([40, 110, 180, 240], np.uint8)
    probe = np.stack(np.meshgrid(levels, levels, levels), axis=-1).reshape(1, -1, 3)
    srgb = encoding_of(None).from_linear(encoding.to_linear(probe), 255)
    return float(np.abs(np.clip(srgb, 0, 255) - probe).max()) < SAME_LOOK


def box_around(chosen: npt.NDArray[np.bool_], to_photograph: Affine) -> Box:
    """Smallest box in the photograph around the chosen pixels of a view; empty where none is.

    Parameters
    ----------
    chosen : ndarray of bool, shape (height, width)
    to_photograph : ndarray of float64, shape (2, 3)
        Affine map from (column, row) of the view to the photograph, without a turn.

    Returns
    -------
    Box
    """
    if not chosen.any():
        return Box(0, 0, 0, 0)
    rows, columns = np.flatnonzero(chosen.any(axis=1)), np.flatnonzero(chosen.any(axis=0))
    ends = np.array([[columns[0], rows[0]], [columns[-1] + 1, rows[-1] + 1]], np.float64)
    (left, top), (right, bottom) = ends @ to_photograph[:, :2].T + to_photograph[:, 2]
    return Box(round(top), round(left), round(bottom), round(right))


def chained(outer: Affine, inner: npt.NDArray[Any]) -> Affine:
    """The affine map that applies `inner`, then `outer`.

    Parameters
    ----------
    outer, inner : ndarray of float64, shape (2, 3)
        From (column, row) to (column, row).

    Returns
    -------
    ndarray of float64, shape (2, 3)
    """
    matrix = outer[:, :2] @ inner[:, :2]
    shift = outer[:, :2] @ inner[:, 2] + outer[:, 2]
    return np.hstack([matrix, shift[:, None]]).astype(np.float64)


def inverse(affine: Affine) -> Affine:
    """The affine map that undoes `affine`.

    Parameters
    ----------
    affine : ndarray of float64, shape (2, 3)

    Returns
    -------
    ndarray of float64, shape (2, 3)

    Raises
    ------
    numpy.linalg.LinAlgError
        It maps everything onto a line.
    """
    matrix = np.linalg.inv(affine[:, :2])
    return np.hstack([matrix, -(matrix @ affine[:, 2])[:, None]])
