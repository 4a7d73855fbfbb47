"""Pictures of tattoos, drawn: what is inked, how strongly and in which colour."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter

from .assets import Floats

Colour = tuple[float, float, float]
Picture = NDArray[np.float32]
"""Colour and ink share (h, w, 4) in [0, 1], colour linear Rec.709, first row on top."""

SIDE = 320
"""Pixels of a motif's side."""

FINER = 2
"""Times finer than its picture a motif is drawn."""


class Sheet:
    """Drawing surface: coordinates from -1 to 1, y up; ink share and colour of every place."""

    def __init__(self, rng: np.random.Generator, inks: tuple[Colour, ...], wide: float = 1.0):
        self.rng = rng
        self.inks = inks
        self.wide = wide
        self.size = (int(SIDE * FINER * wide), SIDE * FINER)
        self.share = np.zeros(self.size[::-1], np.float32)
        self.colour = np.ones((*self.size[::-1], 3), np.float32) * np.float32(inks[0])

    def _place(self, points: Floats) -> Floats:
        half = SIDE * FINER / 2
        return (np.asarray(points, float) * [1, -1] + [self.wide, 1]) * half

    def _stamp(
        self, placed: Floats, share: float | Floats, ink: int, width: int = 0, closed: bool = False
    ) -> None:
        """Put a shape, or a line where it has a width, over what is there."""
        low = np.maximum(np.floor(placed.min(0)).astype(int) - width - 1, 0)
        high = np.minimum(np.ceil(placed.max(0)).astype(int) + width + 2, self.size)
        if (high <= low).any():
            return
        mask = Image.new("L", tuple(high - low))
        points = [(float(x), float(y)) for x, y in placed - low]
        if width:
            points += points[:2] if closed else []
            ImageDraw.Draw(mask).line(points, fill=255, width=width, joint="curve")
        else:
            ImageDraw.Draw(mask).polygon(points, fill=255)
        here = (slice(low[1], high[1]), slice(low[0], high[0]))
        strong = np.broadcast_to(np.float32(share), self.share.shape)[here]
        cover = np.asarray(mask, np.float32) / 255
        self.share[here] += cover * (strong - self.share[here])
        inked = (cover * (strong > 0))[..., None]
        self.colour[here] += inked * (
            np.float32(self.inks[ink % len(self.inks)]) - self.colour[here]
        )

    def fill(self, points: Floats, share: float | Floats = 1.0, ink: int = 0) -> None:
        """A closed shape filled with a share of ink (0 clears)."""
        self._stamp(self._place(points), share, ink)

    def line(self, points: Floats, width: float, ink: int = 0, closed: bool = False) -> None:
        """A line of a width."""
        pixels = max(2, int(width * SIDE * FINER / 2))
        self._stamp(self._place(points), 1.0, ink, pixels, closed)

    def brush(self, points: Floats, width: float, ink: int = 0) -> None:
        """A line that swells and tapers to its ends."""
        points = np.asarray(points, float)
        ahead = np.gradient(points, axis=0)
        across = np.stack([-ahead[:, 1], ahead[:, 0]], 1)
        across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-9)
        swell = (np.sin(np.linspace(0, np.pi, len(points))) ** 0.7)[:, None] * width / 2
        self.fill(
            np.concatenate([points + across * swell, (points - across * swell)[::-1]]), 1, ink
        )

    def wash(self, low: float, high: float, scale: float) -> Floats:
        """Cloudy shading over the sheet."""
        cloud = clouds(self.rng, self.size, scale)
        return low + (high - low) * cloud

    def picture(self, soft: float = 0.6) -> Picture:
        """The finished picture; `soft` pixels of spread ink."""
        share = Image.fromarray((np.clip(self.share, 0, 1) * 255).astype(np.uint8))
        share = share.filter(ImageFilter.GaussianBlur(soft * FINER))
        size = (self.size[0] // FINER, self.size[1] // FINER)
        shrunk = np.asarray(share.resize(size, Image.Resampling.BOX), np.float32) / 255
        return np.concatenate([self.colour[::FINER, ::FINER], shrunk[..., None]], 2)


def clouds(rng: np.random.Generator, size: tuple[int, int], scale: float) -> Floats:
    """Smooth noise (height, width) from 0 to 1 for a `size` of (width, height).

    `scale`: size of its largest spots as a share of the height.
    """
    total = np.zeros(size[::-1], np.float32)
    for octave in range(3):
        rows = max(2, int(2**octave / scale))
        columns = max(2, int(rows * size[0] / size[1]))
        coarse = Image.fromarray((rng.random((rows, columns)) * 255).astype(np.uint8))
        total += np.asarray(coarse.resize(size, Image.Resampling.BICUBIC), np.float32) / 2**octave
    total -= total.min()
    return total / max(float(total.max()), 1e-6)


def blob(rng: np.random.Generator, radius: float, centre: Floats, rough: float = 0.3) -> Floats:
    """A smooth closed shape."""
    angle = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    reach = np.ones(80)
    for k in range(2, 6):
        reach += rough / k * rng.normal() * np.cos(k * angle + rng.uniform(0, 7))
    stretch = rng.uniform(0.7, 1.3)
    return np.asarray(centre) + radius * np.stack(
        [reach * np.cos(angle) * stretch, reach * np.sin(angle) / stretch], 1
    )


def curve(*points: Floats) -> Floats:
    """A smooth curve through control points (Bezier)."""
    at = np.linspace(0, 1, 40)[:, None]
    held = [np.asarray(p, float)[None] + 0 * at for p in points]
    while len(held) > 1:
        held = [(1 - at) * a + at * b for a, b in pairwise(held)]
    return held[0]


def turned(points: Floats, angle: float) -> Floats:
    """Points turned about the middle, radians."""
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(points) @ np.array([[c, s], [-s, c]])


def _solid(sheet: Sheet) -> None:
    rng = sheet.rng
    sheet.fill(blob(rng, 0.62, (0, 0), 0.5))
    for _ in range(int(rng.integers(0, 4))):
        sheet.fill(blob(rng, rng.uniform(0.06, 0.2), rng.uniform(-0.4, 0.4, 2)), 0.0)


def _shaded(sheet: Sheet) -> None:
    """Several shapes with bold outlines, clouded shading within."""
    rng = sheet.rng
    for _ in range(int(rng.integers(2, 6))):
        shape = blob(rng, rng.uniform(0.25, 0.5), rng.uniform(-0.45, 0.45, 2), 0.5)
        sheet.fill(shape, sheet.wash(0.0, 1.0, rng.uniform(0.1, 0.4)), int(rng.integers(9)))
        sheet.line(shape, rng.uniform(0.02, 0.06), closed=True)
        inner = shape.mean(0) + 0.55 * (shape - shape.mean(0))
        for _ in range(int(rng.integers(0, 4))):
            a = int(rng.integers(80))
            sheet.line(np.roll(inner, a, 0)[: int(rng.integers(8, 40))], rng.uniform(0.015, 0.03))


def _flower(sheet: Sheet) -> None:
    rng = sheet.rng
    for side in rng.uniform(0, 6.3, int(rng.integers(1, 5))):
        leaf = np.concatenate([curve((0, 0), (0.4, 0.35), (0.95, 0)),
                               curve((0.95, 0), (0.4, -0.35), (0, 0))])  # fmt: skip
        sheet.fill(turned(leaf, side), sheet.wash(0.2, 1, 0.3), 2)
        sheet.line(turned(leaf, side), 0.025, closed=True)
        sheet.line(turned(np.array([(0, 0), (0.9, 0)]), side), 0.02)
    petals = int(rng.integers(5, 9))
    for ring, reach in ((0, 0.68), (1, 0.45), (2, 0.26)):
        for k in range(petals):
            petal = np.concatenate(
                [curve((0, 0), (0.25, 0.45), (0.95, 0.35), (1, 0)),
                 curve((1, 0), (0.95, -0.35), (0.25, -0.45), (0, 0))]
            )  # fmt: skip
            petal = turned(petal * reach, 2 * np.pi * (k + 0.5 * ring) / petals)
            sheet.fill(petal, sheet.wash(0.05, 0.9, 0.2), 1)
            sheet.line(petal, 0.03, closed=True)
    sheet.fill(blob(rng, 0.09, (0, 0), 0.1))


def _blades(sheet: Sheet) -> None:
    """Curved tapering dark blades."""
    rng = sheet.rng
    mirrored = rng.random() < 0.5
    for _ in range(int(rng.integers(4, 10))):
        points = rng.uniform(-0.95, 0.95, (4, 2))
        if mirrored:
            points[:, 0] = np.abs(points[:, 0]) + 0.05
        path = curve(*points)
        width = rng.uniform(0.12, 0.35)
        sheet.brush(path, width)
        if mirrored:
            sheet.brush(path * [-1, 1], width)


def _letters(sheet: Sheet) -> None:
    """Rows of strokes like handwriting or print; no real letters."""
    rng = sheet.rng
    rows = int(rng.integers(1, 5))
    height = 0.75 / rows
    script, width = rng.random() < 0.6, rng.uniform(0.14, 0.34) * height
    for row in range(rows):
        y = 0.8 - (row + 0.75) * 1.6 / rows
        x = -sheet.wide + rng.uniform(0.05, 0.3)
        while x < sheet.wide - 0.1 - height * 0.5:
            if rng.random() < 0.15:
                x += 0.6 * height
                continue
            tall = rng.choice([0.8, 1.5], p=[0.65, 0.35]) * height
            slant = 0.25 * height if script else 0.0
            box = [(x, y), (x + slant, y + tall), (x + 0.6 * height + slant, y + tall),
                   (x + 0.6 * height, y), (x + 0.3 * height, y + 0.5 * tall)]  # fmt: skip
            for _ in range(int(rng.integers(1, 4))):
                picked = [np.array(box[k]) for k in rng.permutation(5)[:3]]
                if script:
                    sheet.brush(curve(*picked), 1.5 * width)
                else:
                    sheet.line(np.array(picked[:2]), width)
            x += rng.uniform(0.7, 0.95) * height


def _mandala(sheet: Sheet) -> None:
    rng = sheet.rng
    fold = int(rng.integers(6, 13))
    for reach in np.sort(rng.uniform(0.15, 0.95, int(rng.integers(3, 7))))[::-1]:
        kind = int(rng.integers(4))
        for k in range(fold):
            angle = 2 * np.pi * k / fold
            if kind == 0:
                sheet.fill(turned(blob(rng, 0.05, (reach, 0), 0.05), angle))
            elif kind == 1:
                shape = turned(
                    np.array([(reach * 0.7, -0.12), (reach, 0), (reach * 0.7, 0.12)]), angle
                )
                sheet.fill(shape, rng.choice([1.0, 0.5]))
            elif kind == 2:
                arch = turned(
                    curve((reach * 0.6, -0.2), (reach * 1.25, 0), (reach * 0.6, 0.2)), angle
                )
                sheet.line(arch, 0.03)
            else:
                sheet.brush(turned(curve((0.1, 0), (reach / 2, 0.15), (reach, 0)), angle), 0.07)
        around = np.linspace(0, 2 * np.pi, 90)
        if rng.random() < 0.5:
            ring = reach * np.stack([np.cos(around), np.sin(around)], 1)
            sheet.line(ring, rng.uniform(0.015, 0.05), closed=True)


def _branch(sheet: Sheet) -> None:
    rng = sheet.rng
    stem = curve((-0.1, -0.95), rng.uniform(-0.4, 0.4, 2), (0.1, 0.95))
    sheet.line(stem, 0.035)
    filled = rng.choice([0.0, 0.4, 1.0])
    for k in range(3, 38, int(rng.integers(2, 5))):
        for side in (-1, 1):
            tip = stem[k] + np.array([side * rng.uniform(0.2, 0.5), rng.uniform(0.1, 0.35)])
            middle, off = (stem[k] + tip) / 2, np.array([0.0, 0.12])
            leaf = np.concatenate(
                [curve(stem[k], middle + off, tip), curve(tip, middle - off, stem[k])]
            )
            if filled:
                sheet.fill(leaf, filled, 2)
            sheet.line(leaf, 0.02, closed=True)


def _scene(sheet: Sheet) -> None:
    """A dense shaded picture in greys with dark and bare places, as of a face or a landscape."""
    rng = sheet.rng
    shape = blob(rng, 0.75, (0, 0), 0.35)
    tones = sheet.wash(-0.25, 1.25, rng.uniform(0.15, 0.5))
    sheet.fill(shape, np.clip(tones, 0.0, 1.0), int(rng.integers(9)))
    for _ in range(int(rng.integers(2, 8))):
        sheet.brush(curve(*rng.uniform(-0.6, 0.6, (3, 2))), rng.uniform(0.04, 0.2))
    for _ in range(int(rng.integers(1, 5))):
        centre = rng.uniform(-0.4, 0.4, 2)
        sheet.fill(blob(rng, rng.uniform(0.04, 0.16), centre, 0.3), rng.choice([0.0, 1.0]))


def _small(sheet: Sheet) -> None:
    """One plain sign: star, heart, moon, wave, arrow or ring; filled or in outline."""
    rng = sheet.rng
    angle = np.linspace(0, 2 * np.pi, 81)
    sharp = np.where(np.arange(11) % 2, 0.35, 0.85)
    ten = np.pi / 2 + np.arange(11) * np.pi / 5
    shapes = [
        np.stack([sharp * np.cos(ten), sharp * np.sin(ten)], 1),
        np.stack([0.8 * np.sin(angle) ** 3, 0.65 * np.cos(angle) - 0.25 * np.cos(2 * angle)
                  - 0.1 * np.cos(3 * angle)], 1),
        np.concatenate([curve((0.2, 0.8), (-1.1, 0.6), (-1.1, -0.6), (0.2, -0.8)),
                        curve((0.2, -0.8), (-0.4, -0.4), (-0.4, 0.4), (0.2, 0.8))]),
        np.array([(-0.8, -0.1), (0.3, -0.1), (0.3, -0.4), (0.85, 0), (0.3, 0.4), (0.3, 0.1),
                  (-0.8, 0.1)]),
        np.array([(0, 0.85), (0.75, -0.6), (-0.75, -0.6)]),
        0.7 * np.stack([np.cos(angle), np.sin(angle)], 1),
    ]  # fmt: skip
    shape = shapes[int(rng.integers(len(shapes)))]
    if rng.random() < 0.55:
        sheet.fill(shape, 1.0, int(rng.integers(9)))
    sheet.line(shape, rng.uniform(0.06, 0.16), closed=True)


def _band(sheet: Sheet) -> None:
    """Rings round a limb: solid, zigzag, teeth, waves."""
    rng, wide = sheet.rng, sheet.wide
    y = -0.95
    repeat = int(rng.integers(8, 20))
    while y < 0.9:
        height = float(rng.uniform(0.08, 0.6))
        top = min(y + height, 0.95)
        kind = int(rng.integers(5))
        x = np.linspace(-wide, wide, 2 * repeat + 1)
        if kind <= 1:
            sheet.fill(np.array([(-wide, y), (wide, y), (wide, top), (-wide, top)]))
        elif kind == 2:
            teeth = np.stack([x, np.where(np.arange(len(x)) % 2, top, y)], 1)
            sheet.fill(np.concatenate([teeth, [(wide, y), (-wide, y)]]))
        elif kind == 3:
            zigzag = np.stack([x, np.where(np.arange(len(x)) % 2, top, y)], 1)
            sheet.line(zigzag, 0.08)
        else:
            fine = np.linspace(-wide, wide, 300)
            wave = (y + top) / 2 + 0.4 * (top - y) * np.sin(np.pi * repeat * (fine / wide))
            sheet.line(np.stack([fine, wave], 1), 0.1)
        y = top + float(rng.uniform(0.03, 0.3))


def _blackwork(sheet: Sheet) -> None:
    """Nearly everything dark, with bare lines and patterns left out."""
    rng, wide = sheet.rng, sheet.wide
    sheet.fill(np.array([(-wide, -0.97), (wide, -0.97), (wide, 0.97), (-wide, 0.97)]),
               sheet.wash(0.85, 1.0, 0.4))  # fmt: skip
    if rng.random() < 0.35:
        return
    for _ in range(int(rng.integers(3, 14))):
        middle = rng.uniform([-wide, -0.9], [wide, 0.9])
        if rng.random() < 0.5:
            sheet.fill(blob(rng, rng.uniform(0.05, 0.25), middle, 0.5), 0.0)
        else:
            path = middle + curve(*rng.uniform(-0.6, 0.6, (3, 2)))
            across = np.array([0.0, rng.uniform(0.02, 0.08)])
            sheet.fill(np.concatenate([path, (path + across)[::-1]]), 0.0)


def _sleeve(sheet: Sheet) -> None:
    """Many shaded motifs close to each other, dark between them."""
    rng, wide = sheet.rng, sheet.wide
    everywhere = np.array([(-wide, -0.97), (wide, -0.97), (wide, 0.97), (-wide, 0.97)])
    sheet.fill(everywhere, np.clip(sheet.wash(-0.4, 1.3, rng.uniform(0.1, 0.3)), 0, 1))
    for _ in range(int(14 * wide)):
        shape = blob(rng, rng.uniform(0.10, 0.32), rng.uniform([-wide, -0.9], [wide, 0.9]), 0.6)
        if rng.random() < 0.25:
            sheet.fill(shape, 0.0)
        else:
            sheet.fill(shape, np.clip(sheet.wash(-0.3, 1.1, 0.2), 0, 1), int(rng.integers(9)))
        if rng.random() < 0.75:
            sheet.line(shape, rng.uniform(0.02, 0.06), closed=True)


def _stripes(sheet: Sheet) -> None:
    """Bands of paint, straight or bent."""
    rng, wide = sheet.rng, sheet.wide
    count = int(rng.integers(2, 9))
    step = 2 * wide / count
    bend, lean = rng.uniform(-0.4, 0.4), rng.uniform(-0.3, 0.3)
    for k in range(count):
        left = -wide + (k + 0.15) * step
        edges = []
        for x in (left, left + rng.uniform(0.35, 0.8) * step):
            edges.append(curve((x - lean, -0.95), (x + bend, 0), (x + lean, 0.95)))
        sheet.fill(np.concatenate([edges[0], edges[1][::-1]]), sheet.wash(0.6, 1.2, 0.2), k)


def _halves(sheet: Sheet) -> None:
    """Flat paint over all of it, in one colour or in fields beside each other."""
    rng, wide = sheet.rng, sheet.wide
    cuts = np.sort(rng.uniform(-0.8, 0.8, int(rng.integers(0, 3)))) * wide
    bounds = [-wide, *cuts, wide]
    for k, (left, right) in enumerate(pairwise(bounds)):
        if k == 0 or rng.random() < 0.8:
            sheet.fill(np.array([(left, -0.98), (right, -0.98), (right, 0.98), (left, 0.98)]),
                       sheet.wash(0.5, 1.4, 0.3), k)  # fmt: skip


def _oval(sheet: Sheet) -> None:
    """A painted face: an oval with fields round eyes, nose and mouth, lines and dots."""
    rng = sheet.rng
    angle = np.linspace(0, 2 * np.pi, 60)
    oval = np.stack([0.6 * np.cos(angle), 0.85 * np.sin(angle)], 1)
    if rng.random() < 0.6:
        sheet.fill(oval, sheet.wash(0.6, 1.3, 0.3))
    for _ in range(int(rng.integers(1, 6))):
        shape = blob(rng, rng.uniform(0.06, 0.3), rng.uniform([0.0, -0.7], [0.5, 0.7]), 0.5)
        ink = int(rng.integers(9))
        for way in (1, -1):
            sheet.fill(shape * [way, 1], rng.choice([1.0, 1.0, 0.0]), ink)
    for _ in range(int(rng.integers(0, 6))):
        path, ink = curve(*rng.uniform([0.0, -0.8], [0.6, 0.8], (3, 2))), int(rng.integers(9))
        for way in (1, -1):
            sheet.brush(path * [way, 1], rng.uniform(0.04, 0.12), ink)


def _dots(sheet: Sheet) -> None:
    """Dots strewn like pearls, spatter or glitter."""
    rng = sheet.rng
    reach = rng.uniform(0.012, 0.09)
    for k in range(int(min(400, 0.6 / reach**1.6))):
        middle = rng.normal(0, 0.4, 2) * [sheet.wide, 1]
        sheet.fill(blob(rng, reach * rng.uniform(0.5, 1.2), middle, 0.1), 1.0, k)


def _scar(sheet: Sheet) -> None:
    """A thin line, now and then with the dots of stitches."""
    rng = sheet.rng
    path = curve((-0.1, -0.9), rng.uniform(-0.35, 0.35, 2), (0.1, 0.9))
    sheet.brush(path, rng.uniform(0.05, 0.16))
    for k in range(5, 38, 5) if rng.random() < 0.4 else ():
        sheet.line(path[k] + np.array([(-0.12, 0.0), (0.12, 0.03)]), 0.03)


MOTIFS: dict[str, Callable[[Sheet], None]] = {
    "solid": _solid,
    "shaded": _shaded,
    "flower": _flower,
    "blades": _blades,
    "letters": _letters,
    "mandala": _mandala,
    "branch": _branch,
    "scene": _scene,
    "small": _small,
    "band": _band,
    "blackwork": _blackwork,
    "sleeve": _sleeve,
    "stripes": _stripes,
    "halves": _halves,
    "oval": _oval,
    "dots": _dots,
    "scar": _scar,
}
"""How each motif is drawn."""

WIDE = {"band": 3.0, "sleeve": 2.0, "blackwork": 2.0, "letters": 1.6}
"""Width of a motif over its height, where it is not 1."""


def draw(motif: str, inks: tuple[Colour, ...], seed: int) -> Picture:
    """Picture of a motif. `inks`: colours of lines first, then of fillings."""
    sheet = Sheet(np.random.default_rng(seed), inks, WIDE.get(motif, 1.0))
    MOTIFS[motif](sheet)
    return sheet.picture(0.5)
