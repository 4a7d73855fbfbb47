"""Sunburn drawn on rendered skin, and what looks like it and is none.

A view shows people without a burn and keeps normal, place on the body, share of gloss and tone of
every pixel of skin. Here the sun reaches what faced it and earlier cloth did not cover, and blood
is added as optical density: new light = gloss + (light - gloss) exp(-density). The same shapes
filled with melanin make tanned skin with pale edges, which is no burn; so are parts of a body that
are redder or browner by nature, light of two colours, and shade that turns red at its edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional

from .frames import Framed
from .randomness import chance, cloudy, log_uniform, uniform
from .views import MOST_PEOPLE

MELANIN = (0.45, 0.80, 1.15)
BLOOD_LIGHT, BLOOD_DARK = (0.12, 0.66, 0.58), (0.26, 0.46, 0.42)
# Density of a unit of pigment in linear red, green and blue, as in the scene script: on the palest
# and on the deepest skin.

BURN_CHANCE = 0.5
# Share of pictures in which somebody is burnt.

PERSON_CHANCE = 0.85
# Share of the people in such a picture who are.

AMOUNTS = (0.2, 1.9)
# Units of blood that a burn adds, even in logarithm.

SEEN = 0.12
# Added density from which a burn is wholly a burn; less counts in part.

UNBURNT, LEAST_UNBURNT = 0.15, 0.15
# Share of a burn below which skin is unburnt, and share of visible skin of a person that must be:
# with less there is nothing to tell a burn by, and it is not asked for.

SHAPES = 5
# Pieces of earlier cloth tried on a picture; each is there with a chance of one in four.

SKIN_PARTS = 7
# Skin parts follow the background in the order of parts.


@dataclass
class Burn:
    """A burn on a batch of pictures.

    Attributes
    ----------
    ratio : Tensor, shape (N, 3, S, S)
        Burnt light over unburnt light.
    share : Tensor, shape (N, 1, S, S)
        How much a place is burnt, 0 to 1: added density over `SEEN`.
    known : Tensor, shape (N, 1, S, S)
        1 where that can be told, 0 on people who are burnt all over.
    """

    ratio: Tensor
    share: Tensor
    known: Tensor


def of_people(table: Tensor, who: Tensor) -> Tensor:
    """Value of each pixel's person; `table` has the shape (N, MOST_PEOPLE + 1), nobody first."""
    return torch.gather(table, 1, who.long().flatten(1)).view_as(who)


