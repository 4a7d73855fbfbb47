"""Figures of a mask against labels: counts, leakage, boundary, skin tone, faces."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from skimage.color import rgb2lab

from tests.evaluation.masks_sets import BoxCorners, Chosen, Sample

MASK_THRESHOLD = 0.5
# Membership from which a pixel counts as in the mask.

ITA_GROUPS = (
    (55.0, "very light"),
    (41.0, "light"),
    (28.0, "intermediate"),
    (10.0, "tan"),
    (-30.0, "brown"),
    (-math.inf, "dark"),
)
# Lower bounds of the individual typology angle in degrees, Del Bino and Bernerd 2013 (British
# Journal of Dermatology 169, supplement 3), from memory.

GROUP_NAMES = tuple(name for _, name in ITA_GROUPS)

LEAST_IN_GROUP = 3
# Pictures a skin-tone group needs to be compared.

EDGE_OF_LABELS = 3
# Pixels that hand-drawn label edges are good to; the second leakage figure leaves this border out.

LARGE_FACE = 100.0
# Pixels of face height from which a face counts as large; a face, brow to chin, is taken as 0.72 of
# the head's height with hair (common practice without a source).

FACE_SHARE_OF_HEAD = 0.72


@dataclass(frozen=True)
class Found:
    """What the masks say of one picture.

    Attributes
    ----------
    skin : ndarray of float32, shape (height, width)
        Membership in skin of anybody.
    faces : sequence of (left, top, right, bottom)
        Faces or heads that were found.
    mm_per_pixel : float or None
        Scale of the largest person.
    seconds : float
        Time it took.
    """

    skin: npt.NDArray[np.float32]
    faces: Sequence[BoxCorners]
    mm_per_pixel: float | None
    seconds: float


@dataclass
class Counts:
    """Pixels that are skin and called skin, called so wrongly, and missed."""

    hit: int = 0
    false: int = 0
    missed: int = 0

    def add(self, other: Counts) -> None:
        """Adds the pixels of another picture."""
        self.hit += other.hit
        self.false += other.false
        self.missed += other.missed

    @property
    def precision(self) -> float:
        """Share of the mask that is skin."""
        return self.hit / max(1, self.hit + self.false)

    @property
    def recall(self) -> float:
        """Share of the skin that is in the mask."""
        return self.hit / max(1, self.hit + self.missed)

    @property
    def f1(self) -> float:
        """Harmonic mean of precision and recall."""
        return 2 * self.hit / max(1, 2 * self.hit + self.false + self.missed)

    @property
    def iou(self) -> float:
        """Intersection over union."""
        return self.hit / max(1, self.hit + self.false + self.missed)


@dataclass
class Figures:
    """Figures of one picture.

    ``leakage`` maps a kept part to (pixels in the mask, pixels of the part), ``inner_leakage`` the
    same without the border that label edges cannot vouch for.
    """

    name: str
    counts: Counts
    leakage: dict[str, tuple[int, int]]
    inner_leakage: dict[str, tuple[int, int]]
    boundary_px: float
    boundary_mm: float
    tone_angle: float
    heads: int
    heads_found: int
    large_faces: int
    large_faces_found: int
    false_faces: int
    seconds: float
    known_tone: str | None = None


def figures_of(sample: Sample, found: Found) -> Figures:
    """All figures of one picture."""
    mask = found.skin >= MASK_THRESHOLD
    hit = int((mask & sample.skin & sample.judged).sum())
    false = int((mask & ~sample.skin & sample.judged).sum())
    missed = int((~mask & sample.skin & sample.judged).sum())
    pixels = boundary_error(mask & sample.judged, sample.skin & sample.judged)
    found_heads, large, found_large, spurious = faces_matched(sample.heads, found.faces)
    return Figures(
        sample.name,
        Counts(hit, false, missed),
        leakage(mask, sample, 0),
        leakage(mask, sample, EDGE_OF_LABELS),
        pixels,
        pixels * found.mm_per_pixel if found.mm_per_pixel else math.nan,
        typology_angle(sample),
        len(sample.heads),
        found_heads,
        large,
        found_large,
        spurious,
        found.seconds,
        sample.tone,
    )


def leakage(mask: Chosen, sample: Sample, border: int) -> dict[str, tuple[int, int]]:
    """Pixels of each kept part that are in the mask, and its pixels, away from skin by `border`."""
    judged = sample.judged
    if border:
        size = 2 * border + 1
        judged = judged & (cv2.dilate(sample.skin.astype(np.uint8), np.ones((size, size))) == 0)
    return {
        name: (int((mask & part & judged).sum()), int((part & judged).sum()))
        for name, part in sample.kept.items()
    }


def boundary_error(mask: Chosen, truth: Chosen) -> float:
    """Median distance between the outlines of mask and truth, both ways, pixels."""
    outlines = [outline(mask), outline(truth)]
    if not outlines[0].any() or not outlines[1].any():
        return math.nan
    distances = []
    for one, other in (outlines, outlines[::-1]):
        away = cv2.distanceTransform((~other).astype(np.uint8), cv2.DIST_L2, 5)
        distances.append(away[one])
    return float(np.median(np.concatenate(distances)))


def outline(chosen: Chosen) -> Chosen:
    """Pixels of the region that touch the outside, the picture's edge not counted."""
    inside = cv2.erode(chosen.astype(np.uint8), np.ones((3, 3)), borderType=cv2.BORDER_REPLICATE)
    edge: Chosen = chosen & (inside == 0)
    return edge


