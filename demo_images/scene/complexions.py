"""Draw skins at random: tone, undertone, and everything that may be on skin."""

from __future__ import annotations

import numpy as np

from .assets import Floats
from .cloth import Cut
from .decals import Mark
from .makeup import MakeUp
from .skin import Birthmark, BodyPaint, Complexion, base_colour
from .zones import Redness, Worn

Colour = tuple[float, float, float]

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Shares of linear Rec.709 red, green and blue in luminance (ITU-R BT.709)."""

UNDERTONES = {
    "olive": (0.02, -0.04, 0.16),
    "rosy": (-0.04, 0.05, 0.02),
    "red": (-0.07, 0.06, 0.06),
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
    deep = float(np.clip((tone - 5) / 3, 0, 1))
    painted = rng.random()
    tanned = tone < 8 and rng.random() < 0.3

    def sometimes(chance: float, low: float, high: float) -> float:
        return float(u(low, high)) if rng.random() < chance else 0.0

    return Complexion(
        tone=tone,
        undertone=_undertone(rng, tone),
        mottle=float(u(0.5, 1.5)),
        flush=float(u(0.0, 1.6) if rng.random() < 0.75 else u(1.2, 2.5)),
        redness=_redness(rng, male),
        tan=float(u(0.3, 1.4)) * (1 - 0.5 * deep) if tanned else sometimes(0.4, 0.08, 0.3),
        tan_covers=_tan_covers(rng),
        tan_edge=float(rng.choice([u(0.001, 0.006), u(0.01, 0.05)])) if tanned else 0.06,
        dark_joints=sometimes(0.4, 0.1, 0.4 + 0.5 * deep),
        pale_palms=float(u(0.1, 0.3) + u(0.2, 1.0) * deep),
        freckles=sometimes(0.28 if tone < 5 else 0.12 if tone < 8 else 0.02, 0.3, 1),
        moles=float(u(0, 1.3)),
        mole_size=float(np.exp(rng.normal(0.0, 0.4))),
        blemishes=_spots(rng) if rng.random() < 0.2 else (),
        birthmarks=_birthmarks(rng),
        vitiligo=sometimes(0.02, 0.1, 1.0),
        body_hair=sometimes(0.6, 0.15, 0.8) if male > 0.5 else 0.0,
        stubble_kind=str(rng.choice(["full", "goatee", "moustache"], p=[0.75, 0.15, 0.10])),
        stubble_grey=float(u(0, 1)),
        dark_rings=float(u(0, 2.5)) * (1 + deep),
        areola=float(u(0.010, 0.016)) if male > 0.5 else 0.0,
        nostril_edge=float(u(0.15, 0.5)),
        nostril_dark=float(u(0.6, 0.92)),
        nostril_red=float(u(0, 1.5)),
        marks=(_tattoos(rng, tone, SITES) if rng.random() < 0.25 else ())
        + (_paintings(rng) if painted < 0.04 else ())
        + (_scars(rng, tone) if rng.random() < 0.05 else ()),
        body_paint=_body_paint(rng) if 0.04 < painted < 0.06 else None,
        makeup=_makeup(rng, tone) if rng.random() < (0.04 if male > 0.5 else 0.4) else None,
        stubble=stubble * float(u(0.6, 2.0)),
        shaved=sometimes(0.5 if male > 0.5 else 0.1, 0.1, 0.45),
        shine=float(u(-1.2, 0.7) if rng.random() < 0.75 else u(0.7, 1.5)),
        lipstick=_lipstick(rng, tone) if rng.random() < (0.02 if male > 0.5 else 0.35) else None,
        hair_colour=hair,
        seed=float(u(0, 50)),
    )


def _undertone(rng: np.random.Generator, tone: float) -> Colour:
    """Which way a skin leans: deep skin often to red, the palest seldom to olive."""
    deep = float(np.clip((tone - 5) / 3, 0, 1))
    pale = float(np.clip((3 - tone) / 2, 0, 1))
    chances = {"olive": 0.2 - 0.1 * pale, "rosy": 0.15 + 0.15 * pale - 0.1 * deep,
               "red": 0.1 + 0.25 * deep, "ash": 0.15 - 0.08 * deep,
               "golden": 0.15, "plain": 0.2}  # fmt: skip
    weight = np.array(list(chances.values()))
    kind = str(rng.choice(list(chances), p=weight / weight.sum()))
    lean = np.array(UNDERTONES[kind]) * rng.uniform(0.4, 1.5)
    lean = lean + rng.normal(0, [0.03, 0.03, 0.07]) + rng.normal(0, 0.04)
    return float(lean[0]), float(lean[1]), float(lean[2])


def _redness(rng: np.random.Generator, male: float) -> Redness:
    """Everyday redness: a few kinds of it, any strength."""

    def sometimes(chance: float, most: float) -> float:
        return float(rng.uniform(0.15, most)) if rng.random() < chance else 0.0

    return Redness(
        cold=sometimes(0.12, 1.8),
        effort=sometimes(0.12, 1.7),
        cheeks=sometimes(0.2, 2.2),
        hands=sometimes(0.15, 1.6),
        feet=sometimes(0.15, 1.6),
        joints=sometimes(0.25, 1.6),
        neck=sometimes(0.10, 1.5),
        throat=sometimes(0.25 if male > 0.5 else 0.0, 1.5),
        veins=sometimes(0.12, 1.3),
        marbling=sometimes(0.12, 1.3),
    )


def _tan_covers(rng: np.random.Generator) -> tuple[Cut | Worn, ...]:
    """What was worn in the sun that tanned: shirt and shorts, swimsuit, socks, watch, hat."""
    u = rng.uniform
    side = str(rng.choice(["l", "r"]))
    neck = str(rng.choice(["crew", "scoop", "vee", "boat"]))
    uppers: list[Cut | Worn] = [
        Cut("tee", neck, None, u(0.08, 0.30), 0.8),
        Cut("long", neck, None, u(0.35, 0.58), 0.8),
        Cut("tank", "scoop", u(0.10, 0.15), u(-0.01, 0.03), 0.8),
        Cut("straps", "deep", u(0.085, 0.11), 0.02, u(0.8, 1.15)),
        Cut("strapless", "strapless", None, 0.0, u(0.8, 1.1)),
    ]
    lowers: list[Cut | Worn] = [
        Cut("shorts", top=u(0.94, 1.06), hem=u(0.45, 0.72)),
        Cut("briefs", top=u(0.90, 0.98), hem=0.5, leg_hole=True),
    ]
    found = [uppers[int(rng.choice(5, p=[0.4, 0.1, 0.2, 0.2, 0.1]))]] if u() < 0.85 else []
    found += [lowers[int(u() < 0.4)]] if u() < 0.8 else []
    found += [Worn("socks", u(0.08, 0.38))] if u() < 0.3 else []
    found += [Worn("watch", u(0.008, 0.022), side)] if u() < 0.3 else []
    found += [Worn("ring", u(0.002, 0.004), side)] if u() < 0.1 else []
    found += [Worn("hat", u(0.025, 0.055))] if u() < 0.25 else []
    found += [Worn("glasses", u(0.018, 0.027))] if u() < 0.08 else []
    return tuple(found)


def _spots(rng: np.random.Generator) -> tuple[tuple[float, float, float], ...]:
    return tuple(
        (float(rng.uniform(-0.05, 0.05)), float(rng.uniform(-0.095, 0.06)),
         float(rng.uniform(0.0010, 0.0026)))
        for _ in range(int(rng.integers(1, 7)))
    )  # fmt: skip


def _colour(value: Floats) -> Colour:
    r, g, b = np.clip(value, 0.004, 0.92)
    return float(r), float(g), float(b)


def _lipstick(rng: np.random.Generator, tone: float) -> Colour:
    """Red, pink, coral, plum, brown, nearly black, or close to the skin's own."""
    own = base_colour(tone)
    choices = [
        (rng.uniform(0.25, 0.6), 0.01, 0.03),
        (rng.uniform(0.45, 0.8), rng.uniform(0.1, 0.3), rng.uniform(0.2, 0.4)),
        (0.65, 0.17, 0.1),
        (rng.uniform(0.08, 0.2), 0.01, 0.06),
        (rng.uniform(0.12, 0.3), 0.06, 0.04),
        (0.02, 0.01, 0.015),
        own * [1.05, 0.75, 0.75] * rng.uniform(0.8, 1.15),
    ]
    picked = choices[int(rng.choice(7, p=[0.22, 0.2, 0.1, 0.12, 0.1, 0.03, 0.23]))]
    return _colour(np.asarray(picked) * rng.uniform(0.8, 1.2, 3))


