"""Draw people, clothes, poses, places and views at random, as varied as photographs are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .assets import Assets, Floats
from .backdrop import Backdrop
from .cloth import Cut, Fabric
from .complexions import random_complexion, random_tone
from .figure import Figure
from .hair import STYLES
from .held import Held
from .person import HairColour, PersonSpec
from .pose import Pose
from .shape import Build, random_expression, random_features
from .shoes import Shoes
from .skin import base_colour

Colour = tuple[float, float, float]

IRISES: tuple[Colour, ...] = (
    (0.085, 0.040, 0.016),
    (0.045, 0.022, 0.010),
    (0.16, 0.090, 0.030),
    (0.14, 0.13, 0.055),
    (0.13, 0.20, 0.26),
    (0.17, 0.20, 0.21),
)
"""Linear colours of brown, dark, amber, hazel, blue and grey irises; estimates by eye."""

WOMEN_HAIR = ("long", "long_back", "wavy", "curly", "bob", "fringe", "tail", "bun", "low_bun",
              "afro", "coily", "side", "crop", "buzz")  # fmt: skip
MEN_HAIR = ("crop", "side", "swept", "buzz", "short_coily", "coily", "receding", "thin", "none",
            "curly", "long_back", "bun")  # fmt: skip
SHORT_HAIR = ("crop", "side", "buzz", "short_coily", "receding", "thin")
COILY_HAIR = ("afro", "coily", "short_coily", "buzz", "bun", "none", "tail", "curly")


def random_person(assets: Assets, rng: np.random.Generator, usual: bool = False) -> PersonSpec:
    """An invented person: any skin tone, sex, age, build, hair and clothes.

    `usual` people are dressed from neck to foot, as most are whom photographers meet.
    """
    male = float(rng.choice([0.0, 1.0, rng.uniform(0.2, 0.8)], p=[0.46, 0.46, 0.08]))
    tone = random_tone(rng)
    old = float(np.clip(rng.beta(1, 1.6), 0, 1))
    deep = float(np.clip((tone - 5) / 4, 0, 1))
    mixed = rng.dirichlet([0.6, 0.5, 0.6])
    ancestry = (1 - 0.6 * deep) * mixed + 0.6 * deep * np.array([0, 1, 0])
    build = Build(
        male, old, float(np.clip(rng.normal(0.05, 0.35), -0.7, 0.9)),
        (float(ancestry[0]), float(ancestry[1]), float(ancestry[2])),
        random_features(assets, rng, float(rng.uniform(0.4, 1.1))), random_expression(rng),
    )  # fmt: skip
    hair = _hair(rng, male, deep)
    colour = _hair_colour(rng, deep, old)
    brow, brow_colour = _brow(rng, colour)
    beard = _beard(rng) if male > 0.5 and rng.random() < 0.5 else None
    stubble = float(rng.uniform(0.2, 1)) if male > 0.5 and not beard and rng.random() < 0.5 else 0.0
    complexion = random_complexion(rng, tone, male, stubble, colour.linear())
    hat = None
    if rng.random() < 0.13 and hair not in ("afro", "bun", "curly"):
        hat = (_cloth_colour(rng, tone), str(rng.choice(["peak", "round", "none"])))
    glasses = _glasses(rng, tone) if rng.random() < 0.3 else None
    headband = None
    if hat is None and rng.random() < 0.07:
        headband = (_cloth_colour(rng, tone), float(rng.uniform(0.008, 0.06)), float(rng.random()))
    clothes, names = random_clothes(rng, male, tone, usual)
    hood = scarf = None
    if rng.random() < 0.05 and hat is None:
        scarfed = rng.random() < 0.6
        hair = "none" if scarfed or hair not in SHORT_HAIR else hair
        wide = rng.uniform(0.056, 0.066) if scarfed else rng.uniform(0.068, 0.08)
        hood = (_fabric(rng, tone), (wide, 1.35 * wide), 0.010 if scarfed else 0.022)
        glasses, headband = None, None
    elif rng.random() < 0.07:
        scarf = (_fabric(rng, tone), float(rng.uniform(0.012, 0.035)))
    burn_cut = Cut("earlier", "scoop", strap=0.10, sleeve=float(rng.uniform(-0.02, 0.2)), hem=0.5)
    worn_jewellery = _jewellery(rng, tone, male)
    meta = {
        "monk": round(float(np.clip(tone, 1, 10)), 1),
        "sex": "f" if male < 0.25 else "m" if male > 0.75 else "mixed",
        "age": round(18 + 57 * old),
        "hair": hair,
        "beard": beard[0] if beard else "stubble" if stubble else None,
        "glasses": bool(glasses),
        "hat": bool(hat or headband),
        "clothes": names,
        "jewellery": sorted({str(item["kind"]) for item in worn_jewellery}),
    }
    return PersonSpec(
        build=build,
        complexion=complexion,
        hair=hair,
        hair_cut=_hair_cut(rng, hair),
        hair_colour=colour,
        brow=brow,
        brow_colour=brow_colour,
        beard=beard,
        iris=IRISES[int(rng.integers(2 if deep > 0.5 else len(IRISES)))],
        clothes=clothes,
        glasses=glasses,
        hat=hat,
        headband=headband,
        hood=hood,
        scarf=scarf,
        shoes=_shoes(rng, tone, usual),
        held=_held(rng, tone) if rng.random() < 0.15 else None,
        jewellery=worn_jewellery,
        sunlit=(float(rng.uniform(-0.8, 0.8)), float(rng.uniform(-0.9, 0.2)), 0.75),
        burn_cut=burn_cut if complexion.burn and rng.random() < 0.7 else None,
        meta=meta,
    )


def _hair(rng: np.random.Generator, male: float, deep: float) -> str:
    if rng.random() < 0.75 * deep:
        return str(rng.choice(COILY_HAIR))
    return str(rng.choice(MEN_HAIR if male > 0.5 else WOMEN_HAIR))


DYES: tuple[Colour, ...] = (
    (0.80, 0.15, 0.40),
    (0.05, 0.15, 0.60),
    (0.65, 0.03, 0.02),
    (0.30, 0.05, 0.50),
    (0.05, 0.40, 0.30),
    (0.85, 0.35, 0.05),
)
"""Linear colours of pink, blue, red, violet, green and orange dyed hair; estimates by eye."""


def _hair_colour(rng: np.random.Generator, deep: float, old: float) -> HairColour:
    melanin = float(rng.beta(1.3, 0.9)) * (1 - deep) + 0.95 * deep
    grey = float(np.clip(rng.normal(1.6 * old - 0.7, 0.3), 0, 1))
    if rng.random() < 0.06:
        melanin, grey = 0.05, 0.9
    dye = DYES[int(rng.integers(len(DYES)))] if rng.random() < 0.07 else None
    return HairColour(
        float(np.clip(0.12 + 0.88 * melanin, 0.1, 0.98)), float(rng.uniform(0.1, 0.9)), grey, dye
    )


def _hair_cut(rng: np.random.Generator, hair: str) -> dict[str, Any]:
    """How a head's hair differs from its style: length, parting, fringe, loose strands, tails."""
    style = STYLES.get(hair)
    if style is None:
        return {}
    u = rng.uniform
    longer = u(0.75, 1.4)
    cut: dict[str, Any] = {"length": (style.length[0] * longer, style.length[1] * longer)}
    if style.fall in ("down", "back", "gather") and style.length[1] > 0.09:
        cut["loose"] = float(rng.choice([0.01, u(0.03, 0.25)], p=[0.55, 0.45]))
        cut["over"] = u(0.004, 0.022)
        cut["before"] = float(rng.choice([0.0, u(0.4, 1.2)])) if style.fall == "down" else 0.0
    if style.parting is not None:
        cut["parting"] = u(-0.035, 0.035)
    if style.fall == "down" and rng.random() < 0.25:
        cut["fringe"] = u(0.2, 0.9)
    if style.fall == "gather" and not style.bun and rng.random() < 0.6:
        cut |= {"aside": u(0.03, 0.07) * float(rng.choice([-1, 1])), "gather": u(-0.06, 0.04),
                "paired": bool(rng.random() < 0.4)}  # fmt: skip
    if style.fall in ("out", "forward", "back") and style.length[1] > 0.02:
        cut["shaved"] = bool(rng.random() < 0.15)
    return cut


