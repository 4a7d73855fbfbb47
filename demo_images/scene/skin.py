"""The skin's colour as optical density: a base tone, melanin and haemoglobin on top of it.

Colour = base * exp(-(melanin * M + haemoglobin * H)), so sunburn, flush and blemishes move along
the haemoglobin direction, freckles and moles along the melanin one, on every skin tone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from . import decals, labels, makeup, motifs, zones
from .assets import Floats
from .cloth import Cut
from .decals import Mark
from .face_hair import beard_cover
from .figure import Figure
from .hair import scalp_cover
from .makeup import MakeUp
from .motifs import Colour
from .nodes import Nodes, material
from .zones import NO_REDNESS, Redness, Worn

MONK_TONES = (
    "f6ede4",
    "f3e7db",
    "f7ead0",
    "eadaba",
    "d7bd96",
    "a07e56",
    "825c43",
    "604134",
    "3a312a",
    "292420",
)
"""sRGB colours of the ten tones of the Monk Skin Tone Scale, published by its author in 2022."""

FAIR_DENSITY = (0.30, 0.46, 0.56)
"""Density added to the palest tones: the scale's paper-white swatches reflect more than skin."""

FAIR_SHARE = (1.0, 1.0, 1.0, 0.9, 0.7, 0.4, 0.2, 0.0, 0.0, 0.0)
"""How much of FAIR_DENSITY each tone takes."""

DARKEST = (0.050, 0.029, 0.020)
"""Least reflectance of skin in linear RGB, so that the deepest tones keep their warmth."""

MELANIN = (0.45, 0.80, 1.15)
"""Density a unit of melanin adds to linear red, green and blue."""

HAEMOGLOBIN_LIGHT = (0.12, 0.66, 0.58)
HAEMOGLOBIN_DARK = (0.26, 0.46, 0.42)
"""Density a unit of haemoglobin adds on the palest and the deepest tones.

On deep skin redness shows less as a hue and more as darkening, so red takes a larger share.
"""


INK_SHOWS = 0.28
"""Share of ink from which skin is a tattoo rather than skin."""


@dataclass(frozen=True)
class Birthmark:
    """A lasting flat patch with a ragged edge: where (as a tattoo), radius, blood and melanin."""

    site: str
    radius: float
    red: float
    brown: float
    along: float = 0.5
    about: float = 0.0


@dataclass(frozen=True)
class BodyPaint:
    """Paint on whole parts of the body: `cover` 0 to 1 of them, in two colours.

    The second colour lies in bands `stripes` metres apart, or else on a share `glitter` of specks.
    """

    colour: Colour
    second: Colour
    parts: tuple[str, ...]
    cover: float = 1.0
    stripes: float = 0.0
    glitter: float = 0.0


