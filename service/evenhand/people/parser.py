"""Parts of people and their heads, named by a small network of our own that needs no frontal face.

The network looks at a whole picture or at a crop of it and answers with the chance of each part at
half of its resolution, and with a box and a turn for every head, from the front, in profile or from
behind. How it was trained and where it fails: ``models/parser/README.md``.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.people.views import Affine, View, chained, inverse, reduced
from evenhand.people.weights import network_of
from evenhand.photo.photograph import Photograph

Chance = npt.NDArray[np.float32]

HAIR_ODDS = 8.0
"""How much likelier hair is in a photograph than the network says: between rendered strands skin
shows and counts as skin, while whoever looks at a photograph takes a fringe for hair. Chosen on the
odd photographs among 1, 3, 6, 8, 10: hair taken for skin on heads falls from 5.3 to 2.9 %."""

STEP = 32
"""Sides of the network's input are multiples of this many pixels."""

LOOK_SIDE = 640
"""Longer side, in pixels, of a photograph or a body as the network sees it."""

CROP_SIDE = 320
"""Longer side, in pixels, of the surroundings of one head as the network sees them."""

CROP_HEADS = 2.2
"""Side of the square around a head in sizes of the head: room for hair, neck and shoulders."""

ANSWER_STEP = 2
"""Input pixels for one cell of the answer."""

HEAD_STEP = 8
"""Input pixels for one cell of the head maps."""

USUAL_HEAD = 96.0
"""Input pixels; the network gives the logarithm of a head's size relative to it."""

HEAD_CONFIDENCE = 0.5
"""Chance from which a peak of the head map is a head; lower ones were mostly none."""

SAME_HEAD = 0.4
"""Overlap (intersection over union) from which two boxes are the same head."""

FEATHER = 0.12
"""Share of a crop's side over which its answer fades into the coarser one."""


class Part(IntEnum):
    """What a pixel can be; the order is the network's."""

    BACKGROUND = 0
    FACE = 1
    NECK = 2
    EAR = 3
    TORSO = 4
    ARM = 5
    HAND = 6
    LEG = 7
    EYE = 8
    BROW = 9
    LIP = 10
    MOUTH = 11
    NOSTRIL = 12
    HAIR = 13
    BEARD = 14
    GLASSES = 15
    JEWELLERY = 16
    CLOTH = 17
    INK = 18


_ODDS = np.where(np.arange(len(Part)) == Part.HAIR, HAIR_ODDS, 1)[:, None, None].astype(np.float32)

SKIN_PARTS = (Part.FACE, Part.NECK, Part.EAR, Part.TORSO, Part.ARM, Part.HAND, Part.LEG)
"""Parts that are skin; nails count as hand, feet as leg, lashes as eye, hats as cloth."""


@dataclass(frozen=True)
class Head:
    """A head that the network found.

    Attributes
    ----------
    box : Box
        Around the head with its hair, in the photograph; may reach beyond it.
    roll : float
        Turn in the picture, degrees clockwise, 0 is upright.
    yaw : float
        Turn sideways, degrees in (-180, 180]; 0 looks at the camera, positive is turned to the
        person's own left, beyond about 110 is the back of the head.
    confidence : float
        In [0, 1].
    """

    box: Box
    roll: float
    yaw: float
    confidence: float