def _brow(rng: np.random.Generator, colour: HairColour) -> tuple[tuple[str, float], HairColour]:
    """Brows from nearly none to bushy, mostly a little darker than the hair, of any colour."""
    fullness = float(np.exp(rng.uniform(np.log(0.15), np.log(2.2))))
    melanin = float(np.clip(colour.melanin + rng.normal(0.05, 0.12), 0.08, 1.0))
    if rng.random() < 0.15:
        melanin = float(rng.uniform(0.08, 0.98))
    own = HairColour(melanin, colour.redness, 0.6 * colour.grey)
    return (str(rng.choice(["eyebrow001", "eyebrow010"])), fullness), own


def _beard(rng: np.random.Generator) -> tuple[str, float, float]:
    kinds = {"full": 0.38, "patchy": 0.18, "goatee": 0.16, "moustache": 0.14, "sides": 0.07,
             "strap": 0.07}  # fmt: skip
    kind = str(rng.choice(list(kinds), p=list(kinds.values())))
    length = float(np.exp(rng.uniform(np.log(0.003), np.log(0.05))))
    if kind in ("full", "goatee") and rng.random() < 0.12:
        length = float(rng.uniform(0.06, 0.14))
    return kind, length, float(rng.uniform(0.4, 1.5))


def _cloth_colour(rng: np.random.Generator, tone: float, near: float = 0.34) -> Colour:
    """Any colour; with the chance `near` one close to the skin's own."""
    if rng.random() < near:
        colour = base_colour(tone) * rng.uniform(0.8, 1.1) * rng.uniform(0.95, 1.05, 3)
    elif rng.random() < 0.35:
        colour = np.full(3, rng.choice([0.03, 0.1, 0.4, 0.8])) * rng.uniform(0.9, 1.0, 3)
    else:
        colour = rng.uniform(0, 1, 3) ** 2.0 * rng.uniform(0.3, 1)
    clipped = np.clip(colour, 0.01, 0.85)
    return float(clipped[0]), float(clipped[1]), float(clipped[2])