@dataclass(frozen=True)
class Complexion:
    """One person's skin. Amounts are about 1 for a strong but ordinary case.

    `tone`: 1 to 10 on the Monk scale, fractions allowed; `mottle`: natural unevenness;
    `flush`: red cheeks and nose; `blemishes`: x, height above the eyes and radius of each, metres;
    `matt`: without relief and without light that spreads under the skin, for small quick views;
    `undertone`: density added to the base colour's linear red, green and blue;
    `redness`: everyday redness; `tan`: melanin that the sun brought wherever none of `tan_covers`
    lay, over an edge `tan_edge` metres wide; `dark_joints`, `pale_palms`: melanin more and less;
    `mole_size`: times the usual; `birthmarks`: flat patches; `vitiligo`: share of unpigmented skin;
    `body_hair`: fine dark hair of limbs and chest; `stubble_kind`: where stubble grows;
    `stubble_grey`: how blue-grey it shows; `shaved`: shadow of a shaved scalp; `dark_rings`: under
    the eyes, times the usual; `areola`: its radius in metres, or 0 for none; `nostril_edge`: the
    lower, the wider nostrils, with how dark and how red they are.
    """

    tone: float
    undertone: tuple[float, float, float] = (0.0, 0.0, 0.0)
    mottle: float = 1.0
    flush: float = 1.0
    freckles: float = 0.0
    moles: float = 0.5
    burn: float = 0.0
    blemishes: tuple[tuple[float, float, float], ...] = ()
    marks: tuple[Mark, ...] = ()
    makeup: MakeUp | None = None
    body_paint: BodyPaint | None = None
    stubble: float = 0.0
    shine: float = 0.0
    lipstick: tuple[float, float, float] | None = None
    hair_colour: tuple[float, float, float] = (0.05, 0.03, 0.02)
    seed: float = 0.0
    relief: float = 1.0
    matt: bool = False
    redness: Redness = NO_REDNESS
    tan: float = 0.0
    tan_covers: tuple[Cut | Worn, ...] = ()
    tan_edge: float = 0.004
    dark_joints: float = 0.0
    pale_palms: float = 0.0
    mole_size: float = 1.0
    birthmarks: tuple[Birthmark, ...] = ()
    vitiligo: float = 0.0
    body_hair: float = 0.0
    stubble_kind: str = "full"
    stubble_grey: float = 0.0
    shaved: float = 0.0
    dark_rings: float = 1.0
    areola: float = 0.0
    nostril_edge: float = 0.5
    nostril_dark: float = 0.85
    nostril_red: float = 0.0

    @property
    def base(self) -> Floats:
        """Linear reflectance of this skin without blood and blotches."""
        return base_colour(self.tone) * np.exp(-np.array(self.undertone))


def base_colour(tone: float) -> Floats:
    """Linear Rec.709 reflectance of skin of a Monk tone (1 to 10), without blood and blotches."""

    def one(k: int) -> Floats:
        code = MONK_TONES[k]
        coded = np.array([int(code[i : i + 2], 16) / 255 for i in (0, 2, 4)])
        linear = np.where(coded > 0.04045, ((coded + 0.055) / 1.055) ** 2.4, coded / 12.92)
        return np.maximum(linear * np.exp(-np.array(FAIR_DENSITY) * FAIR_SHARE[k]), DARKEST)

    at = float(np.clip(tone, 1, 10)) - 1
    low = min(int(at), 8)
    return np.exp((1 - at + low) * np.log(one(low)) + (at - low) * np.log(one(low + 1)))


def haemoglobin(tone: float) -> Floats:
    """Density of a unit of haemoglobin in red, green, blue for a tone."""
    share = float(np.clip((tone - 4.5) / 4.0, 0, 1))
    return (1 - share) * np.array(HAEMOGLOBIN_LIGHT) + share * np.array(HAEMOGLOBIN_DARK)


def skin_attributes(figure: Figure, look: Complexion) -> dict[str, Floats]:
    """What the material reads of every vertex, for what this skin has."""
    found: dict[str, Floats] = {}
    if zones.any_of(look.redness):
        found |= zones.redness(figure, look.redness)
    if look.tan:
        found["shade"] = zones.shade(figure, look.tan_covers)
    if look.dark_joints:
        found["dark_joints"] = zones.dark_joints(figure)
    if look.pale_palms:
        found["palm"] = zones.palms(figure)
    if look.body_hair:
        found["hairy"] = zones.body_hair(figure)
    points = figure.points[: figure.body_size]
    if look.stubble_kind != "full":
        found["beard"] = beard_cover(figure, points, look.stubble_kind)
    if look.shaved:
        outward = ((points - figure.eye_level - [0, 0.09, 0.03]) * figure.normals).sum(1) > 0
        found["shaved"] = scalp_cover(figure, points, 0.0) * outward
    return found


