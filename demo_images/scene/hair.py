"""Hair of the head: guide strands grown over the scalp in many styles, and strands between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from mathutils import Vector
from mathutils.kdtree import KDTree
from numpy.typing import NDArray

from .assets import Floats
from .figure import Figure

HAIR_RADIUS = 0.00006
"""Metres; half a strand's thickness (handbooks: hair is 0.05 to 0.12 mm thick), at the root."""


@dataclass(frozen=True)
class Style:
    """How hair is worn. Lengths in metres.

    `fall`: 'down', 'back', 'forward', 'out' or 'gather'; `parting`: x of the parting or None;
    `curl`: helix radius; `turns`: helix turns per metre; `gather`: height of a tail or bun
    against eye level; `bun`: roll the gathered hair up; `recede`: 0 none to 1 bald top;
    `fringe`: share of strands that fall over the forehead; `loose`: of those that would hang
    over the face, the share that may; `aside`: metres from the middle to a tail that falls forward
    over the left shoulder; `paired`: two tails; `shaved`: sides with a shadow only;
    `before`: how much hair falls before the shoulders, 0 to 1; `over`: metres that it lies off the
    skin below the neck, over clothes.
    """

    name: str
    length: tuple[float, float]
    fall: str = "down"
    parting: float | None = 0.018
    curl: float = 0.0
    turns: float = 30.0
    lift: float = 0.004
    gather: float = 0.03
    bun: bool = False
    recede: float = 0.0
    fringe: float = 0.0
    loose: float = 0.01
    aside: float = 0.0
    paired: bool = False
    shaved: bool = False
    before: float = 0.0
    over: float = 0.0
    guides: int = 1400
    children: int = 14
    spread: float = 0.0022


STYLES = {
    "buzz": Style("buzz", (0.004, 0.010), "out", None, guides=3500, children=9, spread=0.004),
    "crop": Style("crop", (0.02, 0.045), "forward", None, lift=0.006, guides=2600, children=10),
    "side": Style("side", (0.03, 0.085), "down", 0.03, lift=0.009, guides=2400, children=11),
    "swept": Style("swept", (0.05, 0.10), "back", None, lift=0.010, guides=2200, children=12),
    "bob": Style("bob", (0.16, 0.20), "down", 0.02, lift=0.007, guides=1700, children=16),
    "fringe": Style("fringe", (0.15, 0.22), "down", 0.0, fringe=0.9, guides=1700, children=16),
    "long": Style("long", (0.30, 0.42), "down", 0.018, guides=1700, children=18),
    "long_back": Style("long_back", (0.28, 0.40), "back", None, lift=0.006, children=20),
    "wavy": Style("wavy", (0.26, 0.36), "down", -0.02, 0.006, 22, lift=0.008, children=18),
    "curly": Style("curly", (0.12, 0.24), "down", None, 0.009, 55, lift=0.016, children=18),
    "coily": Style("coily", (0.05, 0.09), "out", None, 0.006, 160, guides=2600, children=14),
    "afro": Style("afro", (0.09, 0.14), "out", None, 0.007, 150, guides=3000, children=16),
    "short_coily": Style("short_coily", (0.01, 0.02), "out", None, 0.003, 220, guides=3600),
    "tail": Style("tail", (0.34, 0.44), "gather", None, gather=0.04, children=20, lift=0.003),
    "bun": Style("bun", (0.30, 0.36), "gather", None, gather=0.05, bun=True, children=20),
    "low_bun": Style("low_bun", (0.30, 0.36), "gather", 0.0, gather=-0.05, bun=True, children=20),
    "thin": Style("thin", (0.02, 0.05), "back", None, recede=0.75, guides=1500, children=8),
    "receding": Style("receding", (0.02, 0.05), "forward", None, recede=0.35, guides=2000),
}
"""Styles by name; 'bald' is no hair."""


TAPERED = ("side", "swept", "receding", "crop")
"""Styles cut short at the sides and the nape."""


@dataclass(frozen=True)
class Strands:
    """Hair in rest metres: points (n, 3), points per strand, radius per point."""

    points: Floats
    counts: NDArray[np.int64]
    radii: Floats