def _fabric(rng: np.random.Generator, tone: float, tight: bool = False) -> Fabric:
    """Any fabric; now and then sheer, or lace or mesh with holes.

    `tight` cloth has small folds, and is of skin's colour less often: it would pass for skin.
    """
    patterned = rng.random() < (0.15 if tight else 0.4)
    pattern = str(rng.choice(["stripes", "checks", "print"])) if patterned else "plain"
    below = 0.9 * base_colour(tone)
    near = 0.22 if tight else 0.34
    return Fabric(
        _cloth_colour(rng, tone, near), _cloth_colour(rng, tone), pattern,
        float(rng.uniform(0.4, 2.5)), float(rng.choice([0, 0.5], p=[0.8, 0.2])),
        folds=float(rng.uniform(0.1, 0.5) if tight else rng.choice([1.0, rng.uniform(0.1, 2.0)])),
        sheer=float(rng.uniform(0.2, 0.6)) if rng.random() < (0.12 if tight else 0.05) else 0.0,
        below=(float(below[0]), float(below[1]), float(below[2])),
        holes=float(rng.uniform(0.004, 0.014)) if rng.random() < 0.03 else 0.0,
    )  # fmt: skip


def _uppers(rng: np.random.Generator) -> dict[str, Cut]:
    """Garments for the upper body by name."""
    u = rng.uniform
    neck = str(rng.choice(["crew", "scoop", "vee", "boat"], p=[0.45, 0.25, 0.2, 0.1]))
    waist = u(0.75, 0.95)
    return {
        "tank": Cut("tank", "scoop", u(0.11, 0.15), u(-0.01, 0.03), waist, loose=u(0, 0.008)),
        "straps": Cut("straps", "deep", u(0.085, 0.11), 0.02, waist),
        "tee": Cut("tee", neck, None, u(0.06, 0.26), waist, offset=0.006, loose=u(0.004, 0.022)),
        "sleeves": Cut("sleeves", neck, None, u(0.24, 0.46), waist, offset=0.006,
                       loose=u(0.002, 0.02)),
        "long": Cut("long", neck, None, u(0.40, 0.56), waist, offset=0.006, loose=u(0.002, 0.04)),
        "coat": Cut("coat", neck, None, u(0.50, 0.56), u(0.3, 0.8), offset=0.01,
                    loose=u(0.015, 0.05), opened=float(rng.choice([0.0, u(0.01, 0.06)]))),
        "tight": Cut("tight", neck, None, u(0.15, 0.55), u(0.8, 1.05), mesh="body", offset=0.0015),
        "high": Cut("high", "high", None, u(0, 0.55), u(0.8, 1.0), offset=0.005, loose=u(0, 0.01),
                    collar=u(0.02, 0.075)),
        "open": Cut("open", neck, None, u(0.1, 0.55), waist, offset=0.008, loose=u(0.004, 0.02),
                    opened=u(0.03, 0.12)),
        "strapless": Cut("strapless", "strapless", None, 0.0, waist),
        "off_shoulder": Cut("off_shoulder", "strapless", None, u(0.15, 0.5), waist, offset=0.005),
        "bra": Cut("bra", str(rng.choice(["tank", "deep", "scoop"])), u(0.08, 0.13), 0.0,
                   u(1.08, 1.16)),
    }  # fmt: skip


def _lowers(rng: np.random.Generator) -> dict[str, Cut]:
    """Garments for the lower body by name."""
    u = rng.uniform
    top = u(0.92, 1.06)
    return {
        "shorts": Cut("shorts", top=top, hem=u(0.45, 0.72), offset=0.005, loose=u(0.002, 0.015)),
        "trousers": Cut("trousers", top=top, hem=u(0.03, 0.45), offset=0.005,
                        loose=float(rng.choice([u(0.002, 0.015), u(0.015, 0.05)]))),
        "leggings": Cut("leggings", top=top, hem=u(-0.1, 0.5), mesh="body", offset=0.0012),
        "briefs": Cut("briefs", top=u(0.86, 0.98), hem=0.5, leg_hole=True),
        "skirt": Cut("skirt", top=1.03, hem=u(0.2, 0.78), mesh="skirt", offset=0.004),
    }  # fmt: skip


UPPER_CHANCES = {
    True: {"tank": 0.18, "tee": 0.27, "sleeves": 0.12, "long": 0.13, "tight": 0.07, "high": 0.05,
           "open": 0.06, "none": 0.12},
    False: {"tank": 0.14, "straps": 0.15, "tee": 0.13, "sleeves": 0.1, "long": 0.08, "tight": 0.09,
            "high": 0.05, "open": 0.04, "strapless": 0.07, "off_shoulder": 0.06, "bra": 0.09},
}  # fmt: skip
"""How often men (True) and women wear each upper garment."""

LOWER_CHANCES = {
    True: {"shorts": 0.5, "trousers": 0.28, "leggings": 0.07, "briefs": 0.15},
    False: {"shorts": 0.26, "trousers": 0.18, "leggings": 0.15, "briefs": 0.2, "skirt": 0.21},
}
"""How often men (True) and women wear each lower garment."""


