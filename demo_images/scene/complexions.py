"""Draw skins at random: tone, undertone, and everything that may be on skin."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .decals import Tattoo
from .skin import Complexion, base_colour

Colour = tuple[float, float, float]

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Shares of linear Rec.709 red, green and blue in luminance (ITU-R BT.709)."""

UNDERTONES = {
    "olive": (0.02, -0.04, 0.16),
    "rosy": (-0.05, 0.07, 0.02),
    "red": (-0.10, 0.08, 0.06),
    "ash": (0.06, 0.00, -0.14),
    "golden": (-0.05, 0.02, 0.14),
    "plain": (0.0, 0.0, 0.0),
}
"""Density against the tone's own colour in red, green and blue of ways skin leans; by eye."""


def random_tone(rng: np.random.Generator) -> float:
    """A Monk tone, 0.6 to 10.4: two in five from 7 up."""
    return float(rng.uniform(7, 10.4) if rng.random() < 0.4 else rng.uniform(0.6, 7))


def random_complexion(
    rng: np.random.Generator, tone: float, male: float, stubble: float, hair: Colour
) -> Complexion:
    """Skin of a tone with everything that may be on it; nobody is burnt."""
    u = rng.uniform
    return Complexion(
        tone=tone,
        undertone=_undertone(rng, tone),
        mottle=float(u(0.5, 1.5)),
        flush=float(u(0.2, 1.6)),
        freckles=float(u(0.3, 1)) if rng.random() < 0.25 * (tone < 6.5) else 0.0,
        moles=float(u(0, 1)),
        tattoos=_tattoos(rng, tone, SITES) if rng.random() < 0.25 else (),
        paint=1.0 if rng.random() < 0.05 else 0.0,
        stubble=stubble,
        shine=float(u(0, 1.3)),
        lipstick=(float(u(0.2, 0.7)), float(u(0.01, 0.15)), float(u(0.02, 0.2)))
        if rng.random() < 0.15
        else None,
        hair_colour=hair,
        seed=float(u(0, 50)),
        extra={"paint": tuple(float(x) for x in rng.uniform(0.02, 0.9, 3))},
    )


def complexion_seen_close(rng: np.random.Generator, complexion: Complexion) -> Complexion:
    """The skin with more ink about the head, and matt.

    Relief and light under the skin do not show at about a millimetre a pixel.
    """
    tattoos = complexion.tattoos
    if rng.random() < 0.2:
        tattoos += _tattoos(rng, complexion.tone, HIGH_SITES)
    return replace(complexion, matt=True, tattoos=tattoos)


def _undertone(rng: np.random.Generator, tone: float) -> Colour:
    """Which way a skin leans: deep skin often to red, the palest seldom to olive."""
    deep = float(np.clip((tone - 5) / 3, 0, 1))
    pale = float(np.clip((3 - tone) / 2, 0, 1))
    chances = {"olive": 0.2 - 0.1 * pale, "rosy": 0.15 + 0.15 * pale - 0.1 * deep,
               "red": 0.1 + 0.25 * deep, "ash": 0.15, "golden": 0.15, "plain": 0.2}  # fmt: skip
    weight = np.array(list(chances.values()))
    kind = str(rng.choice(list(chances), p=weight / weight.sum()))
    lean = np.array(UNDERTONES[kind]) * rng.uniform(0.4, 1.5)
    lean = lean + rng.normal(0, [0.05, 0.04, 0.06]) + rng.normal(0, 0.04)
    return float(lean[0]), float(lean[1]), float(lean[2])


SITES = {
    "upperarm": (0.20, (0.07, 0.16)),
    "forearm": (0.24, (0.05, 0.15)),
    "shin": (0.10, (0.07, 0.18)),
    "thigh": (0.08, (0.09, 0.24)),
    "chest": (0.10, (0.07, 0.22)),
    "back": (0.07, (0.10, 0.36)),
    "belly": (0.03, (0.06, 0.18)),
    "neck": (0.06, (0.035, 0.09)),
    "nape": (0.03, (0.03, 0.09)),
    "hand": (0.06, (0.025, 0.07)),
    "foot": (0.03, (0.03, 0.08)),
}
"""Places of tattoos: how often each is drawn and the range of heights there, metres."""

