"""Skin without a face: a person whose skin was pointed at.

What belongs to the places is cut from the picture by its colours and edges [1]_, where the parser
does not say that it is something else.

References
----------
.. [1] C. Rother, V. Kolmogorov, A. Blake, "GrabCut", ACM TOG 23(3), 309-314, 2004; OpenCV's
   implementation.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.errors import WrongSettingError
from evenhand.people import edges, parser
from evenhand.people.burnt import belief_of
from evenhand.people.parser import SKIN_PARTS
from evenhand.people.person import Alpha, Mask, Person, Region, Scale, ScaleSource
from evenhand.people.views import View, reduced
from evenhand.photo.photograph import Photograph

SkinPlace = tuple[float, float] | Box

WORKING_SIZE = 768
"""Pixels along the longer side of the view on which skin is judged."""

FRAME_MM = 600.0
"""Assumed length of the photograph's longer side on the skin if no scale is given: an arm, with
hand and shoulder."""

ROUNDS = 4
"""Times that colours and cut are found in turn."""

LEAST_PIXELS = 9
"""Working pixels that must be pointed at for colours to be learnt from them."""

SEEN = 0.2
"""The parser's chance of skin from which a place is tried as skin to begin with."""

POINT_SHARE = 0.015
"""Radius around a point that is taken for skin, as a share of the longer side."""


def pointed_person(
    photograph: Photograph, places: Sequence[SkinPlace], mm_per_pixel: float | None
) -> Person:
    """One person without a face: all skin that looks like the places and hangs together with them.

    Parameters
    ----------
    photograph : Photograph
    places : sequence of (column, row) or Box
        On skin, in upright pixels.
    mm_per_pixel : float or None
        Given scale; None assumes that the longer side shows `FRAME_MM`.

    Returns
    -------
    Person
        Without a face.

    Raises
    ------
    WrongSettingError
        A place lies outside the photograph, or holds too few pixels.
    """
    view = reduced(photograph, photograph.frame, WORKING_SIZE)
    seeds = _seeds(photograph, places, view)
    if seeds.sum() < LEAST_PIXELS:
        raise WrongSettingError(
            "The place pointed at holds too few pixels to learn the skin from.",
            "Give a larger box, or a point farther from the photograph's edge.",
        )
    scale = Scale(mm_per_pixel or FRAME_MM / max(photograph.shape), ScaleSource.GIVEN)
    frame = parser.look(photograph, photograph.frame)
    height, width = view.pixels.shape[:2]
    chance = frame.chance(SKIN_PARTS, view.to_photograph, (height, width))
    skin = _cut(view, seeds, chance)
    skin = cv2.GaussianBlur(skin * _connected(skin > 0, seeds), (0, 0), 1.0)
    area = cv2.dilate((skin > 0).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    alpha = edges.refined(skin, area, view, photograph.frame, photograph)
    mask = _boxed(alpha, photograph.frame)
    none = np.zeros((height, width), np.float32)
    return Person(0, None, scale, {Region.ARM: mask}, belief_of(view, skin, none, none))


def _cut(view: View, seeds: npt.NDArray[np.bool_], chance: Alpha) -> Alpha:
    """1 where the picture's colours and edges put a place with the seeds, else 0."""
    model = np.full(seeds.shape, cv2.GC_PR_BGD, np.uint8)
    like = _like(view, seeds)
    model[like & (chance > SEEN)] = cv2.GC_PR_FGD
    if not (like & (chance > SEEN)).any():
        model[like] = cv2.GC_PR_FGD  # the parser sees no skin at all: the photographer knows better
    model[seeds] = cv2.GC_FGD
    if (model == cv2.GC_PR_BGD).sum() < LEAST_PIXELS:
        return np.ones(seeds.shape, np.float32)
    colours = np.zeros((1, 65)), np.zeros((1, 65))
    cv2.setRNGSeed(0)  # its clustering draws by chance; the same picture is cut the same way
    cv2.grabCut(view.pixels, model, None, *colours, ROUNDS, cv2.GC_INIT_WITH_MASK)
    return np.isin(model, (cv2.GC_FGD, cv2.GC_PR_FGD)).astype(np.float32)


def _like(view: View, seeds: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Where colour, lightness apart, is as near to the seeds' as theirs are to one another."""
    lab = cv2.cvtColor(view.pixels, cv2.COLOR_RGB2LAB).astype(np.float32)[..., 1:]
    middle = np.median(lab[seeds], axis=0)
    usual = np.percentile(np.linalg.norm(lab[seeds] - middle, axis=-1), 95)
    like: npt.NDArray[np.bool_] = np.linalg.norm(lab - middle, axis=-1) < 2 * usual + 4
    return like


def _seeds(
    photograph: Photograph, places: Sequence[SkinPlace], view: View
) -> npt.NDArray[np.bool_]:
    """Working pixels that were pointed at."""
    seeds = np.zeros(view.pixels.shape[:2], np.uint8)
    for place in places:
        box = place if isinstance(place, Box) else _around(place, photograph)
        inside = box.intersection(photograph.frame)
        if inside.area == 0:
            raise WrongSettingError(
                f"The place {place} lies outside the photograph of "
                f"{photograph.shape[1]} x {photograph.shape[0]} pixels.",
                "Give column and row of a pixel on bare skin, counted from the top left.",
            )
        corners = np.array([[inside.left, inside.top], [inside.right - 1, inside.bottom - 1]])
        first, last = np.rint(view.in_view(corners)).astype(int).tolist()
        cv2.rectangle(seeds, first, last, 1, -1)
    return seeds > 0


def _around(point: tuple[float, float], photograph: Photograph) -> Box:
    """A small square around a point, empty if the point is outside."""
    column, row = round(point[0]), round(point[1])
    if not (0 <= row < photograph.shape[0] and 0 <= column < photograph.shape[1]):
        return Box(0, 0, 0, 0)
    reach = max(2, round(POINT_SHARE * max(photograph.shape)))
    return Box(row - reach, column - reach, row + reach + 1, column + reach + 1)


def _connected(alike: npt.NDArray[np.bool_], seeds: npt.NDArray[np.bool_]) -> Alpha:
    """1 on and just around the patches that touch a seed, 0 elsewhere."""
    _, labels = cv2.connectedComponents(alike.astype(np.uint8))
    touched = np.unique(labels[seeds & alike])
    own = np.isin(labels, touched[touched > 0]).astype(np.uint8)
    connected: Alpha = cv2.dilate(own, np.ones((5, 5), np.uint8)).astype(np.float32)
    return connected


def _boxed(alpha: Alpha, frame: Box) -> Mask:
    """The mask cut down to where it is more than zero."""
    rows, columns = np.flatnonzero(alpha.any(axis=1)), np.flatnonzero(alpha.any(axis=0))
    if not len(rows):
        return Mask(Box(0, 0, 0, 0), np.zeros((0, 0), np.float32))
    box = Box(int(rows[0]), int(columns[0]), int(rows[-1]) + 1, int(columns[-1]) + 1)
    return Mask(box, np.ascontiguousarray(alpha[box.within(frame)]))