def skin_material(figure: Figure, complexion: Complexion) -> Any:
    """Material of a body: reads the attributes rest, part, scalp, beard, burn of its mesh."""
    made, nodes = material("skin")
    rest = nodes.attribute("rest", "Vector")
    place = nodes.vector("ADD", rest, (complexion.seed, 2 * complexion.seed, 0)).outputs[0]
    masks = _masks(figure, nodes, complexion, place)
    red, brown = _pigments(figure, nodes, complexion, rest, place, masks)
    colour = _colour(nodes, complexion, red, brown, masks)
    colour = _drawn_on(figure, nodes, complexion, rest, colour, masks)
    depth: dict[str, Any] = {}
    if not complexion.matt:
        depth = {
            "Subsurface_Weight": 1.0,
            "Subsurface_Radius": (1.0, 0.35, 0.18),
            "Subsurface_Scale": 0.0016,
            "Normal": nodes.bump(_relief(nodes, place, masks, complexion), 0.00016),
        }
    shade = _roughness(figure, nodes, rest, place, masks, complexion)
    nodes.surface(
        nodes.principled(
            Base_Color=colour,
            Roughness=shade,
            Specular_IOR_Level=0.45,
            Coat_Weight=nodes.mul(masks["nail"], 0.5),
            **depth,
        )
    )
    _write_labels(nodes, masks)
    labels.write_place(nodes, rest)
    return made


def _masks(figure: Figure, nodes: Nodes, look: Complexion, place: Any) -> dict[str, Any]:
    uv = nodes.node("ShaderNodeUVMap").outputs[0]

    def painted(name: str) -> Any:
        return nodes.image(str(figure.assets.texture(name)), uv).outputs[0]

    nails = nodes.math("MAXIMUM", painted("mpfb_fingernails.jpg"), painted("mpfb_toenails.jpg"))
    part = nodes.attribute("part")
    masks = {
        "lip": nodes.step(painted("mpfb_lips.jpg"), 0.35, 0.65),
        "mouth": nodes.step(painted("mpfb_inside-mouth.jpg"), 0.4, 0.6),
        "ear": nodes.step(painted("mpfb_ears.jpg"), 0.4, 0.6),
        "lid": painted("mpfb_eyelids.jpg"),
        "nail": nodes.step(nails, 0.4, 0.6),
        "scalp": nodes.attribute("scalp"),
        "stubble": nodes.attribute("beard"),
        "part": part,
        "nostril": nodes.step(
            nodes.attribute("nostril"), 0.3 * look.nostril_edge, 1.7 * look.nostril_edge
        ),
        "tattoo": 0.0,
        "paint": 0.0,
    }
    return masks