def of_parts(table: Tensor, part: Tensor, spread: int = 7) -> Tensor:
    """Value of each pixel's skin part, a little blurred; `table` is (N, SKIN_PARTS)."""
    count = table.shape[0]
    padded = torch.zeros(count, 19, device=table.device)
    padded[:, 1 : SKIN_PARTS + 1] = table
    value = torch.gather(padded, 1, part.long().clamp(0, 18).flatten(1)).view_as(part)
    skin = ((part >= 1) & (part <= SKIN_PARTS)).float()
    total = functional.avg_pool2d(value, spread, 1, spread // 2)
    return total / functional.avg_pool2d(skin, spread, 1, spread // 2).clamp(min=0.05)


def lit_from(front: Framed, low: float, high: float) -> Tensor:
    """1 where skin faces a random direction, softly; thresholds between `low` and `high`."""
    count = front.light.shape[0]
    towards = torch.randn(count, 3, device=front.light.device)
    towards[:, 2] = towards[:, 2].abs() * 0.7 + 0.2
    towards = functional.normalize(towards, dim=1)[..., None, None]
    facing = (front.normal * towards).sum(1, keepdim=True)
    edge = uniform(facing, low, high, count, 1, 1, 1)
    return torch.sigmoid((facing - edge) / log_uniform(facing, 0.05, 0.5, count, 1, 1, 1))


def cloth_cover(front: Framed) -> Tensor:
    """Where earlier cloth lay, 0 to 1: half spaces, strips and balls on the body at rest."""
    like = front.light
    count, size = like.shape[0], like.shape[-1]
    place = front.place
    # clothes are alike on both sides more often than not
    both = chance(like, 0.65, count, 1, 1)
    place = torch.cat([torch.where(both, place[:, 0].abs(), place[:, 0])[:, None], place[:, 1:]], 1)
    weight = front.skin[:, :, ::4, ::4].flatten(1) * (front.who[:, :, ::4, ::4].flatten(1) > 0)
    pick = torch.multinomial(weight + 1e-6, SHAPES, replacement=True)
    few = place[:, :, ::4, ::4].flatten(2)
    anchors = torch.gather(few, 2, pick[:, None].expand(-1, 3, -1))
    wobble = (cloudy(count, size, like) - 0.5) * 0.03
    stretch = torch.tensor([[1.0, 1.0, 3.0], [1.0, 0.5, 0.6], [3.0, 0.5, 0.7]], device=like.device)
    cover = torch.zeros_like(front.skin)
    for k in range(SHAPES):
        kind = torch.randint(0, 3, (count,), device=like.device)
        axis = torch.randn(count, 3, device=like.device) * stretch[kind]
        axis = functional.normalize(axis, dim=1)[..., None, None]
        away = place - anchors[:, :, k, None, None]
        along = (away * axis).sum(1, keepdim=True) + wobble * uniform(like, 0, 1.5, count, 1, 1, 1)
        reach = away.norm(dim=1, keepdim=True) + wobble
        soft = log_uniform(like, 0.0007, 0.025, count, 1, 1, 1)
        half = torch.sigmoid(along / soft)
        strip = torch.sigmoid((uniform(like, 0.004, 0.035, count, 1, 1, 1) - along.abs()) / soft)
        ball = torch.sigmoid((reach - uniform(like, 0.03, 0.15, count, 1, 1, 1)) / soft)
        which = torch.rand(count, 1, 1, 1, device=like.device)
        shape = torch.where(which < 0.45, half, torch.where(which < 0.75, strip, ball))
        cover = torch.maximum(cover, shape * chance(like, 0.25, count, 1, 1, 1))
    return cover


def reached_skin(front: Framed) -> Tensor:
    """What the sun reached, 0 to 1, on some parts of some people."""
    like = front.light
    count, size = like.shape[0], like.shape[-1]
    reached = lit_from(front, -0.8, 0.3)
    every = chance(like, 0.45, count, 1, 1, 1)
    reached = torch.where(every, torch.ones_like(reached), reached)
    parts = (chance(like, 0.6, count, SKIN_PARTS) | chance(like, 0.65, count, 1)).float()
    people = chance(like, PERSON_CHANCE, count, MOST_PEOPLE + 1).float()
    people[:, 0] = 0
    uneven = 1 + uniform(like, 0, 0.7, count, 1, 1, 1) * (cloudy(count, size, like) - 0.5) * 2
    where = of_parts(parts, front.part) * of_people(people, front.who)
    return reached * (1 - cloth_cover(front)) * where * uneven * front.skin.clamp(0, 1)


def pigment(front: Framed, light: tuple[float, ...], dark: tuple[float, ...]) -> Tensor:
    """Density (N, 3, S, S) of a unit of a pigment on each person's skin, with some spread."""
    count = front.light.shape[0]
    tone = functional.pad(front.tone, (1, 0), value=5.0)
    share = of_people(((tone - 4.5) / 4).clamp(0, 1), front.who)
    first, second = (torch.tensor(t, device=share.device)[:, None, None] for t in (light, dark))
    spread = torch.exp(torch.randn(count, 3, 1, 1, device=share.device) * 0.18)
    return ((1 - share) * first + share * second) * spread


def darkened(front: Framed, density: Tensor) -> Tensor:
    """Light with added density over light without: gloss stays."""
    diffuse = 1 - front.gloss.clamp(0, 0.9)
    return 1 - diffuse * (1 - torch.exp(-density))


def burnt(front: Framed, burn_chance: float = BURN_CHANCE) -> Burn:
    """A burn on some of the pictures."""
    burn = Burn(
        torch.ones_like(front.light), torch.zeros_like(front.skin), torch.ones_like(front.skin)
    )
    drawn = torch.nonzero(chance(front.light, burn_chance, front.light.shape[0]))[:, 0]
    if len(drawn):
        burn.ratio[drawn], burn.share[drawn], burn.known[drawn] = _burnt(front.chosen(drawn))
    return burn


def _burnt(front: Framed) -> tuple[Tensor, Tensor, Tensor]:
    """Ratio, share and where it is known of a burn on every picture."""
    like = front.light
    count = like.shape[0]
    dose = (log_uniform(like, *AMOUNTS, count, 1, 1, 1) * reached_skin(front)).clamp(0, 2.2)
    blood = pigment(front, BLOOD_LIGHT, BLOOD_DARK)
    brown = torch.tensor(MELANIN, device=like.device)[:, None, None]
    blood = blood + 0.10 * brown * uniform(like, 0, 1.5, count, 1, 1, 1)
    ratio = darkened(front, dose * blood)
    share = (-torch.log(ratio.clamp(min=1e-3)).amax(1, keepdim=True) / SEEN).clamp(0, 1)
    known = torch.ones_like(share)
    sure = (front.skin > 0.7).float()
    for number in range(1, MOST_PEOPLE + 1):
        mine = sure * (front.who == number)
        plain = (mine * (share < UNBURNT)).sum((1, 2, 3)) / mine.sum((1, 2, 3)).clamp(min=1)
        all_over = (plain < LEAST_UNBURNT).float()[:, None, None, None]
        known = known * (1 - all_over * (front.who == number))
    return ratio, share, known


def look_alikes(front: Framed) -> Tensor:
    """Factor (N, 3, S, S) of light by what is no burn: tan, nature, light of two colours."""
    like = front.light
    count = like.shape[0]
    brown = torch.tensor(MELANIN, device=like.device)[:, None, None]
    blood = pigment(front, BLOOD_LIGHT, BLOOD_DARK)
    density = torch.zeros_like(like)
    tanned = torch.nonzero(chance(like, 0.3, count))[:, 0]
    if len(tanned):
        tan = log_uniform(like, 0.08, 0.8, len(tanned), 1, 1, 1)
        density[tanned] = tan * reached_skin(front.chosen(tanned)) * brown
    nature = chance(like, 0.5, count, 1)
    redder = nature * torch.randn(count, SKIN_PARTS, device=like.device) * 0.13
    browner = nature * torch.randn(count, SKIN_PARTS, device=like.device) * 0.10
    density = density + of_parts(redder, front.part, 31) * blood
    density = density + of_parts(browner, front.part, 31) * brown
    mottle = chance(like, 0.4, count, 1, 1, 1) * uniform(like, 0, 0.4, count, 1, 1, 1)
    density = density + mottle * (cloudy(count, like.shape[-1], like) - 0.5) * blood
    skin = front.skin.clamp(0, 1)
    factor = darkened(front, density.clamp(-0.8, 1.2) * skin)
    # a second light of another colour from one side
    strength = chance(like, 0.35, count, 1, 1, 1) * uniform(like, 0, 1, count, 1, 1, 1)
    warm = torch.randn(count, 1, 1, 1, device=like.device)
    colour = torch.cat([0.30 * warm, 0.05 * torch.randn_like(warm), -0.30 * warm], 1)
    stage = chance(like, 0.08, count, 1, 1, 1)
    colour = torch.where(stage, torch.randn(count, 3, 1, 1, device=like.device) * 0.6, colour)
    return factor * torch.exp(strength * lit_from(front, -0.6, 0.6) * colour * (front.who > 0))


def red_shade(light: Tensor) -> Tensor:
    """Light that turns red towards and within shade, as skin lets red light through."""
    count = light.shape[0]
    level = functional.avg_pool2d(light.mean(1, keepdim=True), 9, 1, 4)
    middle = level.flatten(1).median(1)[0][:, None, None, None]
    shade = ((middle - level) / middle.clamp(min=1e-4)).clamp(0, 1)
    amount = chance(light, 0.4, count, 1, 1, 1) * uniform(light, 0, 1, count, 1, 1, 1)
    tint = torch.tensor([0.28, 0.0, -0.12], device=light.device)[:, None, None]
    return light * torch.exp(amount * shade * tint)


def warm_and_cold(light: Tensor) -> Tensor:
    """Light under a smooth field of warmer and colder places."""
    count, size = light.shape[0], light.shape[-1]
    field = functional.interpolate(
        torch.randn(count, 1, 3, 3, device=light.device), size=(size, size), mode="bicubic"
    )
    amount = chance(light, 0.4, count, 1, 1, 1) * uniform(light, 0, 0.35, count, 1, 1, 1)
    tint = torch.tensor([0.8, 0.0, -1.0], device=light.device)[:, None, None]
    return light * torch.exp(amount * field * tint)
