"""A procedural patch of skin with its masks, clean and with simulated changes."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.people.person import Belief, Face, Region
from evenhand.steps.patch import SkinPatch
from tests.optics.changes import (
    Dose,
    Map,
    MarkKind,
    TrueMark,
    mark_dose,
    scatter_marks,
    smooth_noise,
)
from tests.optics.skin import Skin


@dataclass(frozen=True)
class Scene:
    """Skin whose clean state is known.

    Attributes
    ----------
    skin : Skin
        The person's unburnt skin.
    clean : ndarray of float32, shape (height, width, 3)
        Linear Rec. 2020 of the clean skin.
    changed : ndarray of float32, shape (height, width, 3)
        The same with the changes.
    masks : dict of Region to ndarray of float32
        As a step is given them.
    mm_per_pixel : float
        Size of a pixel.
    dose : Dose
        What was added.
    marks : tuple of TrueMark
        Marks that were drawn.
    box, face : Box and Face or None
        Where the scene lies in a photograph and the face in it; None for a drawn scene.
    belief : Belief or None
        Where skin is believed to be burnt; None for what a parser that sees the burn would say.
    """

    skin: Skin
    clean: npt.NDArray[np.float32]
    changed: npt.NDArray[np.float32]
    masks: dict[Region, npt.NDArray[np.float32]]
    mm_per_pixel: float
    dose: Dose
    marks: tuple[TrueMark, ...] = field(default=())
    box: Box | None = None
    face: Face | None = None
    belief: Belief | None = None

    @property
    def patch(self) -> SkinPatch:
        """What a step sees."""
        height, width = self.changed.shape[:2]
        box = self.box or Box(0, 0, height, width)
        belief = self.belief or seen_burn(self.dose, self.mm_per_pixel, box)
        return SkinPatch(box, self.changed, self.masks, self.mm_per_pixel, self.face, belief)

    @property
    def alpha(self) -> npt.NDArray[np.float32]:
        """Union of the skin masks."""
        return self.patch.skin

    def with_dose(self, dose: Dose) -> Scene:
        """The scene with pigment added."""
        changed = (self.dose + dose).apply(self.clean, self.skin, self.alpha.astype(np.float64))
        return replace(self, changed=changed.astype(np.float32), dose=self.dose + dose)

    def with_marks(self, kinds: list[MarkKind], rng: np.random.Generator) -> Scene:
        """The scene with marks scattered over the skin."""
        marks = scatter_marks(self.alpha > 0.99, kinds, self.mm_per_pixel, rng)
        scene = self
        for mark in marks:
            reach = int(np.ceil(mark.diameter_mm / self.mm_per_pixel)) + 2
            row, column = int(mark.row), int(mark.column)
            rows = slice(max(0, row - reach), row + reach + 1)
            columns = slice(max(0, column - reach), column + reach + 1)
            shape = scene.dose.blood[rows, columns].shape
            near = replace(mark, row=mark.row - rows.start, column=mark.column - columns.start)
            dose = mark_dose(shape, near, self.skin, self.mm_per_pixel)
            scene.dose.blood[rows, columns] += dose.blood
            scene.dose.melanin[rows, columns] += dose.melanin
        return replace(
            scene.with_dose(Dose(0 * self.dose.blood, 0 * self.dose.blood)),
            marks=(*self.marks, *marks),
        )


BLURRED_MM = 3.0
"""A network that sees the whole person knows a burn's edge about so well, millimetres."""

SEEN_BLOOD = 0.005
"""Blood from which a burn is wholly seen: about half of a slight one."""


def seen_burn(dose: Dose, mm_per_pixel: float, box: Box) -> Belief:
    """What a parser would believe that sees where the dose is, but not how much, nor its edge."""
    seen = np.clip(dose.blood / SEEN_BLOOD, 0, 1).astype(np.float32)
    blurred = cv2.GaussianBlur(seen, (0, 0), BLURRED_MM / mm_per_pixel)
    return Belief(blurred, np.array([[1.0, 0, box.left], [0, 1.0, box.top]]))