@dataclass(frozen=True)
class Parse:
    """The network's answer for one view.

    Attributes
    ----------
    probability : ndarray of float32, shape (len(Part), height, width)
        Chance of each part in each cell; sums to 1 over the first axis.
    to_photograph : ndarray of float64, shape (2, 3)
        Affine map from (column, row) of a cell to (column, row) in the photograph.
    heads : tuple of Head
        Heads, surest first.
    """

    probability: Chance
    to_photograph: Affine
    heads: tuple[Head, ...]

    def of(self, parts: Iterable[Part]) -> Chance:
        """Chance of any of the parts in each cell, shape (height, width).

        Parameters
        ----------
        parts : iterable of Part

        Returns
        -------
        ndarray of float32, shape (height, width)
            In [0, 1].
        """
        chosen: Chance = self.probability[[int(part) for part in parts]].sum(0)
        return chosen

    def reach(self, to_photograph: Affine, shape: tuple[int, int]) -> tuple[slice, slice]:
        """Rows and columns of another grid that this answer covers; see `drawn`.

        Parameters
        ----------
        to_photograph : ndarray of float64, shape (2, 3)
            Affine map from (column, row) of the grid to the photograph.
        shape : tuple of int
            Height and width of the grid.

        Returns
        -------
        rows, columns : slice
            Empty where the two do not meet.
        """
        height, width = self.probability.shape[1:]
        corners = np.array([[0, width, 0, width], [0, 0, height, height], [1, 1, 1, 1.0]])
        to_grid = chained(inverse(to_photograph), self.to_photograph)
        columns, rows = to_grid @ corners
        top, bottom = np.clip([np.floor(rows.min()), np.ceil(rows.max())], 0, shape[0])
        left, right = np.clip([np.floor(columns.min()), np.ceil(columns.max())], 0, shape[1])
        return slice(int(top), int(bottom)), slice(int(left), int(right))

    def chance(
        self, parts: Iterable[Part], to_photograph: Affine, shape: tuple[int, int]
    ) -> Chance:
        """Chance of any of the parts on another grid; see `drawn`.

        Parameters
        ----------
        parts : iterable of Part
        to_photograph : ndarray of float64, shape (2, 3)
            Affine map from (column, row) of the grid to the photograph.
        shape : tuple of int
            Height and width of the grid.

        Returns
        -------
        ndarray of float32, shape (height, width)
            In [0, 1].
        """
        to_cells = chained(inverse(self.to_photograph), to_photograph)
        return _warped(self.of(parts), to_cells, shape)

    def drawn(
        self, parts: Iterable[Part], to_photograph: Affine, shape: tuple[int, int]
    ) -> tuple[Chance, Chance]:
        """Chance of any of the parts on another grid, and how far this answer is to be trusted.

        Parameters
        ----------
        parts : iterable of Part
        to_photograph : ndarray of float64, shape (2, 3)
            Affine map from (column, row) of the grid to (column, row) in the photograph.
        shape : (int, int)
            Height and width of the grid.

        Returns
        -------
        chance, trust : ndarray of float32, shape `shape`
            Both in [0, 1]; trust is 0 outside of the view, fades in from its border, and is 1
            inside.
        """
        to_cells = chained(inverse(self.to_photograph), to_photograph)
        trust = _warped(_trust(self.probability.shape[1:]), to_cells, shape)
        return self.chance(parts, to_photograph, shape), trust


@dataclass(frozen=True)
class Parsing:
    """All answers for a photograph: the whole of it, then closer looks at small heads.

    Attributes
    ----------
    frame : Parse
        The whole photograph.
    closer : tuple of Parse
        One for each head looked at again, the largest first.
    heads : tuple of Head
        Every head once, surest first, from the closest look at it.
    """

    frame: Parse
    closer: tuple[Parse, ...]
    heads: tuple[Head, ...]

    def on(self, parts: Iterable[Part], to_photograph: Affine, shape: tuple[int, int]) -> Chance:
        """Chance of any of the parts on a grid. Closer looks replace coarser.

        Parameters
        ----------
        parts : iterable of Part
        to_photograph : ndarray of float64, shape (2, 3)
            Affine map from (column, row) of the grid to the photograph.
        shape : tuple of int
            Height and width of the grid.

        Returns
        -------
        ndarray of float32, shape (height, width)
            In [0, 1].
        """
        parts = tuple(parts)
        total = self.frame.chance(parts, to_photograph, shape)
        for look in self.closer:
            rows, columns = look.reach(to_photograph, shape)
            corner = np.array([[1.0, 0.0, columns.start], [0.0, 1.0, rows.start]])
            window = total[rows, columns]
            size = window.shape[0], window.shape[1]
            chance, trust = look.drawn(parts, chained(to_photograph, corner), size)
            window += trust * (chance - window)
        return total

    def inside(self, parts: Iterable[Part], box: Box) -> Chance:
        """Chance of any of the parts at the photograph's own resolution inside a box of it.

        Parameters
        ----------
        parts : iterable of Part
        box : Box

        Returns
        -------
        ndarray of float32, shape (box.height, box.width)
            In [0, 1].
        """
        to_photograph = np.array([[1.0, 0.0, box.left], [0.0, 1.0, box.top]])
        return self.on(parts, to_photograph, (box.height, box.width))


def look(photograph: Photograph, box: Box, side: int = LOOK_SIDE) -> Parse:
    """Parts and heads in a box of the photograph, reduced to `side` pixels along its longer side.

    The box should lie inside the photograph: the network was never shown a margin without picture.

    Parameters
    ----------
    photograph : Photograph
    box : Box
        In the photograph.
    side : int
        Pixels.

    Returns
    -------
    Parse

    Raises
    ------
    MissingNetworkError
        If the weights are absent or damaged.
    """
    return parse(reduced(photograph, box, side))


