"""Where on a body skin is redder, browner or shaded: one number for each vertex at rest."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np

from .assets import Assets, Floats
from .cloth import Cut, cut_field
from .figure import Figure
from .pose import BONE_NAMES
from .shape import Build


@dataclass(frozen=True)
class Redness:
    """Everyday redness, each about 1 where strong; all of it soft.

    `cold`: nose, cheeks, ears, fingertips; `effort`: whole face and upper chest; `cheeks`; `hands`;
    `feet`; `joints`: knees, elbows, knuckles; `neck`: a patch; `throat`: spots after shaving;
    `veins`: fine vessels on cheeks and nose; `marbling`: a livid net on shins, feet and arms.
    """

    cold: float = 0.0
    effort: float = 0.0
    cheeks: float = 0.0
    hands: float = 0.0
    feet: float = 0.0
    joints: float = 0.0
    neck: float = 0.0
    throat: float = 0.0
    veins: float = 0.0
    marbling: float = 0.0


NO_REDNESS = Redness()
"""Even skin."""


@dataclass(frozen=True)
class Worn:
    """A thing that kept the sun off: 'socks', 'watch', 'hat', 'glasses' or 'ring'.

    `reach`: metres: height of socks, half width of a band, height of a hat's line above the eyes,
    radius round an eye.
    """

    kind: str
    reach: float
    side: str = "l"


def _bones(figure: Figure, *starts: str) -> Floats:
    """Share of each vertex that follows bones whose names start so."""
    columns = [k for k, bone in enumerate(BONE_NAMES) if bone.startswith(starts)]
    return figure.weights[: figure.body_size][:, columns].sum(1)


def _smooth(value: Floats, start: float, end: float) -> Floats:
    share = np.clip((value - start) / (end - start), 0, 1)
    return share * share * (3 - 2 * share)


class _Body:
    """Vertices of a body and soft spots on it."""

    def __init__(self, figure: Figure):
        self.figure = figure
        self.points = figure.points[: figure.body_size]
        self.head = _bones(figure, "head")

    def near(self, centre: Floats, radius: float) -> Floats:
        """Gaussian of the distance from a centre."""
        apart = ((self.points - np.asarray(centre)) ** 2).sum(1)
        return np.exp(-apart / radius**2)

    def both(self, joint: str, radius: float) -> Floats:
        """Soft spots at a joint of both sides."""
        return self.near(self.figure.joint(f"l-{joint}"), radius) + self.near(
            self.figure.joint(f"r-{joint}"), radius
        )

    def cheeks(self, radius: float, out: float = 1.25, low: float = 0.040) -> Floats:
        """Soft spots on both cheeks."""
        eye = self.figure.eye_level
        x = abs(self.figure.eyes[0][0]) * out
        return sum(self.near(self.figure.surface(s * x, eye[2] - low), radius) for s in (1, -1))  # type: ignore[return-value]

    def front_of_face(self) -> Floats:
        """The face from hairline to jaw, softly."""
        eye = self.figure.eye_level
        front = _smooth(self.points[:, 1] - eye[1], 0.10, 0.04)
        return self.head * front * _smooth(self.points[:, 2] - eye[2], 0.10, 0.05)

    def fingers(self, ends: tuple[str, ...], radius: float) -> Floats:
        """Soft spots at joints of all fingers, like '1' (knuckles) or '4' (tips)."""
        return sum(self.both(f"finger-{k}-{end}", radius) for k in range(1, 6) for end in ends)  # type: ignore[return-value]

    def limb_spots(self) -> Floats:
        """Knees, elbows and knuckles."""
        knuckles = self.fingers(("1", "2", "3"), 0.011) * (
            _bones(self.figure, "finger", "hand") > 0
        )
        return np.clip(self.both("knee", 0.055) + self.both("elbow", 0.045) + knuckles, 0, 1.2)


def redness(figure: Figure, given: Redness) -> dict[str, Floats]:
    """Haemoglobin ('redness'), and where it breaks up into vessels, spots and nets."""
    body = _Body(figure)
    neck, nose, mouth = figure.joint("neck"), figure.nose_tip, figure.mouth
    throat = figure.surface(0.0, 0.6 * mouth[2] + 0.4 * neck[2])
    ears = body.head * _smooth(np.abs(body.points[:, 0]), 0.066, 0.074)
    ears *= np.abs(body.points[:, 2] - figure.eye_level[2] + 0.015) < 0.05
    chest = figure.surface(0.0, neck[2] - 0.09)
    face = body.front_of_face() * (1 - 0.6 * body.near(figure.surface(0, mouth[2]), 0.022))
    under = sum(body.near(eye - [0, 0.01, 0.012], 0.018) for eye in figure.eyes)
    knuckles = body.fingers(("1",), 0.014)
    red = given.cold * (
        1.3 * body.near(nose, 0.020)
        + 0.9 * body.cheeks(0.032)
        + 0.9 * ears
        + 0.25 * body.near(figure.surface(0, mouth[2] - 0.035), 0.018)
        + np.clip(0.8 * body.fingers(("4",), 0.016) + 0.5 * knuckles, 0, 1)
    )
    red = red + given.effort * (
        0.75 * face * (1 - 0.5 * np.clip(under, 0, 1))
        + 0.35 * body.cheeks(0.036)
        + 0.3 * ears
        + 0.5 * body.near(chest, 0.085)
        + 0.4 * _bones(figure, "neck")
    )
    red = red + given.cheeks * 0.9 * body.cheeks(0.028)
    red = red + given.hands * 0.7 * _smooth(_bones(figure, "hand", "finger"), 0.1, 1.0)
    red = red + given.feet * 0.7 * _smooth(_bones(figure, "foot"), 0.1, 1.0)
    red = red + given.joints * 0.6 * body.limb_spots()
    side = throat + np.array([0.04, 0.03, -0.02])
    red = red + given.neck * 0.8 * (body.near(side, 0.045) + body.near(chest, 0.05))
    red = red + given.throat * 0.35 * body.near(throat, 0.055)
    veined = given.veins * (body.cheeks(0.026, 1.2) + 0.9 * body.near(nose, 0.018))
    speckled = given.throat * (
        body.near(throat, 0.055) + 0.5 * body.near(figure.surface(0, mouth[2] - 0.05), 0.04)
    )
    cool = _bones(figure, "shin", "foot") + 0.7 * _bones(figure, "thigh", "hand", "lowerarm")
    return {
        "redness": red,
        "veined": veined,
        "speckled": speckled,
        "marbled": given.marbling * np.clip(cool, 0, 1),
    }


def shade(figure: Figure, covers: tuple[Cut | Worn, ...]) -> Floats:
    """Metres inside the edge of what once covered each vertex; negative where the sun came."""
    size = figure.body_size
    points, weights = figure.points[:size], figure.weights[:size]
    inside = np.full(size, -1.0)
    for cover in covers:
        if isinstance(cover, Cut):
            field = cut_field(figure, cover, points, weights)
        else:
            field = _worn_field(figure, cover, points)
        inside = np.maximum(inside, field)
    return inside


def _worn_field(figure: Figure, cover: Worn, points: Floats) -> Floats:
    if cover.kind == "socks":
        foot = _bones(figure, "shin", "foot")
        return np.where(foot > 0.3, cover.reach - (points[:, 2] - figure.ground), -1.0)
    if cover.kind in ("watch", "ring"):
        first, last = ("elbow", "hand") if cover.kind == "watch" else ("finger-4-1", "finger-4-2")
        start, end = (figure.joint(f"{cover.side}-{j}") for j in (first, last))
        way = (end - start) / np.linalg.norm(end - start)
        middle = end - 0.035 * way if cover.kind == "watch" else (start + end) / 2
        along = (points - middle) @ way
        off = np.linalg.norm(points - middle - along[:, None] * way, axis=1)
        return np.where(off < (0.06 if cover.kind == "watch" else 0.012),
                        cover.reach - np.abs(along), -1.0)  # fmt: skip
    eye = figure.eye_level
    if cover.kind == "hat":
        line = points[:, 2] - eye[2] - cover.reach + 0.25 * (points[:, 1] - eye[1])
        return np.where(_bones(figure, "head") > 0.5, line, -1.0)
    reach = [
        cover.reach - np.linalg.norm((points - e - [0, -0.02, 0.0]) * [0.8, 0.6, 1.0], axis=1)
        for e in figure.eyes
    ]
    return np.maximum(*reach)


def body_hair(figure: Figure) -> Floats:
    """How hairy a man's arms, legs, chest and belly are, 0 to 1."""
    body = _Body(figure)
    size = figure.body_size
    arms = _bones(figure, "lowerarm", "forearm") + 0.25 * _bones(figure, "upperarm")
    legs = _bones(figure, "shin") + 0.7 * _bones(figure, "thigh")
    neck, pelvis = figure.joint("neck"), figure.joint("pelvis")
    front = figure.normals[:size, 1] < -0.2
    chest = front * sum(
        body.near(figure.surface(x, neck[2] - 0.20), 0.09) for x in (-0.06, 0.0, 0.06)
    )
    belly = front * body.near(figure.surface(0.0, 0.4 * neck[2] + 0.6 * pelvis[2]), 0.07)
    return np.clip(arms + legs + np.clip(chest, 0, 1) + 0.7 * belly, 0, 1)