def _pigments(
    figure: Figure, nodes: Nodes, look: Complexion, rest: Any, place: Any, masks: dict[str, Any]
) -> tuple[Any, Any]:
    """Haemoglobin and melanin over the body, about zero where skin has its base tone."""
    eye, nose, mouth = figure.eye_level, figure.nose_tip, figure.mouth
    apart = abs(figure.eyes[0][0])
    cheeks = [figure.surface(s * apart * 1.25, eye[2] - 0.040) for s in (1, -1)]
    under = [figure.surface(s * apart * 0.95, eye[2] - 0.017) for s in (1, -1)]
    chin = figure.surface(0, mouth[2] - 0.035)
    elbows = [figure.joint("l-elbow"), figure.joint("r-elbow")]
    hands = [figure.joint("l-hand-2"), figure.joint("r-hand-2")]
    blotches = nodes.add(
        nodes.mul(nodes.noise(place, 14, 3), 0.7),
        nodes.mul(nodes.noise(place, 70, 3), 0.6),
        nodes.mul(nodes.noise(place, 350, 2), 0.6),
        nodes.mul(nodes.noise(place, 800, 2), 0.5),
    )
    flush = nodes.add(
        *[nodes.mul(nodes.blob(rest, c, 0.026), 0.34) for c in cheeks],
        nodes.mul(nodes.blob(rest, nose, 0.014), 0.40),
        nodes.mul(nodes.blob(rest, chin, 0.014), 0.16),
        nodes.mul(masks["ear"], 0.40),
    )
    red = nodes.add(
        0.10,
        nodes.mul(blotches, look.mottle),
        nodes.mul(flush, look.flush),
        *[nodes.mul(nodes.blob(rest, c, 0.013), 0.18 * look.dark_rings) for c in under],
        *[nodes.mul(nodes.blob(rest, c, 0.045), 0.22) for c in elbows + hands],
        nodes.mul(masks["mouth"], 1.2),
        nodes.mul(masks["nail"], 0.35),
    )
    brown = nodes.add(
        nodes.mul(nodes.noise(place, 9, 3), 0.30 * look.mottle),
        nodes.mul(nodes.noise(place, 45, 4), 0.26 * look.mottle),
        nodes.mul(nodes.noise(place, 220, 3), 0.40 * look.mottle),
        *[nodes.mul(nodes.blob(rest, c, 0.012), 0.10 * look.dark_rings) for c in under],
        nodes.mul(masks["lid"], 0.10),
        nodes.mul(masks["nail"], -0.15),
    )
    if look.moles:
        spots = nodes.cells(place, 26)
        chance = nodes.parts(spots.outputs["Color"])[0]
        mole = nodes.step(spots.outputs["Distance"], 0.040 * look.mole_size, 0.022 * look.mole_size)
        mole = nodes.mul(mole, nodes.above(chance, 1 - 0.3 * look.moles))
        brown = nodes.add(brown, nodes.mul(mole, 1.1))
        labels.write_truth(nodes, "mole", mole)
    freckle = _freckles(nodes, look, rest, place, masks, cheeks, nose)
    blemish = _blemishes(figure, nodes, look, rest)
    burn = _burn(nodes, place, look, masks)
    labels.write_truth(nodes, "freckle", freckle)
    labels.write_truth(nodes, "blemish", blemish)
    labels.write_truth(nodes, "burn", burn)
    masks["blemish"] = blemish
    red = nodes.add(red, nodes.mul(burn, 1.05 * look.burn), nodes.mul(blemish, 1.7))
    brown = nodes.add(brown, nodes.mul(freckle, 0.62), nodes.mul(burn, 0.10 * look.burn))
    red, brown = _everyday(figure, nodes, look, place, masks, red, brown)
    lips = nodes.add(1.0, nodes.mul(nodes.noise(place, 300, 2), 0.5))
    return nodes.add(red, nodes.mul(masks["lip"], lips)), nodes.add(
        brown, nodes.mul(masks["lip"], 0.22)
    )