USUAL_UPPERS = {
    "tee": 0.27,
    "sleeves": 0.13,
    "long": 0.25,
    "high": 0.07,
    "open": 0.13,
    "coat": 0.15,
}
"""How often `usual` people wear each upper garment."""

USUAL_LOWERS = {
    True: {"shorts": 0.2, "trousers": 0.8},
    False: {"shorts": 0.12, "trousers": 0.48, "leggings": 0.08, "skirt": 0.32},
}
"""How often `usual` men (True) and women wear each lower garment."""


def random_clothes(
    rng: np.random.Generator, male: float, tone: float, usual: bool
) -> tuple[tuple[tuple[Cut, Fabric], ...], list[str]]:
    """Upper and lower garments or one piece, with stockings, socks and gloves now and then."""
    man = male > 0.5
    upper, lower = (
        str(rng.choice(list(chances[man]), p=list(chances[man].values())))
        for chances in (
            ({man: USUAL_UPPERS}, USUAL_LOWERS) if usual else (UPPER_CHANCES, LOWER_CHANCES)
        )
    )
    uppers, lowers = _uppers(rng), _lowers(rng)
    below = _fabric(rng, tone, lower == "leggings")
    above = (
        below
        if rng.random() < (0.5 if lower == "skirt" else 0.2)
        else _fabric(rng, tone, upper in ("tight", "bra"))
    )
    worn, names = [(lowers[lower], below)], [lower]
    if upper in ("straps", "tank", "strapless", "bra") and not man and rng.random() < 0.25:
        swim = Cut("swimsuit", str(uppers[upper].neck), uppers[upper].strap, 0.02, 0.5,
                   leg_hole=True)  # fmt: skip
        worn, names = [(swim, _fabric(rng, tone, True))], ["swimsuit"]
    elif upper != "none":
        worn.append((uppers[upper], above))
        names.append(upper)
        if upper == "open" and (not man or rng.random() < 0.5):
            worn.append((uppers["tank"], _fabric(rng, tone)))
    for name, cut in _close_things(rng).items():
        worn.append((cut, _fabric(rng, tone, True)))
        names.append(name)
    return tuple(worn), names


def _close_things(rng: np.random.Generator) -> dict[str, Cut]:
    """Tights, socks and gloves: what covers whole limbs close to the skin."""
    u = rng.uniform
    things = {}
    if rng.random() < 0.07:
        things["tights"] = Cut("tights", top=0.9, hem=-0.1, mesh="body", offset=0.0008)
    elif rng.random() < 0.2:
        things["socks"] = Cut("socks", top=float(rng.choice([u(0.08, 0.2), u(0.2, 0.75)])),
                              hem=-0.1, mesh="body", offset=0.0015)  # fmt: skip
    if rng.random() < 0.08:
        things["gloves"] = Cut("gloves", mesh="body", offset=0.0012, glove=u(0.2, 0.47),
                               fingerless=bool(rng.random() < 0.3))  # fmt: skip
    return things


def _shoes(rng: np.random.Generator, tone: float, usual: bool) -> Shoes | None:
    """Shoes of any kind; bare feet half the time, but seldom on `usual` people."""
    if rng.random() < (0.1 if usual else 0.5):
        return None
    kind = str(rng.choice(["shoe", "boot", "pump", "sandal"], p=[0.35, 0.15, 0.15, 0.35]))
    return Shoes(kind, _cloth_colour(rng, tone), _cloth_colour(rng, tone), float(rng.random()),
                 int(rng.integers(1, 4)))  # fmt: skip


def _held(rng: np.random.Generator, tone: float) -> Held:
    """A handle, a ball or a box of any colour."""
    kind = str(rng.choice(["bar", "ball", "box"], p=[0.5, 0.25, 0.25]))
    size = {"bar": (0.02, 0.05), "ball": (0.05, 0.22), "box": (0.01, 0.06)}[kind]
    wood = (0.45, 0.26, 0.13)
    colour = wood if kind == "bar" and rng.random() < 0.4 else _cloth_colour(rng, tone)
    return Held(kind, str(rng.choice(["l", "r"])), colour, float(rng.uniform(*size)),
                float(np.exp(rng.uniform(np.log(0.12), np.log(1.5 if kind == "bar" else 0.3)))),
                float(rng.uniform(0.2, 0.8)))  # fmt: skip


METALS: tuple[Colour, ...] = (
    (0.90, 0.60, 0.22),
    (0.80, 0.80, 0.82),
    (0.87, 0.53, 0.40),
    (0.75, 0.45, 0.18),
    (0.30, 0.30, 0.32),
)
"""Linear colours of gold, silver, rose gold, brass and blackened steel; estimates by eye."""

PEARL: Colour = (0.80, 0.72, 0.62)
"""Linear colour of a pearl; an estimate by eye."""