def typology_angle(sample: Sample) -> float:
    """Individual typology angle of the face, degrees: atan((L* - 50) / b*), median pixel, D65."""
    skin = sample.pixels[sample.face_skin]
    if len(skin) < 20:
        return math.nan
    lightness, _, blue_yellow = np.median(rgb2lab(skin[None]).reshape(-1, 3), axis=0)
    return math.degrees(math.atan2(lightness - 50, max(blue_yellow, 1e-6)))


def tone_group(angle: float) -> str:
    """Name of the skin-tone group of an angle."""
    if math.isnan(angle):
        return "unknown"
    return next(name for lowest, name in ITA_GROUPS if angle > lowest)


def faces_matched(
    heads: Iterable[BoxCorners], faces: Sequence[BoxCorners]
) -> tuple[int, int, int, int]:
    """Heads found, large faces, large faces found, faces that are no labelled head.

    A head is found if the centre of a face lies in its box and the face is between a quarter and
    one and a half times as wide.
    """
    used: set[int] = set()
    found = large = found_large = 0
    for left, top, right, bottom in heads:
        is_large = FACE_SHARE_OF_HEAD * (bottom - top) >= LARGE_FACE
        large += is_large
        for index, face in enumerate(faces):
            x, y = (face[0] + face[2]) / 2, (face[1] + face[3]) / 2
            inside = left <= x <= right and top <= y <= bottom
            fits = 0.25 <= (face[2] - face[0]) / max(1.0, right - left) <= 1.5
            if index not in used and inside and fits:
                used.add(index)
                found += 1
                found_large += is_large
                break
    return found, large, found_large, len(faces) - len(used)


def pooled(pictures: Iterable[Figures]) -> Counts:
    """Counts over all pixels of some pictures."""
    total = Counts()
    for picture in pictures:
        total.add(picture.counts)
    return total


def leaked_share(pictures: Sequence[Figures], part: str, inner: bool) -> float:
    """Share of a kept part's pixels, over all pictures, that are in the mask."""
    pairs = [(p.inner_leakage if inner else p.leakage).get(part, (0, 0)) for p in pictures]
    area = sum(pair[1] for pair in pairs)
    return sum(pair[0] for pair in pairs) / area if area else math.nan


def by_tone(pictures: Iterable[Figures]) -> dict[str, list[Figures]]:
    """Pictures by skin-tone group, lightest first."""
    groups: dict[str, list[Figures]] = {name: [] for name in (*GROUP_NAMES, "unknown")}
    for picture in pictures:
        groups[tone_group(picture.tone_angle)].append(picture)
    return {name: group for name, group in groups.items() if group}


def by_known_tone(pictures: Iterable[Figures]) -> dict[str, list[Figures]]:
    """Pictures by the tone their person was rendered with; empty for photographs."""
    groups: dict[str, list[Figures]] = {}
    for picture in pictures:
        if picture.known_tone is not None:
            groups.setdefault(picture.known_tone, []).append(picture)
    return dict(sorted(groups.items()))


def worst_to_best(groups: dict[str, list[Figures]]) -> float:
    """F1 of the worst skin-tone group over that of the best, groups of a few pictures left out."""
    scores = [
        pooled(group).f1
        for name, group in groups.items()
        if name != "unknown" and len(group) >= LEAST_IN_GROUP
    ]
    return min(scores) / max(scores) if len(scores) > 1 and max(scores) > 0 else math.nan