def _everyday(
    figure: Figure,
    nodes: Nodes,
    look: Complexion,
    place: Any,
    masks: dict[str, Any],
    red: Any,
    brown: Any,
) -> tuple[Any, Any]:
    """Haemoglobin and melanin with everyday redness, tan, dark joints, palms and birthmarks."""
    if zones.any_of(look.redness):
        cloud = nodes.add(1.0, nodes.mul(nodes.noise(place, 16, 2), 0.9))
        red = nodes.add(red, nodes.mul(nodes.attribute("redness"), cloud))
        if look.redness.veins:
            ridge = nodes.math("ABSOLUTE", nodes.noise(place, 330, 3))
            broken = nodes.step(nodes.noise(place, 120, 1), -0.08, 0.12)
            fine = nodes.mul(nodes.step(ridge, 0.05, 0.0), broken)
            red = nodes.add(red, nodes.mul(nodes.attribute("veined"), nodes.add(fine, 0.3), 0.7))
        if look.redness.throat:
            spots = nodes.cells(place, 260)
            some = nodes.step(nodes.parts(spots.outputs["Color"])[0], 0.5, 0.9)
            spots = nodes.mul(nodes.step(spots.outputs["Distance"], 0.45, 0.1), some)
            red = nodes.add(red, nodes.mul(nodes.attribute("speckled"), spots, 0.9))
        if look.redness.marbling:
            warp = nodes.mul(nodes.noise(place, 30, 2), 0.03)
            bent = nodes.vector("ADD", place, nodes.joined(warp, warp, warp)).outputs[0]
            net = nodes.cells(bent, 42, "DISTANCE_TO_EDGE")
            livid = nodes.mul(nodes.step(net.outputs["Distance"], 0.35, 0.0),
                              nodes.attribute("marbled"))  # fmt: skip
            red = nodes.add(red, nodes.mul(livid, 0.8))
            brown = nodes.add(brown, nodes.mul(livid, 0.12))
    if look.tan:
        edge = 0.5 * look.tan_edge
        sunned = nodes.step(nodes.attribute("shade"), edge, -edge)
        cloud = nodes.add(1.0, nodes.mul(nodes.noise(place, 10, 2), 0.5))
        spared = nodes.without(nodes.math("MAXIMUM", masks["lip"], masks["nail"]))
        brown = nodes.add(brown, nodes.mul(sunned, cloud, spared, look.tan))
    if look.dark_joints:
        brown = nodes.add(brown, nodes.mul(nodes.attribute("dark_joints"), look.dark_joints))
    if look.pale_palms:
        brown = nodes.add(brown, nodes.mul(nodes.attribute("palm"), -look.pale_palms))
    if look.areola:
        for middle in zones.nipples(figure):
            apart = nodes.vector("DISTANCE", nodes.attribute("rest", "Vector"), middle)
            disc = nodes.step(apart.outputs["Value"], look.areola, 0.75 * look.areola)
            red = nodes.add(red, nodes.mul(disc, 0.6))
            brown = nodes.add(brown, nodes.mul(disc, 0.55))
    for mark in look.birthmarks:
        middle = decals.spot(figure, mark.site, mark.along, mark.about)
        apart = nodes.vector("DISTANCE", nodes.attribute("rest", "Vector"), middle)
        ragged = nodes.mul(nodes.noise(place, 1.2 / mark.radius, 4), 1.3 * mark.radius)
        patch = nodes.step(nodes.add(apart.outputs["Value"], ragged), mark.radius,
                           0.85 * mark.radius)  # fmt: skip
        red = nodes.add(red, nodes.mul(patch, mark.red))
        brown = nodes.add(brown, nodes.mul(patch, mark.brown))
    return red, brown


def _freckles(
    nodes: Nodes,
    look: Complexion,
    rest: Any,
    place: Any,
    masks: dict[str, Any],
    cheeks: list[Floats],
    nose: Floats,
) -> Any:
    """Small irregular spots, thick over cheeks and nose, sparse elsewhere on sunlit skin."""
    if not look.freckles:
        return 0.0
    zone = nodes.math(
        "MAXIMUM",
        nodes.math(
            "MAXIMUM", nodes.blob(rest, cheeks[0], 0.034), nodes.blob(rest, cheeks[1], 0.034)
        ),
        nodes.math("MAXIMUM", nodes.mul(nodes.blob(rest, nose, 0.03), 0.9), 0.12),
    )
    warp = nodes.noise(place, 300, 2)
    found = 0.0
    for scale, offset in ((230, 0.0), (390, 1.7)):
        spots = nodes.cells(nodes.vector("ADD", place, (offset, 0, offset)).outputs[0], scale)
        chance, size, _ = nodes.parts(spots.outputs["Color"])
        wanted = nodes.math("SUBTRACT", 1.0, nodes.mul(zone, 0.8 * look.freckles))
        here = nodes.math("GREATER_THAN", chance, wanted)
        reach = nodes.add(0.10, nodes.mul(size, 0.20))
        near = nodes.add(spots.outputs["Distance"], nodes.mul(warp, 0.16))
        spot = nodes.step(nodes.math("DIVIDE", near, reach), 1.3, 0.5)
        spot = nodes.mul(here, spot, nodes.add(0.35, nodes.mul(size, 0.65)))
        found = nodes.math("MAXIMUM", found, spot)
    return nodes.mul(found, nodes.without(masks["lip"]))