def dark_joints(figure: Figure) -> Floats:
    """Knees, elbows and knuckles, softly."""
    return _Body(figure).limb_spots()


def palms(figure: Figure) -> Floats:
    """Palms and soles, 0 to 1."""
    normals = figure.normals
    soles = _bones(figure, "foot") * _smooth(-normals[:, 2], 0.3, 0.7)
    found = soles
    for letter, side in (("l", 1), ("r", -1)):
        back = hand_axes(figure, letter, side)[1]
        mine = (figure.points[: figure.body_size, 0] * side > 0) * _bones(figure, "hand", "finger")
        found = found + mine * _smooth(-normals @ back, 0.0, 0.5)
    return found


def hand_axes(figure: Figure, letter: str, side: int) -> tuple[Floats, Floats]:
    """Unit vectors of a hand at rest: towards the fingers, and out of its back."""
    root, tip = figure.joint(f"{letter}-hand"), figure.joint(f"{letter}-finger-3-1")
    across = figure.joint(f"{letter}-finger-5-1") - figure.joint(f"{letter}-finger-2-1")
    ahead = (tip - root) / np.linalg.norm(tip - root)
    back = np.cross(ahead, across)
    back *= np.sign(back @ np.array([side, 0.0, 0.3]))
    back -= ahead * (ahead @ back)
    return ahead, back / np.linalg.norm(back)


def nipples(figure: Figure) -> tuple[Floats, Floats]:
    """Middles of both areolas at rest."""
    left, right = _nipple_vertices(figure.assets)
    return figure.points[left], figure.points[right]


@lru_cache(maxsize=1)
def _nipple_vertices(assets: Assets) -> tuple[int, int]:
    """Front-most vertices of a plain woman's breasts, the same vertices for everybody."""
    plain = Figure(assets, Build(0.0, 0.2, 0.0, (0.4, 0.3, 0.3)))
    points, neck = plain.points[: plain.body_size], plain.joint("neck")
    found = []
    for side in (1, -1):
        x, low = points[:, 0] * side, neck[2] - points[:, 2]
        breast = np.nonzero((x > 0.04) & (x < 0.16) & (low > 0.10) & (low < 0.32))[0]
        found.append(int(breast[points[breast, 1].argmin()]))
    return found[0], found[1]


def any_of(given: Redness) -> bool:
    """Whether there is any redness at all."""
    return any(getattr(given, f.name) for f in fields(given))