def _makeup(rng: np.random.Generator, tone: float) -> MakeUp:
    """Some of foundation, blusher, bronzer, eye shadow and liner, faint to strong."""
    u, own = rng.uniform, base_colour(tone)

    def sometimes(chance: float, most: float) -> float:
        return float(u(0.15, most)) if rng.random() < chance else 0.0

    blush = own * rng.choice([[1.1, 0.5, 0.55], [1.05, 0.6, 0.45], [0.85, 0.55, 0.5]])
    brown = own * [0.8, 0.66, 0.55]
    shadows = [own * u(0.25, 0.7) * [1.0, 0.85, 0.75], np.full(3, u(0.01, 0.1)),
               rng.uniform(0, 1, 3) ** 2 * u(0.2, 0.9), own * [1.1, 0.6, 0.7]]  # fmt: skip
    return MakeUp(
        foundation=sometimes(0.55, 0.85),
        foundation_colour=_colour(
            base_colour(tone + u(-1.0, 0.8)) * np.exp(rng.normal(0, 0.05, 3)) * [1, 0.97, u(0.7, 1)]
        ),
        blush=sometimes(0.7, 0.9),
        blush_colour=_colour(blush * u(0.9, 1.4)),
        bronzer=sometimes(0.35, 0.8),
        bronzer_colour=_colour(brown),
        shadow=sometimes(0.6, 1.0),
        shadow_colour=_colour(shadows[int(rng.choice(4, p=[0.4, 0.2, 0.25, 0.15]))]),
        shadow_height=float(u(0.006, 0.022)),
        liner=sometimes(0.5, 1.0),
        wing=float(u(0.002, 0.01)) if u() < 0.4 else 0.0,
    )