def _jewellery(rng: np.random.Generator, tone: float, male: float) -> tuple[dict[str, Any], ...]:
    """What six in ten people wear: one to six things, mostly of one metal."""
    if rng.random() > 0.6:
        return ()
    u = rng.uniform
    metal = METALS[int(rng.choice(len(METALS), p=[0.38, 0.27, 0.18, 0.1, 0.07]))]
    items: list[dict[str, Any]] = []
    if rng.random() < 0.6:
        items += _necklaces(rng, tone, metal)
    if rng.random() < (0.3 if male > 0.5 else 0.6):
        shape = str(rng.choice(["stud", "hoop", "drop"], p=[0.35, 0.4, 0.25]))
        hoop = shape == "hoop"
        items.append({
            "kind": "earrings", "metal": bool(rng.random() < 0.75), "hoop": hoop,
            "colour": metal if rng.random() < 0.75 else _cloth_colour(rng, tone),
            "size": float(np.exp(u(np.log(0.007), np.log(0.035)))) if hoop else u(0.002, 0.006),
            "drop": u(0.015, 0.07) if shape == "drop" else 0.0,
        })  # fmt: skip
    items += _on_hands(rng, tone, metal)
    if rng.random() < 0.12:
        place = str(rng.choice(["nose", "septum", "brow", "lip"], p=[0.6, 0.15, 0.13, 0.12]))
        items.append({"kind": "stud", "colour": metal, "place": place,
                      "side": int(rng.choice([-1, 1])), "size": u(0.001, 0.0028)})  # fmt: skip
    if male < 0.5 and rng.random() < 0.12:
        items.append({"kind": "clip", "colour": _cloth_colour(rng, tone), "size": u(0.02, 0.06),
                      "side": int(rng.choice([-1, 1])), "metal": False})  # fmt: skip
    return tuple(items)


def _necklaces(rng: np.random.Generator, tone: float, metal: Colour) -> list[dict[str, Any]]:
    """A choker, a chain, pearls or beads, or several chains one below the other."""
    u = rng.uniform
    items: list[dict[str, Any]] = []
    low = u(-0.035, -0.01) if rng.random() < 0.25 else u(0, 0.08)
    for _ in range(int(rng.choice([1, 2, 3], p=[0.65, 0.25, 0.1]))):
        beads = bool(rng.random() < 0.35)
        item = {"kind": "necklace", "colour": metal, "low": low, "beads": beads,
                "thick": float(np.exp(u(np.log(0.0005), np.log(0.003)))),
                "over": bool(rng.random() < 0.7)}  # fmt: skip
        if beads:
            item["colour"] = PEARL if rng.random() < 0.35 else _cloth_colour(rng, tone)
            item["thick"] = u(0.0015, 0.006)
        if low > 0 and rng.random() < 0.55:
            wide = u(0.003, 0.014)
            item["pendant"] = (wide, 0.0025, wide * float(rng.choice([0.5, 1, 1.8])))
            if rng.random() < 0.4:
                item["pendant_colour"] = _cloth_colour(rng, tone)
        items.append(item)
        low = max(low, 0) + u(0.02, 0.09)
    return items


def _on_hands(rng: np.random.Generator, tone: float, metal: Colour) -> list[dict[str, Any]]:
    """Rings, bracelets and bangles, arm bands, anklets, a watch."""
    u = rng.uniform
    items: list[dict[str, Any]] = []
    for side in "lr":
        if rng.random() < 0.4:
            fingers = rng.choice([2, 3, 4, 5], int(rng.integers(1, 4)), replace=False)
            items += [
                {"kind": "ring", "colour": metal, "side": side, "finger": int(finger),
                 "width": u(0.002, 0.008),
                 "stone": _cloth_colour(rng, tone) if rng.random() < 0.3 else None}
                for finger in fingers
            ]  # fmt: skip
        for place, chance in (("wrist", 0.4), ("forearm", 0.06), ("arm", 0.08), ("ankle", 0.15)):
            if rng.random() < chance:
                items += _bands(rng, tone, metal, place, side)
    if rng.random() < 0.4:
        metallic = bool(rng.random() < 0.4)
        items.append({
            "kind": "watch", "side": str(rng.choice(["l", "r"])), "metal": metallic,
            "colour": metal if metallic else _cloth_colour(rng, tone), "case": metal,
            "dial": tuple(float(c) for c in np.full(3, rng.choice([0.02, 0.75]))),
            "over": bool(rng.random() < 0.3),
        })  # fmt: skip
    return items


def _bands(
    rng: np.random.Generator, tone: float, metal: Colour, place: str, side: str
) -> list[dict[str, Any]]:
    """One band, or several bangles side by side."""
    u = rng.uniform
    items, shift = [], 0.0
    for _ in range(int(rng.choice([1, 2, 4], p=[0.6, 0.25, 0.15]))):
        shape = str(rng.choice(["wire", "flat", "beads", "cloth"], p=[0.35, 0.25, 0.25, 0.15]))
        width = {"wire": u(0.0012, 0.004), "beads": u(0.004, 0.010)}.get(shape, u(0.004, 0.022))
        items.append({
            "kind": "band", "place": place, "side": side, "width": width, "thick": u(0.0006, 0.004),
            "colour": metal if shape in ("wire", "flat") else _cloth_colour(rng, tone),
            "metal": shape in ("wire", "flat"), "beads": shape == "beads", "shift": shift,
            "tilt": float(rng.normal(0, 0.15)), "over": bool(rng.random() < 0.3),
        })  # fmt: skip
        shift -= width + u(0.001, 0.008)
    return items