def skin_scene(
    skin: Skin,
    seed: int,
    shape: tuple[int, int] = (360, 480),
    mm_per_pixel: float = 0.3,
    grain: float = 0.004,
) -> Scene:
    """Clean skin on a gently lit relief with a nose-like ridge, a jaw, and cloth below.

    The masks are face skin above the jaw line, neck below it; cloth along the lower rim and
    background along the left one, both far from skin in colour.

    Parameters
    ----------
    skin : Skin
        Pigments and light.
    seed : int
        Of everything random.
    shape : tuple
        Height and width in pixels.
    mm_per_pixel : float
        Size of a pixel.
    grain : float
        Deviation of the camera's noise in linear light at mid grey.
    """
    rng = np.random.default_rng(seed)
    rows, columns = np.mgrid[: shape[0], : shape[1]] * mm_per_pixel
    height, width = shape[0] * mm_per_pixel, shape[1] * mm_per_pixel
    jaw = 0.72 * height + 5 * np.sin(columns / width * 3)
    light = _relief(rows, columns, jaw, rng)
    pores = sum(
        weight * smooth_noise(shape, max(0.45, size / mm_per_pixel), rng)
        for size, weight in ((0.15, 0.018), (0.3, 0.014))
    )
    mottle = Dose(
        0.0006 * smooth_noise(shape, 2.5 / mm_per_pixel, rng)
        + 0.0006 * smooth_noise(shape, 12 / mm_per_pixel, rng),
        skin.melanin
        * (
            0.02 * smooth_noise(shape, 4 / mm_per_pixel, rng)
            + 0.03 * smooth_noise(shape, 15 / mm_per_pixel, rng)
        ),
    )
    cheek = 0.0015 * np.exp(-(((rows - 0.4 * height) ** 2 + (columns - 0.3 * width) ** 2) / 18**2))
    mottle = mottle + Dose(cheek, 0 * cheek)
    clean = mottle.apply(skin.linear * (light * np.exp(pores))[..., None], skin, np.ones(shape))
    cloth = np.clip((rows - 0.92 * height) / mm_per_pixel, 0, 1)
    outside = np.clip((0.06 * width - columns) / mm_per_pixel, 0, 1)
    clean = clean * (1 - cloth[..., None]) + cloth[..., None] * np.array([0.03, 0.05, 0.14])
    clean = clean * (1 - outside[..., None]) + outside[..., None] * np.array([0.35, 0.45, 0.5])
    noise = grain * rng.standard_normal((*shape, 3)) * np.sqrt(np.maximum(clean, 0.003) / 0.18)
    clean = np.maximum(clean + cv2.GaussianBlur(noise, (0, 0), 0.6), 1e-4)
    skin_alpha = cv2.GaussianBlur((1 - cloth) * (1 - outside), (0, 0), 0.7)
    face = np.clip((jaw - rows) / mm_per_pixel + 0.5, 0, 1)
    masks = {
        Region.FACE: (skin_alpha * face).astype(np.float32),
        Region.NECK: (skin_alpha * (1 - face)).astype(np.float32),
        Region.CLOTH: cloth.astype(np.float32),
    }
    empty = Dose(np.zeros(shape), np.zeros(shape))
    clean32 = clean.astype(np.float32)
    return Scene(skin, clean32, clean32, masks, mm_per_pixel, empty)


def _relief(rows: Map, columns: Map, jaw: Map, rng: np.random.Generator) -> Map:
    """Light on the relief: a broad falloff, a ridge's shadow with one sharp side, a dark neck."""
    height, width = rows.max(), columns.max()
    falloff = 0.75 + 0.35 * np.cos((columns - 0.4 * width) / width * 2.2)
    ridge = 0.8 * width + 3 * np.sin(rows / 30)
    side = columns - ridge
    shadow = 1 - 0.35 * np.exp(-np.maximum(side, 0) / 9) * (side > 0)
    neck = 1 - 0.4 * np.clip((rows - jaw) / 1.2 + 0.5, 0, 1)
    fold = 1 - 0.12 * np.exp(-(((columns - 0.55 * width - 0.2 * (rows - height / 3)) / 0.8) ** 2))
    shaded = falloff * cv2.GaussianBlur(shadow, (0, 0), 1.5) * neck * fold
    return np.asarray(0.9 * shaded / shaded.max(), np.float64)