def scalp_cover(figure: Figure, points: Floats, recede: float) -> Floats:
    """How much of the scalp at `points` grows hair, 0 to 1, with a hairline 8 mm soft."""
    eye = figure.eye_level
    back = np.clip((points[:, 1] - (eye[1] - 0.02)) / 0.15, 0, 1)
    line = 0.066 * (1 - back) ** 1.3 - 0.055 * back
    side = np.clip((np.abs(points[:, 0]) - 0.045) / 0.02, 0, 1)
    line = line - 0.022 * side * (back < 0.5)
    temples = np.exp(-(((np.abs(points[:, 0]) - 0.035) / 0.02) ** 2)) * (back < 0.5)
    line = line + recede * 0.05 * temples + recede * 0.03 * (back < 0.4)
    above = (points[:, 2] - eye[2] - line) / 0.008
    crown = eye + np.array([0, 0.07, 0.115])
    bald = recede * 1.7 * np.exp(-((np.linalg.norm(points - crown, axis=1) / 0.075) ** 2))
    inside = points[:, 2] > eye[2] - 0.09
    inside &= np.abs(points[:, 0]) < 0.0785
    return np.clip(above, 0, 1) * inside * np.clip(1.35 - bald, 0, 1)


def grow(figure: Figure, style: Style, rng: np.random.Generator, density: float) -> Strands:
    """Grow the hair of a style; `density` scales how many strands each guide stands for."""
    roots, normals = _roots(figure, style, rng, style.guides)
    if style.fall == "gather":
        guides = _gathered(figure, style, roots, rng)
    else:
        guides = _guides(figure, style, roots, normals, rng)
    guides = _clear_of_face(figure, style, guides, rng)
    count = len(guides) * max(2, round(style.children * density))
    own, _ = _roots(figure, style, rng, count)
    return _between(guides, own, style, rng, density)


def _roots(
    figure: Figure, style: Style, rng: np.random.Generator, count: int
) -> tuple[Floats, Floats]:
    """Places of `count` roots on the scalp and the normals there; the hairline is ragged."""
    centre = figure.eye_level + np.array([0, 0.09, 0.03])
    cover = scalp_cover(figure, figure.points[: figure.body_size], style.recede)
    most = np.array([cover[face].max() for face in figure.faces])
    outward = ((figure.face_centres - centre) * figure.face_normals).sum(1) > 0
    ear = figure.painted("mpfb_ears.jpg") > 0.5
    chance = (most > 0) * outward * ~ear * figure.face_areas
    if style.parting is not None:
        near = np.exp(-(((figure.face_centres[:, 0] - style.parting) / 0.014) ** 2))
        chance = chance * (1 + 1.0 * near)
    tried = 3 * count
    picked = rng.choice(len(chance), tried, p=chance / chance.sum())
    share = rng.dirichlet(np.ones(4), tried)
    corners = np.array([(figure.faces[k] + figure.faces[k][:1])[:4] for k in picked])
    roots = (figure.points[corners] * share[:, :, None]).sum(1)
    grows = scalp_cover(figure, roots, style.recede) > rng.uniform(0, 1, tried)
    if style.shaved:
        grows &= roots[:, 2] > figure.eye_level[2] + 0.06
    kept = np.nonzero(grows)[0][:count]
    return roots[kept], figure.face_normals[picked[kept]]


def _gathered(figure: Figure, style: Style, roots: Floats, rng: np.random.Generator) -> Floats:
    """Guides combed close over the head to a knot behind it, then hanging as one tail."""
    count, over, hang = len(roots), 14, 12
    knot = figure.eye_level + np.array([style.aside, 0.175 - 1.2 * abs(style.aside), style.gather])
    if style.paired:
        knot = np.where(roots[:, :1] > 0, knot, knot * [-1, 1, 1])
    spot = rng.normal(0, 0.006, (count, 3))
    lift = rng.uniform(0.2, 1.0, count) * style.lift
    points = [roots - 0.0008 * _unit(roots - figure.eye_level - [0, 0.09, 0.03])]
    for k in range(1, over + 1):
        share = k / over
        place = roots + share * (knot + spot - roots)
        points.append(_push_out(figure, place, lift * min(1, 2 * share) + 0.0012))
    length = rng.uniform(*style.length, count)[:, None] * 0.55
    for k in range(1, hang + 1):
        share = k / hang
        swell = 1 + 1.6 * np.sin(np.pi * share**0.7)
        back = np.array([0, 0.30 * np.sin(0.5 * np.pi * min(1, 3 * share)) * 0.12, 0])
        fall = np.array([0, 0, -1.0]) * share * length
        place = knot + spot * swell + back + fall
        if style.aside:
            place[:, 1] -= 0.11 * min(1.0, 1.6 * share)
            place[:, 0] += 0.02 * np.sign(place[:, 0]) * np.sin(np.pi * share)
            place = _push_out(figure, place, np.full(count, 0.008 + style.over))
        points.append(place)
    return np.stack(points, 1)


