"""Shape a body: sex, age, build, ancestry and many small features, as weights of shape targets."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .assets import Assets, Floats

FEATURE_FOLDERS = ("nose", "mouth", "chin", "cheek", "head", "forehead", "eyes", "ears", "neck")
"""Target folders from which small features are drawn."""

UNWANTED = ("head-age", "trans-", "pointed", "triangle", "eye-trans", "scale-depth", "eye-scale")
"""Features left out: they break the fit of eyes or hair, or look like no person."""


@dataclass(frozen=True)
class Build:
    """What shapes a body. Shares in [0, 1]; `ancestry` are the weights of three base shapes."""

    male: float
    old: float
    weight: float
    ancestry: tuple[float, float, float]
    features: dict[str, float] = field(default_factory=dict)
    expression: dict[str, float] = field(default_factory=dict)


def shaped(assets: Assets, build: Build) -> Floats:
    """Vertices (n, 3) of the base mesh shaped by `build`, in mesh units."""
    vertices = assets.base.vertices.copy()

    def add(name: str, amount: float) -> None:
        if abs(amount) > 1e-4:
            index, shift = assets.target(name)
            vertices[index] += amount * shift

    heavy = max(build.weight, 0.0)
    light = max(-build.weight, 0.0)
    for sex, sex_share in (("female", 1 - build.male), ("male", build.male)):
        for age, age_share in (("young", 1 - build.old), ("old", build.old)):
            share = sex_share * age_share
            for race, part in zip(("caucasian", "african", "asian"), build.ancestry, strict=True):
                add(f"macrodetails/{race}-{sex}-{age}", share * part)
            stem = f"macrodetails/universal-{sex}-{age}-averagemuscle"
            add(f"{stem}-averageweight", share * (1 - heavy - light))
            add(f"{stem}-maxweight", share * heavy)
            add(f"{stem}-minweight", share * light)
    for name, amount in build.features.items():
        add(name, amount)
    for unit, amount in build.expression.items():
        add(f"expression/units/caucasian/{unit}", amount)
    return vertices


def random_features(assets: Assets, rng: np.random.Generator, amount: float) -> dict[str, float]:
    """Small random features of the head, nearly symmetric; `amount` scales their strength."""
    features: dict[str, float] = {}
    for folder in FEATURE_FOLDERS:
        names = [n for n in assets.target_names(folder) if not any(u in n for u in UNWANTED)]
        names = [n for n in names if "/r-" not in n]
        for name in rng.choice(names, size=min(len(names), 4), replace=False):
            strength = float(np.clip(abs(rng.normal(0, 0.33)) * amount, 0, 0.8))
            features[str(name)] = strength
            if "/l-" in name:
                features[str(name).replace("/l-", "/r-")] = strength * float(rng.uniform(0.8, 1.0))
    for name in assets.target_names("asym"):
        if "breast" not in name and "trunk" not in name:
            features[name] = float(rng.uniform(0, 0.18))
    return features


def random_expression(rng: np.random.Generator) -> dict[str, float]:
    """A mild expression: neutral, smile, open laugh, squint or raised brows."""
    kind = rng.choice(["neutral", "smile", "laugh", "squint", "brows", "talk"])
    closure = float(rng.uniform(0, 0.2))
    units = {"eye-left-closure": closure, "eye-right-closure": closure}
    if kind in ("smile", "laugh"):
        amount = float(rng.uniform(0.3, 0.8))
        units |= {"mouth-corner-puller": amount, "mouth-part-later": 0.2 * amount}
    if kind in ("laugh", "talk"):
        units |= {"mouth-open": float(rng.uniform(0.15, 0.6))}
    if kind == "squint":
        units |= {"eye-left-slit": 0.6, "eye-right-slit": 0.6, "nose-compression": 0.3}
    if kind == "brows":
        raised = float(rng.uniform(0.2, 0.8))
        units |= {"eyebrows-left-up": raised, "eyebrows-right-up": raised}
    if rng.random() < 0.06:
        units |= {"eye-left-closure": 1.0, "eye-right-closure": 1.0}
    return units