def _blemishes(figure: Figure, nodes: Nodes, look: Complexion, rest: Any) -> Any:
    found: Any = 0.0
    ragged = nodes.mul(nodes.noise(rest, 500, 1), 0.0012) if look.blemishes else 0.0
    for x, height, radius in look.blemishes:
        centre = figure.surface(x, figure.eye_level[2] + height)
        distance = nodes.add(nodes.vector("DISTANCE", rest, centre).outputs["Value"], ragged)
        halo = nodes.mul(nodes.step(distance, 2.4 * radius, 0.6 * radius), 0.45)
        core = nodes.mul(nodes.step(distance, 1.2 * radius, 0.3 * radius), 0.55)
        found = nodes.math("MAXIMUM", found, nodes.add(halo, core))
    return found


def _burn(nodes: Nodes, place: Any, look: Complexion, masks: dict[str, Any]) -> Any:
    """Sunburn: what the sun reached, softly uneven; nails, lips and inner skin do not burn."""
    if not look.burn:
        return 0.0
    reached = nodes.add(nodes.attribute("burn"), nodes.mul(nodes.noise(place, 22, 3), 0.28))
    shown = nodes.step(reached, 0.12, 0.85)
    shown = nodes.mul(shown, nodes.step(nodes.attribute("covered"), 0.003, -0.006))
    for spared in ("lip", "nail", "mouth", "nostril"):
        shown = nodes.mul(shown, nodes.without(masks[spared]))
    return shown


def _colour(nodes: Nodes, look: Complexion, red: Any, brown: Any, masks: dict[str, Any]) -> Any:
    base, blood = look.base, haemoglobin(look.tone)
    parts = []
    for k in range(3):
        density = nodes.add(nodes.mul(brown, MELANIN[k]), nodes.mul(red, float(blood[k])))
        reflected = nodes.math("EXPONENT", nodes.mul(density, -1.0))
        parts.append(nodes.math("MINIMUM", nodes.mul(reflected, float(base[k])), 0.92))
    colour = nodes.colour(parts)
    if look.lipstick:
        colour = nodes.mix(nodes.mul(masks["lip"], 0.85), colour, look.lipstick)
    dark = tuple(0.6 * c for c in look.hair_colour)
    if look.vitiligo:
        colour = _unpigmented(nodes, look, colour, masks)
    if look.body_hair:
        colour = nodes.mix(nodes.mul(_fine_hair(nodes, masks), look.body_hair), colour, dark)
    colour = nodes.mix(nodes.mul(masks["scalp"], 0.90), colour, look.hair_colour)
    under_skin = 0.3 * base + 0.25 * np.array(dark)
    grey = float(under_skin.mean()) * np.array([0.82, 0.96, 1.12])
    shadow = (1 - look.stubble_grey) * under_skin + look.stubble_grey * grey
    if look.shaved:
        colour = nodes.mix(nodes.mul(nodes.attribute("shaved"), look.shaved), colour, shadow)
    if look.stubble:
        grain = nodes.add(
            0.75, nodes.mul(nodes.noise(nodes.attribute("rest", "Vector"), 900, 1), 1.4)
        )
        tint = nodes.mul(masks["stubble"], 0.42 * look.stubble, grain)
        colour = nodes.mix(tint, colour, shadow)
    inner = 0.06 * base * np.exp(-look.nostril_red * np.array([-0.9, 0.3, 0.3]))
    colour = nodes.mix(nodes.mul(masks["nostril"], look.nostril_dark), colour, tuple(inner))
    return colour