def _glasses(rng: np.random.Generator, tone: float) -> dict[str, Any]:
    """Any glasses: metal, plastic or clear frames; sunglasses; low on the nose or pushed up."""
    u = rng.uniform
    metal = bool(rng.random() < 0.45)
    tint = float(rng.choice([0.0, u(0.05, 0.3), u(0.5, 0.9), 0.97], p=[0.58, 0.1, 0.12, 0.2]))
    return {
        "colour": METALS[int(rng.integers(len(METALS)))] if metal else _cloth_colour(rng, tone),
        "metal": metal, "tint": tint, "square": u(0, 1),
        "hue": tuple(float(h) for h in rng.uniform(0.4, 1, 3)) if tint else (1, 1, 1),
        "clear": bool(not metal and rng.random() < 0.3), "size": u(0.8, 1.2),
        "heavy": u(0.4, 1.0) if metal else u(0.6, 1.8),
        "placed": str(rng.choice(["eyes", "low", "top"], p=[0.76, 0.1, 0.14])),
    }  # fmt: skip


def reach(figure: Figure, side: int, target: Floats, out: float) -> tuple[Floats, Floats]:
    """Directions of upper and lower arm that bring the wrist near a rest point (two-bone IK).

    `side`: +1 left, -1 right; `target` in mesh axes (x left, y up, z front, units); `out`: how
    far the elbow swings outwards, -1 to 1.
    """
    vertices, assets = figure.vertices, figure.assets
    letter = "l" if side > 0 else "r"
    shoulder, elbow, wrist = (
        assets.joint(vertices, f"{letter}-{j}") for j in ("shoulder", "elbow", "hand")
    )
    upper, lower = np.linalg.norm(elbow - shoulder), np.linalg.norm(wrist - elbow)
    way = target - shoulder
    length = float(np.clip(np.linalg.norm(way), abs(upper - lower) + 0.05, 0.995 * (upper + lower)))
    way = way / np.linalg.norm(way)
    cosine = (upper**2 + length**2 - lower**2) / (2 * upper * length)
    pole = np.array([side * out, -1.0, -0.25])
    pole = pole - way * (pole @ way)
    pole /= np.linalg.norm(pole)
    first = way * cosine + pole * np.sqrt(max(0.0, 1 - cosine**2))
    second = way * length - first * upper
    return first, second / np.linalg.norm(second)


ARMS = {"down": 0.22, "hips": 0.08, "crossed": 0.10, "raised": 0.08, "face": 0.13,
        "before_face": 0.05, "hair": 0.07, "chest": 0.08, "front": 0.07, "wide": 0.05,
        "lap": 0.04, "behind": 0.03}  # fmt: skip
USUAL_ARMS = {"down": 0.55, "hips": 0.12, "crossed": 0.08, "chest": 0.05, "lap": 0.08,
              "behind": 0.07, "face": 0.05}  # fmt: skip
"""How people hold their arms, and how `usual` people do."""


def random_pose(
    rng: np.random.Generator,
    figure: Figure,
    head: tuple[float, float, float],
    hug: bool = False,
    usual: bool = False,
) -> tuple[Pose, str]:
    """A standing or sitting pose with the head turned as wanted; returns its name too.

    With `hug` an arm mostly lies round a neighbour; `usual` people stand upright and at ease.
    """
    kinds = USUAL_ARMS if usual else ARMS
    names = [str(rng.choice(list(kinds), p=list(kinds.values()))) for _ in "lr"]
    if "crossed" in names:
        names = ["crossed", "crossed"]
    if hug and rng.random() < 0.7:
        names[int(rng.integers(2))] = "round"
    arms = tuple(_arm(rng, figure, side, name) for side, name in zip((1, -1), names, strict=True))
    wild = 0.3 if usual else 1.0
    lean = tuple(float(wild * rng.normal(m, d)) for m, d in ((0, 10), (-2, 6), (0, 5)))
    roll = tuple(float(rng.choice([0, rng.uniform(-70, 70)])) for _ in "lr")
    pose = Pose(
        head, lean, arms, roll, tuple(_curl(rng) for _ in "lr"),  # type: ignore[arg-type]
        None if usual and rng.random() < 0.6 else _legs(rng),  # type: ignore[arg-type]
        spread=tuple(float(rng.choice([0, rng.uniform(0, 14)])) for _ in "lr"),  # type: ignore[arg-type]
        wrist=tuple(float(rng.choice([0, rng.uniform(-50, 50)])) for _ in "lr"),  # type: ignore[arg-type]
    )  # fmt: skip
    return pose, "+".join(names)


def _curl(rng: np.random.Generator) -> Floats:
    """Bend of five fingers in degrees: relaxed, a fist, or some of them pointing."""
    bend = np.full(5, rng.choice([rng.uniform(0, 45), rng.uniform(60, 76)], p=[0.8, 0.2]))
    pointing = rng.random(5) < (0.3 if rng.random() < 0.25 else 0.0)
    return np.where(pointing, 2.0, bend * rng.uniform(0.8, 1.1, 5))