def _guides(
    figure: Figure, style: Style, roots: Floats, normals: Floats, rng: np.random.Generator
) -> Floats:
    """Guides (guides, points, 3) grown step by step, kept outside the head and shoulders."""
    count = len(roots)
    length = rng.uniform(*style.length, count)
    if style.name in TAPERED:
        top = np.clip((roots[:, 2] - figure.eye_level[2] - 0.02) / 0.08, 0, 1)
        length = 0.012 + (length - 0.012) * top
    steps = int(np.clip(style.length[1] / 0.013, 6, 26))
    size = (length / steps)[:, None]
    side = np.ones(count)
    if style.parting is not None:
        side = np.where(roots[:, 0] > style.parting + rng.normal(0, 0.003, count), 1.0, -1.0)
    lift = rng.uniform(0.25, 1.0, count) * style.lift
    fringe = rng.random(count) < style.fringe
    stand = {"out": 1.0, "gather": 0.08, "back": 0.2}.get(style.fall, 0.3)
    heading = normals * stand + 0.35 * _target(figure, style, roots, side, fringe, 0)
    place = roots - 0.0008 * normals
    points = [place]
    turn_rate = 0.15 if style.fall == "out" else 0.40
    for k in range(steps):
        target = _target(figure, style, place, side, fringe, k / steps)
        if style.fall == "out":
            target = normals + 0.25 * target
        heading = (1 - turn_rate) * _unit(heading) + turn_rate * _unit(target)
        heading = heading + rng.normal(0, 0.05, (count, 3))
        place = place + size * _unit(heading)
        clothed = style.over * (place[:, 2] < figure.joint("neck")[2] + 0.01)
        place = _push_out(figure, place, lift * min(1, (k + 1) / 4) + clothed)
        points.append(place)
    return np.stack(points, 1)


def _target(
    figure: Figure, style: Style, place: Floats, side: Floats, fringe: Floats, along: float
) -> Floats:
    """Direction in which hair at `place` wants to go."""
    eye = figure.eye_level
    above = np.clip((place[:, 2] - eye[2] - 0.03) / 0.09, 0, 1)
    front = place[:, 1] < eye[1] + 0.06
    zero = np.zeros(len(place))
    if style.fall == "back":
        return np.stack([0.25 * side * (1 - above), 0.4 + 0.7 * above, -1.1 + 1.0 * above], 1)
    if style.fall == "forward":
        return np.stack([0.2 * side, -0.9 * above + 0.1, -0.9 + 0.8 * above], 1)
    if style.fall == "out":
        return np.stack([zero, zero, zero + 0.1], 1)
    low = (place[:, 2] < eye[2] - 0.10) & (style.before > 0)
    forth = np.where(low & (np.abs(place[:, 0]) > 0.03), style.before, 0.0)
    down = np.stack(
        [
            side * (0.9 * above + 0.05),
            0.55 * above + np.where(front & ~low, 0.34, 0.0) + 0.18 * (1 - along) - forth,
            -0.35 - 1.0 * (1 - above),
        ],
        1,
    )
    over = (fringe & front & (np.abs(place[:, 0]) < 0.055))[:, None]
    forward = np.stack([0.15 * side, -0.5 * above - 0.05, -0.7 + 0.2 * above], 1)
    return np.where(over, forward, down)


def _push_out(figure: Figure, place: Floats, lift: Floats) -> Floats:
    pushed = place.copy()
    for k, point in enumerate(place):
        near, normal, _, distance = figure.tree.find_nearest(Vector(point), 0.05)
        if near is None:
            continue
        depth = (point - np.array(near)) @ np.array(normal)
        if depth < lift[k] and distance < 0.04:
            pushed[k] = point + np.array(normal) * (lift[k] - depth)
    return pushed


def _clear_of_face(
    figure: Figure, style: Style, guides: Floats, rng: np.random.Generator
) -> Floats:
    """Leave out guides that hang over the face, but for a fringe and a few loose ones."""
    eye = figure.eye_level
    low = 0.018 if style.fringe else 0.045
    hangs = (np.abs(guides[..., 0]) < 0.056) & (guides[..., 1] < eye[1] + 0.045)
    hangs &= (guides[..., 2] < eye[2] + low) & (guides[..., 2] > eye[2] - 0.13)
    kept = ~hangs.any(1) | (rng.random(len(guides)) < style.loose)
    return guides[kept]