def _unpigmented(nodes: Nodes, look: Complexion, colour: Any, masks: dict[str, Any]) -> Any:
    """Colour with pale patches of sharp wavy edge, alike on both sides of the body."""
    x, y, z = nodes.split(nodes.attribute("rest", "Vector"))
    same = nodes.joined(nodes.math("ABSOLUTE", x), y, nodes.add(z, look.seed))
    cloud = nodes.noise(same, 11, 3)
    patch = nodes.step(cloud, 0.22 - 0.25 * look.vitiligo, 0.235 - 0.25 * look.vitiligo)
    patch = nodes.mul(patch, nodes.without(masks["scalp"]), nodes.without(masks["lip"]), 0.92)
    pale = base_colour(min(look.tone, 2.0)) * np.exp(-0.4 * haemoglobin(2.0))
    return nodes.mix(patch, colour, tuple(pale))


def _fine_hair(nodes: Nodes, masks: dict[str, Any]) -> Any:
    """Share of thin hair lying along the limbs."""
    x, y, z = nodes.split(nodes.attribute("rest", "Vector"))
    arm = nodes.is_index(masks["part"], labels.CLASSES.index("arm"))
    outward = nodes.math("ABSOLUTE", x)
    along = nodes.add(z, nodes.mul(arm, nodes.add(nodes.mul(outward, -0.7), nodes.mul(z, -0.3))))
    across = nodes.add(outward, nodes.mul(arm, nodes.add(z, nodes.mul(outward, -0.3)), 0.7))
    streaks = nodes.noise(
        nodes.joined(nodes.mul(across, 700.0), nodes.mul(y, 700.0), nodes.mul(along, 60.0)), 1, 1
    )
    return nodes.mul(nodes.step(streaks, -0.02, 0.16), nodes.attribute("hairy"))


def _drawn_on(
    figure: Figure, nodes: Nodes, look: Complexion, rest: Any, colour: Any, masks: dict[str, Any]
) -> Any:
    """The colour with make-up, paint and tattoos over it; adds to the masks of the last two."""
    if not (look.makeup or look.body_paint or look.marks):
        return colour
    part = masks["part"]
    bare = nodes.mul(nodes.without(masks["nail"]), nodes.without(nodes.above(masks["scalp"], 0.5)))
    for name in ("lip", "nostril", "mouth"):
        bare = nodes.mul(bare, nodes.without(masks[name]))

    def put(ink: Any, share: Any, opacity: float, label: str) -> None:
        nonlocal colour
        share = nodes.mul(share, bare)
        colour = nodes.mix(nodes.mul(share, opacity), colour, ink)
        if label:
            masks[label] = nodes.math("MAXIMUM", masks[label], nodes.above(share, INK_SHOWS))

    if look.makeup:
        at = makeup.place(figure)
        pictures = makeup.draw(figure, look.makeup, look.base)
        for picture, label in zip(pictures, ("", "paint"), strict=True):
            if picture[..., 3].any():
                put(*decals.lay(nodes, rest, part, picture, at), 1.0, label)
    if look.body_paint:
        put(*_body_paint(nodes, look, rest, part), 0.93, "paint")
    for mark in look.marks:
        picture = motifs.draw(mark.motif, mark.inks, mark.seed)
        at = decals.projection(figure, mark)
        put(*decals.lay(nodes, rest, part, picture, at), mark.opacity, mark.label)
    return colour


def _body_paint(nodes: Nodes, look: Complexion, rest: Any, part: Any) -> tuple[Any, Any]:
    """Colour and cover of large painted areas: flat, streaked, striped or glittering."""
    paint = look.body_paint
    assert paint is not None
    cloud = nodes.noise(nodes.vector("ADD", rest, (look.seed, 0, 0)).outputs[0], 7, 3)
    edge = 0.45 - 0.9 * paint.cover
    share = nodes.mul(
        nodes.step(cloud, edge, edge + 0.02),
        nodes.add(*[nodes.is_index(part, labels.CLASSES.index(name)) for name in paint.parts]),
    )
    if paint.stripes:
        bent = nodes.add(nodes.split(rest)[2], nodes.mul(cloud, 0.03))
        bands = nodes.math("SINE", nodes.mul(bent, 2 * np.pi / paint.stripes))
        second = nodes.step(bands, -0.1, 0.1)
    else:
        fine = nodes.cells(rest, 700)
        second = nodes.above(nodes.parts(fine.outputs["Color"])[0], 1 - paint.glitter)
    return nodes.mix(second, paint.colour, paint.second), share