def _arm(rng: np.random.Generator, figure: Figure, side: int, name: str) -> tuple[Floats, Floats]:
    eye = figure.assets.joint(figure.vertices, "l-eye" if side > 0 else "r-eye")
    spread = rng.normal(0, 0.12, 3)
    targets = {
        "face": eye
        + np.array([side * rng.uniform(-0.3, 0.7), rng.uniform(-2.6, -1.0), rng.uniform(0.5, 1.3)]),
        "hair": eye
        + np.array([side * rng.uniform(0.6, 1.4), rng.uniform(0.0, 1.2), rng.uniform(-1.2, 0.3)]),
        "chest": np.array(
            [side * rng.uniform(-0.3, 0.9), rng.uniform(3.0, 5.0), rng.uniform(1.6, 2.2)]
        ),
        "before_face": eye
        + np.array([side * rng.uniform(-0.6, 0.4), rng.uniform(-2.0, -0.4), rng.uniform(1.2, 2.4)]),
        "lap": np.array([side * rng.uniform(-0.2, 0.9), rng.uniform(-0.6, 0.8), 1.9]),
        "behind": np.array([side * rng.uniform(0.0, 0.8), rng.uniform(0.3, 1.6), -1.9]),
        "round": np.array([side * 4.2, rng.uniform(3.0, 4.4), rng.uniform(-0.8, 1.4)]),
        "hips": np.array([side * 2.1, 1.3, 0.2]),
        "crossed": np.array(
            [-side * rng.uniform(0.7, 1.2), rng.uniform(2.6, 3.4), 1.9 + 0.35 * side]
        ),
    }
    if name in targets:
        return reach(figure, side, targets[name] + spread, float(rng.uniform(0.1, 1.2)))
    directions = {
        "down": ((0.22, -1, 0.0), (0.12, -1, 0.22)),
        "raised": ((0.55, 0.85, 0.05), (rng.uniform(-0.6, 0.4), 1, 0.1)),
        "front": ((0.15, -0.25, 1), (-0.1, rng.uniform(-0.2, 0.8), 1)),
        "wide": ((1, rng.uniform(-0.5, 0.4), 0.1), (1, rng.uniform(-0.4, 1.0), 0.2)),
    }
    upper, lower = (np.array(d, float) + spread for d in directions[name])
    return upper * [side, 1, 1], lower * [side, 1, 1]


def _legs(rng: np.random.Generator) -> Any:
    if rng.random() < 0.45:
        return None
    if rng.random() < 0.3:
        across = float(rng.choice([0.2, -0.15], p=[0.75, 0.25]))
        legs = [((w, rng.uniform(-0.4, 0.5), 1.0), (0.1, -1.0, -0.3 + 1.1 * rng.random()))
                for w in (0.2, across)]  # fmt: skip
    else:
        legs = [
            ((0.12, -1.0, rng.normal(0, 0.22)), (0.10, -1.0, -0.1 - 0.3 * rng.random()))
            for _ in "lr"
        ]
    left, right = legs
    return (
        (np.array(left[0]), np.array(left[1])),
        (np.array(right[0]) * [-1, 1, 1], np.array(right[1]) * [-1, 1, 1]),
    )


def random_head(rng: np.random.Generator, usual: bool = False) -> tuple[float, float, float]:
    """Head turn against the chest: mostly mild, often far to a side, seldom on `usual` people."""
    if usual:
        yaw = float(rng.choice([rng.normal(0, 15), rng.uniform(-75, 75)], p=[0.8, 0.2]))
        return yaw, float(rng.normal(0, 6)), float(rng.normal(0, 5))
    yaw = float(rng.choice([rng.normal(0, 15), rng.uniform(-75, 75)], p=[0.55, 0.45]))
    return yaw, float(rng.normal(0, 14)), float(rng.normal(0, 9))


def random_ground(rng: np.random.Generator) -> Colour:
    """Colour of a floor: mostly earth, stone, sand or grass, now and then any."""
    usual = ((0.30, 0.30, 0.30), (0.10, 0.10, 0.10), (0.42, 0.32, 0.22), (0.10, 0.16, 0.05),
             (0.22, 0.13, 0.07), (0.45, 0.43, 0.38))  # fmt: skip
    if rng.random() < 0.25:
        colour = rng.uniform(0.05, 0.6, 3)
    else:
        colour = np.array(usual[int(rng.integers(len(usual)))]) * rng.uniform(0.6, 1.4)
    return float(colour[0]), float(colour[1]), float(colour[2])


def _any_palette(rng: np.random.Generator) -> tuple[Colour, Colour, Colour]:
    """Three colours from dark to bright, mostly greyish, some vivid."""
    vivid = np.sort(rng.uniform(0, 1, (3, 3)) ** 1.8, 0)
    grey = vivid.mean(1, keepdims=True) * rng.uniform(0.85, 1.15, 3)
    first, second, third = grey + float(rng.random() ** 1.5) * (vivid - grey)
    return tuple(first.tolist()), tuple(second.tolist()), tuple(third.tolist())


BACKDROP_CHANCES = {
    "foliage": 0.09, "water": 0.06, "sand": 0.08, "wood": 0.08, "brick": 0.08, "studio": 0.12,
    "blobs": 0.07, "noise": 0.05, "tiles": 0.05, "sky": 0.05, "grass": 0.05, "fur": 0.05,
    "leather": 0.05, "cardboard": 0.03, "leaves": 0.04, "crowd": 0.05,
}  # fmt: skip
"""How often each background is drawn."""