def _between(
    guides: Floats, roots: Floats, style: Style, rng: np.random.Generator, density: float
) -> Strands:
    """Strands from their own roots, each shaped like the guides next to it on its side.

    Curly hair follows one guide, so that it clumps; other hair takes the mean of three.
    """
    smooth = _resample(guides, guides.shape[1] * (3 if style.curl else 1))
    steps = smooth.shape[1]
    along = np.linspace(0, 1, steps)
    starts = smooth[:, 0]
    distance, nearest = _neighbours(_sided(starts, style), _sided(roots, style), 3)
    weight = 1 / (distance + (0.0005 if style.curl else 0.002)) ** (4 if style.curl else 1.5)
    weight /= weight.sum(1, keepdims=True)
    shape = smooth - starts[:, None]
    grown = sum(weight[:, k, None, None] * shape[nearest[:, k]] for k in range(3))
    stray = np.zeros((len(roots), 1, 3))
    if style.fall == "gather":
        ends = sum(weight[:, k, None] * starts[nearest[:, k]] for k in range(3))
        stray = (roots - ends)[:, None] * -np.clip(1.4 * along, 0, 1)[None, :, None]
    points = roots[:, None] + grown + stray
    offset = rng.normal(0, 0.6 * style.spread, (len(roots), 1, 3)) * along[None, :, None] ** 0.7
    phase = rng.uniform(0, 2 * np.pi, (len(roots), 3))
    rate = rng.uniform(4, 9, (len(roots), 3))
    wave = np.sin(phase[:, None] + rate[:, None] * along[None, :, None])
    points = points + offset + 0.0016 * along[None, :, None] * wave
    if style.curl:
        points += _helix(smooth, nearest[:, 0], style, rng)
    if style.bun:
        points = _roll_up(points, style)
    length = rng.integers(max(2, int(0.75 * steps)), steps + 1, len(points))
    mask = np.arange(steps)[None] < length[:, None]
    thick = HAIR_RADIUS / np.sqrt(density)
    radius = thick * (1 - 0.6 * along)[None] * np.ones((len(points), 1))
    return Strands(points[mask], length, radius[mask])


def _sided(roots: Floats, style: Style) -> Floats:
    """Roots with the two sides of a parting moved apart, so that neighbours are of one side."""
    if style.parting is None:
        return roots
    return roots + np.where(roots[:, :1] > style.parting, 0.05, 0.0) * [1.0, 0, 0]


def _neighbours(known: Floats, points: Floats, count: int) -> tuple[Floats, NDArray[np.int64]]:
    """Distances to and numbers of the nearest known points, (n, count) each."""
    tree = KDTree(len(known))
    for k, point in enumerate(known):
        tree.insert(point, k)
    tree.balance()
    found = [tree.find_n(point, count) for point in points]
    distance = np.array([[d for _, _, d in one] for one in found])
    return distance, np.array([[k for _, k, _ in one] for one in found])


def _helix(
    guides: Floats, of_guide: NDArray[np.int64], style: Style, rng: np.random.Generator
) -> Floats:
    """Curls: strands of one guide turn together."""
    count, steps = len(of_guide), guides.shape[1]
    size = np.linalg.norm(np.diff(guides, axis=1), axis=2).sum(1).max()
    clump = rng.uniform(0, 2 * np.pi, len(guides))[of_guide]
    clump = clump + rng.normal(0, 0.5, count)
    angle = clump[:, None] + 2 * np.pi * style.turns * size * np.linspace(0, 1, steps)[None]
    grown = np.clip(np.linspace(0, 3, steps), 0, 1)[None] * style.curl
    across = np.stack([np.cos(angle), np.sin(angle), np.cos(angle + 1.1)], -1)
    return across * grown[..., None] * rng.uniform(0.5, 1.1, (count, 1, 1))


def _roll_up(points: Floats, style: Style) -> Floats:
    """Wind what hangs below the knot into a ball around it."""
    steps = points.shape[1]
    start = int(0.56 * steps)
    knot = points[:, start].copy()
    centre = np.median(knot, 0) + np.array([0, 0.015, 0])
    tail = np.arange(steps - start)
    rng = np.random.default_rng(len(points))
    axis = _unit(rng.normal(size=(len(points), 3)) * [1, 0.3, 0.3])
    first = _unit(np.cross(axis, [0.3, 1.0, 0.2]))
    second = np.cross(axis, first)
    radius = 0.030 * rng.uniform(0.75, 1.0, (len(points), 1, 1))
    angle = 0.55 * tail[None, :, None] + rng.uniform(0, 6.28, (len(points), 1, 1))
    ball = centre + radius * (np.cos(angle) * first[:, None] + np.sin(angle) * second[:, None])
    ease = np.clip(tail / 3, 0, 1)[None, :, None]
    wound = points.copy()
    wound[:, start:] = (1 - ease) * knot[:, None] + ease * ball
    return wound


def _resample(guides: Floats, steps: int) -> Floats:
    if steps <= guides.shape[1]:
        return guides
    old, new = np.linspace(0, 1, guides.shape[1]), np.linspace(0, 1, steps)
    index = np.clip(np.searchsorted(old, new, side="right") - 1, 0, len(old) - 2)
    share = ((new - old[index]) / (old[index + 1] - old[index]))[None, :, None]
    return guides[:, index] * (1 - share) + guides[:, index + 1] * share


def _unit(vectors: Floats) -> Floats:
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-9)