def _paints(rng: np.random.Generator) -> tuple[Colour, ...]:
    """Colours of paint: mostly plain and strong, white and black among them."""
    plain = [(0.85, 0.85, 0.85), (0.01, 0.01, 0.012), (0.6, 0.01, 0.02), (0.02, 0.08, 0.5),
             (0.02, 0.35, 0.05), (0.8, 0.6, 0.02), (0.6, 0.42, 0.12), (0.8, 0.2, 0.4)]  # fmt: skip
    picked = [np.array(plain[int(k)]) for k in rng.permutation(len(plain))[:3]]
    if rng.random() < 0.3:
        picked[0] = rng.uniform(0, 0.9, 3)
    return tuple(_colour(colour * rng.uniform(0.7, 1.1)) for colour in picked)


def _paintings(rng: np.random.Generator) -> tuple[Mark, ...]:
    """A painted face, small paintings on cheeks, or painted limbs and torso."""
    inks, found = _paints(rng), []
    for _ in range(int(rng.integers(1, 4))):
        seed, opacity = int(rng.integers(1 << 30)), float(rng.uniform(0.75, 1))
        where = rng.random()
        if where < 0.45:
            motif = str(rng.choice(["oval", "stripes", "halves", "dots"], p=[0.5, 0.15, 0.2, 0.15]))
            found.append(Mark(motif, "l-face", 0.24, inks, opacity, seed=seed, label="paint"))
        elif where < 0.7:
            motif = str(rng.choice(["small", "flower", "stripes", "dots", "solid", "blades"]))
            site = str(rng.choice(["l-", "r-"])) + str(rng.choice(["cheek", "forehead", "temple"]))
            found.append(Mark(motif, site, float(rng.uniform(0.025, 0.07)), inks, opacity,
                              turn=float(rng.normal(0, 30)), seed=seed, label="paint"))  # fmt: skip
        else:
            name = str(rng.choice([*STRETCHES, "chest", "belly", "back"]))
            motif = str(rng.choice(["stripes", "halves", "dots", "blades", "solid"]))
            wound = name in STRETCHES
            size = STRETCHES[name] if wound else 0.4
            found.append(Mark(motif, f"{rng.choice(['l', 'r'])}-{name}",
                              size * float(rng.uniform(0.5, 1)), inks, opacity, 0.2 + 0.3 * wound,
                              wound=wound, seed=seed, label="paint"))  # fmt: skip
    return tuple(found)


def _body_paint(rng: np.random.Generator) -> BodyPaint:
    inks = _paints(rng)
    groups = [("face", "ear", "neck", "torso", "arm", "hand", "leg", "foot"), ("face", "ear"),
              ("face", "ear", "neck"), ("torso", "arm"), ("arm", "hand"), ("hand",)]  # fmt: skip
    striped = rng.random() < 0.3
    return BodyPaint(
        inks[0], inks[1], groups[int(rng.choice(6, p=[0.35, 0.2, 0.15, 0.1, 0.1, 0.1]))],
        float(rng.choice([1.0, rng.uniform(0.4, 0.8)])),
        float(rng.uniform(0.02, 0.15)) if striped else 0.0,
        float(rng.uniform(0.02, 0.3)) if not striped and rng.random() < 0.5 else 0.0,
    )  # fmt: skip