def random_backdrop(rng: np.random.Generator, tone: float) -> Backdrop:
    """Any background; a third of them in colours close to skin."""
    kind = str(rng.choice(list(BACKDROP_CHANCES), p=list(BACKDROP_CHANCES.values())))
    palettes: dict[str, tuple[Colour, Colour, Colour]] = {
        "foliage": ((0.02, 0.04, 0.01), (0.10, 0.20, 0.04), (0.45, 0.55, 0.20)),
        "water": ((0.02, 0.08, 0.12), (0.10, 0.25, 0.35), (0.75, 0.85, 0.90)),
        "sand": ((0.45, 0.32, 0.20), (0.62, 0.47, 0.32), (0.80, 0.66, 0.50)),
        "wood": ((0.10, 0.045, 0.02), (0.30, 0.15, 0.07), (0.55, 0.33, 0.18)),
        "brick": ((0.45, 0.36, 0.30), (0.35, 0.13, 0.08), (0.50, 0.24, 0.15)),
        "sky": ((0.30, 0.45, 0.75), (0.45, 0.60, 0.85), (0.95, 0.95, 0.95)),
        "grass": ((0.12, 0.09, 0.03), (0.42, 0.32, 0.13), (0.72, 0.60, 0.33)),
        "fur": ((0.08, 0.04, 0.02), (0.36, 0.21, 0.11), (0.72, 0.55, 0.38)),
        "leather": ((0.06, 0.025, 0.012), (0.24, 0.10, 0.045), (0.50, 0.27, 0.15)),
        "cardboard": ((0.30, 0.19, 0.10), (0.44, 0.29, 0.17), (0.56, 0.40, 0.25)),
        "leaves": ((0.20, 0.05, 0.02), (0.55, 0.22, 0.05), (0.75, 0.50, 0.15)),
    }
    if kind in palettes and rng.random() < 0.7:
        colours = palettes[kind]
    elif rng.random() < 0.45:
        skin = [base_colour(tone + d) * rng.uniform(0.7, 1.3) for d in (-1.0, 0.0, 1.0)]
        colours = tuple((float(c[0]), float(c[1]), float(c[2])) for c in skin)  # type: ignore[assignment]
    else:
        colours = _any_palette(rng)
    return Backdrop(
        kind, colours, float(rng.uniform(0.3, 1.4)), float(np.exp(rng.uniform(-1.2, 0.9))),
        float(rng.choice([0, 2, 6])), float(rng.uniform(0, 90)),
    )  # fmt: skip


@dataclass(frozen=True)
class Framing:
    """Name and height of the field of view in metres."""

    name: str
    height: tuple[float, float]


FRAMINGS = (
    (Framing("face", (0.24, 0.42)), 0.24),
    (Framing("bust", (0.42, 0.75)), 0.22),
    (Framing("half", (0.8, 1.2)), 0.11),
    (Framing("full", (1.75, 2.3)), 0.08),
    (Framing("arm", (0.3, 0.6)), 0.06),
    (Framing("hand", (0.2, 0.4)), 0.07),
    (Framing("leg", (0.4, 1.0)), 0.06),
    (Framing("foot", (0.25, 0.5)), 0.05),
    (Framing("torso", (0.4, 0.7)), 0.05),
    (Framing("back", (0.4, 0.9)), 0.06),
)
"""Framings with how often each is drawn."""

USUAL_FRAMINGS = tuple(
    (framing, share)
    for framing, share in zip((f for f, _ in FRAMINGS[:4]), (0.3, 0.27, 0.2, 0.23), strict=True)
)
"""Framings of `usual` pictures."""

AIMS = {
    "arm": ("elbow", "lowerarm"),
    "hand": ("hand-3", "hand"),
    "leg": ("knee", "shin"),
    "foot": ("ankle", "shin"),
    "torso": ("clavicle", "clavicle"),
    "back": ("clavicle", "clavicle"),
}
"""Joint that a framing of a part aims at, and the bone that carries it."""


@dataclass(frozen=True)
class Direction:
    """From where a camera looks, degrees: `around` a person (0 in front), `up` and its `roll`."""

    around: float
    up: float
    roll: float


def random_direction(rng: np.random.Generator, framing: str, usual: bool = False) -> Direction:
    """Mostly from in front at eye level; often from a side, behind, above, below or tilted.

    `usual` pictures are taken from in front or a side, upright.
    """
    if usual:
        around = rng.choice([rng.normal(0, 25), rng.uniform(-100, 100)], p=[0.8, 0.2])
        return Direction(float(around), float(rng.normal(3, 6)), float(rng.normal(0, 3)))
    u, normal = rng.uniform, rng.normal
    if framing == "back" or rng.random() < 0.1:
        around = 180 + normal(0, 35)
    else:
        around = rng.choice([normal(0, 30), u(-100, 100), u(-180, 180)], p=[0.55, 0.33, 0.12])
    up = normal(3, 13) if rng.random() < 0.75 else u(-45, 65)
    roll = normal(0, 7)
    if rng.random() < 0.14:
        roll = rng.choice([normal(90, 15), normal(-90, 15), u(-60, 60)])
    return Direction(float(around), float(up), float(roll))