HIGH_SITES = {
    "neck": (0.35, (0.04, 0.10)),
    "nape": (0.12, (0.04, 0.10)),
    "chest": (0.25, (0.08, 0.24)),
    "upperarm": (0.18, (0.08, 0.16)),
    "hand": (0.10, (0.03, 0.07)),
}
"""Places of tattoos seen beside a head."""

FLAT_MOTIFS = ("solid", "shaded", "flower", "blades", "letters", "mandala", "branch", "scene",
               "small", "blackwork", "band", "sleeve")  # fmt: skip
FLAT_CHANCE = (0.10, 0.16, 0.11, 0.13, 0.13, 0.08, 0.06, 0.10, 0.06, 0.02, 0.02, 0.03)
"""Motifs laid flat, and how often each is drawn."""

STRETCHES = {"upperarm": 0.30, "forearm": 0.27, "shin": 0.40, "thigh": 0.40}
"""Longest height of a picture wound round a limb, metres."""


def _tattoos(
    rng: np.random.Generator, tone: float, sites: dict[str, tuple[float, tuple[float, float]]]
) -> tuple[Tattoo, ...]:
    """One tattoo, a few, or many; mostly in one set of inks."""
    count = int(rng.choice([1, rng.integers(2, 5), rng.integers(5, 9)], p=[0.45, 0.35, 0.2]))
    inks, opacity = _inks(rng, tone)
    found = []
    for _ in range(count):
        if rng.random() < 0.2:
            inks, opacity = _inks(rng, tone)
        found.append(_tattoo(rng, sites, inks, opacity))
    return tuple(found)


def _tattoo(
    rng: np.random.Generator,
    sites: dict[str, tuple[float, tuple[float, float]]],
    inks: tuple[Colour, ...],
    opacity: float,
) -> Tattoo:
    chance = np.array([chance for chance, _ in sites.values()])
    name = str(rng.choice(list(sites), p=chance / chance.sum()))
    site = f"{rng.choice(['l', 'r'])}-{name}"
    seed = int(rng.integers(1 << 30))
    if name in STRETCHES and rng.random() < 0.45:
        motif = str(rng.choice(["band", "sleeve", "blackwork"], p=[0.35, 0.45, 0.2]))
        longest = STRETCHES[name]
        size = longest if motif == "sleeve" else longest * float(rng.uniform(0.1, 0.9))
        size *= float(rng.uniform(0.6, 1.0))
        return Tattoo(motif, site, size, inks, opacity, float(rng.uniform(0.3, 0.7)),
                      float(rng.uniform(0, 360)), 0.0, True, seed)  # fmt: skip
    motif = str(rng.choice(FLAT_MOTIFS, p=FLAT_CHANCE))
    size = float(rng.uniform(*sites[name][1])) * (0.55 if motif in ("small", "letters") else 1.0)
    if motif in ("band", "blackwork", "sleeve"):
        size *= 0.6
    return Tattoo(motif, site, size, inks, opacity, float(rng.uniform(0.05, 0.9)),
                  float(rng.uniform(0, 360)), float(rng.normal(0, 15)), False, seed)  # fmt: skip


def _inks(rng: np.random.Generator, tone: float) -> tuple[tuple[Colour, ...], float]:
    """Colours of lines and fillings, and how much they hide: fresh black to faded blue-green.

    Lines are darker than the skin, as ink that is not cannot be seen.
    """
    kind = rng.random()
    if kind < 0.6:
        line, opacity = rng.uniform(0.006, 0.03) * np.array([0.95, 1.0, 1.1]), rng.uniform(0.88, 1)
    elif kind < 0.88:
        line = rng.uniform(0.02, 0.06) * np.array([0.75, 1.0, rng.uniform(0.95, 1.3)])
        opacity = rng.uniform(0.65, 0.9)
    else:
        line = rng.uniform(0.01, 0.35, 3) * [1.0, 0.4, 0.6]
        opacity = rng.uniform(0.8, 0.95)
    own = base_colour(tone) @ LUMINANCE
    line = line * min(1.0, rng.uniform(0.05, 0.3) * own / float(line @ LUMINANCE))
    inks = [line]
    if rng.random() < 0.35:
        inks += [rng.uniform(0, 1, 3) ** 2 * rng.uniform(0.2, 0.7) for _ in range(3)]
    return tuple((float(c[0]), float(c[1]), float(c[2])) for c in inks), float(opacity)