def parse(view: View) -> Parse:
    """Parts and heads in one view.

    Parameters
    ----------
    view : View
        sRGB code values; best with its longer side at 256 to 640 pixels.

    Returns
    -------
    Parse

    Raises
    ------
    MissingNetworkError
        If the weights are absent or damaged.
    """
    height, width = view.pixels.shape[:2]
    padded = cv2.copyMakeBorder(
        view.pixels, 0, -height % STEP, 0, -width % STEP, cv2.BORDER_REPLICATE
    )
    parts, maps = _answer(padded)
    parts = parts * _ODDS
    parts /= parts.sum(axis=0)
    cells = np.array([[ANSWER_STEP, 0, 0.5], [0, ANSWER_STEP, 0.5]])
    rows, columns = -(-height // ANSWER_STEP), -(-width // ANSWER_STEP)
    return Parse(
        np.ascontiguousarray(parts[:, :rows, :columns]),
        chained(view.to_photograph, cells),
        tuple(distinct(_heads_in(maps, view))),
    )


def distinct(heads: Sequence[Head]) -> list[Head]:
    """The heads, surest first, each one once.

    Parameters
    ----------
    heads : sequence of Head
        As the network saw them, some twice.

    Returns
    -------
    list of Head
    """
    kept: list[Head] = []
    for head in sorted(heads, key=lambda h: -h.confidence):
        if all(_overlap(head.box, other.box) <= SAME_HEAD for other in kept):
            kept.append(head)
    return kept


def _heads_in(maps: Chance, view: View) -> list[Head]:
    """Heads at the peaks of the head maps, in the photograph."""
    confidence = 1 / (1 + np.exp(-maps[0]))
    highest = cv2.dilate(confidence, np.ones((3, 3), np.uint8))
    inside_rows = -(-view.pixels.shape[0] // HEAD_STEP)
    inside_columns = -(-view.pixels.shape[1] // HEAD_STEP)
    peak = (confidence >= HEAD_CONFIDENCE) & (confidence >= highest)
    heads = []
    for row, column in np.argwhere(peak[:inside_rows, :inside_columns]):
        value = maps[1:, row, column]
        x, y = (column + 0.5 + value[0]) * HEAD_STEP, (row + 0.5 + value[1]) * HEAD_STEP
        width, height = np.exp(np.clip(value[2:4], -4, 3)) * USUAL_HEAD
        roll = float(np.degrees(np.arctan2(value[4], value[5])))
        yaw = float(np.degrees(np.arctan2(value[6], value[7])))
        head = Head(Box(0, 0, 0, 0), roll, yaw, float(confidence[row, column]))
        heads.append(_placed(head, (x - 0.5, y - 0.5), (width, height), view))
    return heads


def _placed(head: Head, centre: tuple[float, float], size: tuple[float, float], view: View) -> Head:
    """The head with its box and roll in the photograph instead of the view."""
    turn = view.to_photograph[:, :2]
    x, y = turn @ np.array(centre) + view.to_photograph[:, 2]
    # the box around the ellipse that fills the head's box in the view
    half = np.sqrt(turn**2 @ (np.array(size) / 2) ** 2)
    top = turn @ np.array([np.sin(np.radians(head.roll)), -np.cos(np.radians(head.roll))])
    box = Box(round(y - half[1]), round(x - half[0]), round(y + half[1]), round(x + half[0]))
    return replace(head, box=box, roll=float(np.degrees(np.arctan2(top[0], -top[1]))))


_lock = threading.Lock()


def _answer(pixels: npt.NDArray[np.uint8]) -> tuple[Chance, Chance]:
    """Part chances and head maps of a picture whose sides are multiples of `STEP`."""
    picture = cv2.dnn.blobFromImage(pixels, 1 / 255.0)
    with _lock:  # the network holds its activations: one picture at a time
        network = network_of("parser", "parser.onnx")
        network.setInput(picture)
        parts, heads = network.forward(["parts", "heads"])
        return parts[0], heads[0].copy()


def _trust(shape: tuple[int, ...]) -> Chance:
    """One inside, fading to zero towards the border."""
    height, width = shape
    fade = max(1.0, FEATHER * min(height, width))
    down = np.minimum(np.arange(height), np.arange(height)[::-1])[:, None]
    across = np.minimum(np.arange(width), np.arange(width)[::-1])[None, :]
    return np.clip(np.minimum(down, across) / fade, 0, 1).astype(np.float32)


def _warped(cells: Chance, to_cells: Affine, shape: tuple[int, int]) -> Chance:
    """Cells drawn on a grid, bilinear, zero outside; `to_cells` maps the grid to cells."""
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    height, width = shape
    if not height or not width:
        return np.zeros(shape, np.float32)
    # a border of repeated cells, so that the picture's own border does not fade
    wide = cv2.copyMakeBorder(cells, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
    shifted = to_cells + np.array([[0, 0, 1.0], [0, 0, 1.0]])
    warped: Chance = cv2.warpAffine(wide, shifted, (width, height), flags=flags)
    return warped


def _overlap(first: Box, second: Box) -> float:
    """Intersection over union."""
    shared = first.intersection(second).area
    return shared / max(1, first.area + second.area - shared)