def _relief(nodes: Nodes, place: Any, masks: dict[str, Any], look: Complexion) -> Any:
    """Height in tenths of a millimetre: fine skin lines, pores, folds of lips, raised blemishes."""
    lines = nodes.step(nodes.cells(place, 1500, "DISTANCE_TO_EDGE").outputs["Distance"], 0.0, 0.25)
    fine = nodes.step(nodes.cells(place, 2300).outputs["Distance"], 0.0, 0.6)
    pores = nodes.step(nodes.cells(place, 900).outputs["Distance"], 0.10, 0.32)
    rough = nodes.noise(place, 420, 4, 0.65)
    skin = nodes.add(
        nodes.mul(lines, 0.30), nodes.mul(fine, 0.25), nodes.mul(pores, 0.45), nodes.mul(rough, 2.0)
    )
    mapping = nodes.node("ShaderNodeMapping")
    nodes.feed(place, mapping.inputs[0])
    mapping.inputs["Scale"].default_value = (900, 120, 160)
    folds = nodes.mul(nodes.noise(mapping.outputs[0], 1, 2), 4.0)
    flat = nodes.without(nodes.math("MAXIMUM", masks["lip"], masks["nail"]))
    return nodes.add(
        nodes.mul(skin, flat, look.relief),
        nodes.mul(folds, masks["lip"]),
        nodes.mul(masks["blemish"], 4.0),
    )


def _roughness(
    figure: Figure, nodes: Nodes, rest: Any, place: Any, masks: dict[str, Any], look: Complexion
) -> Any:
    forehead = figure.surface(0, figure.eye_level[2] + 0.05)
    return nodes.math(
        "MAXIMUM",
        0.18,
        nodes.add(
            0.50 - 0.14 * look.shine,
            nodes.mul(nodes.noise(place, 160, 3), 0.22),
            nodes.mul(nodes.noise(place, 1100, 2), 0.30),
            nodes.mul(nodes.blob(rest, figure.nose_tip, 0.022), -0.07),
            nodes.mul(nodes.blob(rest, forehead, 0.035), -0.05),
            nodes.mul(masks["lip"], -0.14),
            nodes.mul(masks["nail"], -0.15),
        ),
    )


def _write_labels(nodes: Nodes, masks: dict[str, Any]) -> None:
    """Hand the whole pixel out: painted things first, then parts of the face, then body parts."""
    shares: dict[str, Any] = {}
    left: Any = 1.0
    hairy = nodes.above(masks["scalp"], 0.5)
    for name, mask in (
        ("tattoo", masks["tattoo"]),
        ("paint", masks["paint"]),
        ("nail", masks["nail"]),
        ("lip", masks["lip"]),
        ("mouth", masks["mouth"]),
        ("nostril", masks["nostril"]),
        ("hair", hairy),
        ("ear", masks["ear"]),
    ):
        shares[name] = nodes.mul(left, mask)
        left = nodes.mul(left, nodes.without(mask))
    for name in ("face", "neck", "torso", "arm", "hand", "leg", "foot"):
        here = nodes.is_index(masks["part"], labels.CLASSES.index(name))
        shares[name] = nodes.mul(left, here)
    labels.write(nodes, shares)


def stone_material(colour: tuple[float, float, float]) -> Any:
    """Material of a statue: background, whatever its shape."""
    made, nodes = material("stone")
    place = nodes.node("ShaderNodeNewGeometry").outputs["Position"]
    grain = nodes.add(0.9, nodes.mul(nodes.noise(place, 30, 5), 0.5))
    nodes.surface(
        nodes.principled(
            Base_Color=nodes.colour([nodes.mul(grain, c) for c in colour]), Roughness=0.7
        )
    )
    return made