def _scars(rng: np.random.Generator, tone: float) -> tuple[Mark, ...]:
    """A pale, pink or dark line; skin stays skin."""
    shift = [np.exp([0.2, 0.3, 0.35]), [1.0, 0.65, 0.65], [0.75, 0.6, 0.55]]
    tint = _colour(base_colour(tone) * shift[int(rng.integers(3))])
    name = str(rng.choice(["cheek", "forehead", "jaw", *SITES]))
    size = float(rng.uniform(0.02, 0.05 if name in ("cheek", "forehead", "jaw") else 0.12))
    return (Mark("scar", f"{rng.choice(['l', 'r'])}-{name}", size, (tint,), 0.8,
                 float(rng.uniform(0.1, 0.9)), float(rng.uniform(0, 360)),
                 float(rng.uniform(0, 360)), seed=int(rng.integers(99999)), label=""),)  # fmt: skip


def _birthmarks(rng: np.random.Generator) -> tuple[Birthmark, ...]:
    """Now and then a red or a brown patch that has been there from birth."""
    found = []
    for chance, red, brown in ((0.015, (0.6, 2.0), (0.0, 0.15)), (0.04, (0.0, 0.1), (0.3, 0.9))):
        if rng.random() < chance:
            name = str(rng.choice(["cheek", "temple", "jaw", "forehead", *SITES]))
            radius = float(rng.uniform(0.012, 0.05 if brown[0] == 0 else 0.03))
            found.append(
                Birthmark(
                    f"{rng.choice(['l', 'r'])}-{name}", radius, float(rng.uniform(*red)),
                    float(rng.uniform(*brown)), float(rng.uniform(0.1, 0.9)),
                    float(rng.uniform(0, 360)),
                )
            )  # fmt: skip
    return tuple(found)


SITES = {
    "upperarm": (0.18, (0.07, 0.16)),
    "forearm": (0.28, (0.05, 0.15)),
    "shin": (0.10, (0.07, 0.18)),
    "thigh": (0.06, (0.09, 0.24)),
    "chest": (0.10, (0.07, 0.22)),
    "back": (0.06, (0.10, 0.36)),
    "belly": (0.02, (0.06, 0.18)),
    "neck": (0.08, (0.035, 0.09)),
    "nape": (0.03, (0.03, 0.09)),
    "hand": (0.08, (0.025, 0.07)),
    "foot": (0.03, (0.03, 0.08)),
}
"""Places of marks: how often each is drawn and the range of heights there, metres."""

FLAT_MOTIFS = ("solid", "shaded", "flower", "blades", "letters", "mandala", "branch", "scene",
               "small", "blackwork", "band", "sleeve")  # fmt: skip
FLAT_CHANCE = (0.10, 0.16, 0.11, 0.13, 0.13, 0.08, 0.06, 0.10, 0.06, 0.02, 0.02, 0.03)
"""Motifs laid flat, and how often each is drawn."""

STRETCHES = {"upperarm": 0.30, "forearm": 0.27, "shin": 0.40, "thigh": 0.40}
"""Longest height of a picture wound round a limb, metres."""


def _tattoos(
    rng: np.random.Generator, tone: float, sites: dict[str, tuple[float, tuple[float, float]]]
) -> tuple[Mark, ...]:
    """One tattoo, a few, or many; mostly in one set of inks."""
    count = int(rng.choice([1, rng.integers(2, 5), rng.integers(5, 9)], p=[0.35, 0.35, 0.3]))
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
) -> Mark:
    chance = np.array([chance for chance, _ in sites.values()])
    name = str(rng.choice(list(sites), p=chance / chance.sum()))
    site = f"{rng.choice(['l', 'r'])}-{name}"
    seed = int(rng.integers(1 << 30))
    if name in STRETCHES and rng.random() < 0.45:
        motif = str(rng.choice(["band", "sleeve", "blackwork"], p=[0.35, 0.45, 0.2]))
        longest = STRETCHES[name]
        size = longest if motif == "sleeve" else longest * float(rng.uniform(0.1, 0.9))
        size *= float(rng.uniform(0.6, 1.0))
        return Mark(motif, site, size, inks, opacity, float(rng.uniform(0.3, 0.7)),
                      float(rng.uniform(0, 360)), 0.0, True, seed)  # fmt: skip
    motif = str(rng.choice(FLAT_MOTIFS, p=FLAT_CHANCE))
    size = float(rng.uniform(*sites[name][1])) * (0.55 if motif in ("small", "letters") else 1.0)
    if motif in ("band", "blackwork", "sleeve"):
        size *= 0.6
    return Mark(motif, site, size, inks, opacity, float(rng.uniform(0.05, 0.9)),
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
