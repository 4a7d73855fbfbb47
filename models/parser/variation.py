"""Training pictures from rendered views: other surroundings, cloth, light, burns, cameras.

The views are few and clean; photographs are neither. First the scene-linear light of shape
(N, 3, H, W) changes, then the camera makes a picture of it, every amount drawn anew for each.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import torch
from torch import Tensor
from torch.nn import functional

from .burns import burnt, look_alikes, red_shade, warm_and_cold
from .camera import blurred_by, mildly_photographed, photographed, plain_picture
from .frames import Framed, framed, unframed
from .network import HEAD_STRIDE
from .randomness import chance, cloudy, log_uniform, uniform
from .textures import any_colours, collage, folds, surroundings, texture
from .views import Views

SKIN_FIRST, SKIN_LAST = 1, 7
# Parts that are skin.

HAIR_PARTS = (9, 13, 14)
# Brow, hair and beard: one colour on a person.

CLOTH = 17
# Part of clothes and hats.

OWN_GROUND, OTHERS_GROUND, SHAPES_GROUND = 0.45, 0.2, 0.2
# Shares of pictures whose people stand before what they were rendered with, before others, and
# before a collage of shapes; the rest before textures.

MILD = 0.75
# Share of pictures spared the harsh variations of the camera.

CREASED = 0.6
# Share of pictures whose cloth gets folds beside those that it was rendered with.

UNEVEN = 0.3
# Share of pictures whose skin has burns, tans or natural differences drawn on it.


@dataclass
class Batch:
    """Pictures with their truth.

    Attributes
    ----------
    picture : Tensor, shape (N, 3, S, S)
        sRGB-like values in [0, 1].
    part : Tensor of int64, shape (N, S/2, S/2)
        Part at the centre of each cell of the answer.
    skin, keep : Tensor, shape (N, S/2, S/2)
        Soft coverage in [0, 1].
    heads : Tensor, shape (N, M, 6)
        Left, top, right, bottom in pixels of `picture`, roll, yaw; NaN where there are fewer.
    """

    picture: Tensor
    part: Tensor
    skin: Tensor
    keep: Tensor
    heads: Tensor


def recoloured(scene: Framed) -> tuple[Tensor, Tensor]:
    """Light and cut-out with other cloth, hair and skin colours."""
    # the cut-out is the light itself inside of people, so both change by the same factors
    light, part = scene.cut_out, scene.part
    count, size = light.shape[0], light.shape[-1]
    cloth = (part == CLOTH).float()
    grey = light.mean(1, keepdim=True)
    level = (grey * cloth).sum((2, 3), keepdim=True) / cloth.sum((2, 3), keepdim=True).clamp(min=1)
    surface = texture(count, size, light)
    plain = chance(light, 0.5, count, 1, 1, 1)
    surface = torch.where(plain, surface.mean((2, 3), keepdim=True).expand_as(surface), surface)
    dressed = surface * (grey / level.clamp(min=1e-3)).clamp(max=4)
    tint = any_colours(count, light)[..., None, None]
    tinted = (
        light * (tint / tint.mean(1, keepdim=True)) * log_uniform(light, 0.4, 2, count, 1, 1, 1)
    )
    choice = torch.rand(count, 1, 1, 1, device=light.device)
    cloth_light = torch.where(choice < 0.35, dressed, torch.where(choice < 0.6, tinted, light))
    creased = torch.where(chance(light, CREASED, count, 1, 1, 1), folds(count, size, light), 1.0)
    light = light + cloth * (cloth_light * creased - light)
    hair = sum((part == p).float() for p in HAIR_PARTS)
    dye = log_uniform(light, 0.5, 2.0, count, 1, 1, 1) * torch.exp(
        torch.randn(count, 3, 1, 1, device=light.device) * 0.12
    )
    light = light * (1 + hair * chance(light, 0.5, count, 1, 1, 1) * (dye - 1))
    skin = ((part >= SKIN_FIRST) & (part <= SKIN_LAST)).float()
    tone = log_uniform(light, 0.75, 1.35, count, 1, 1, 1) * torch.exp(
        torch.randn(count, 3, 1, 1, device=light.device) * 0.05
    )
    changed = light * (1 + skin * (tone - 1))
    factor = changed / scene.cut_out.clamp(min=1e-4)
    return scene.light * factor.clamp(max=30), changed


def relit(light: Tensor) -> Tensor:
    """Light under a smooth field of coloured light and, at times, a cast shadow."""
    count, size = light.shape[0], light.shape[-1]
    field = functional.interpolate(
        torch.randn(count, 1, 3, 3, device=light.device), size=(size, size), mode="bicubic"
    )
    colour = functional.interpolate(
        torch.randn(count, 3, 2, 2, device=light.device), size=(size, size), mode="bilinear"
    )
    amount = chance(light, 0.5, count, 1, 1, 1) * uniform(light, 0, 0.5, count, 1, 1, 1)
    tint = chance(light, 0.3, count, 1, 1, 1) * uniform(light, 0, 0.2, count, 1, 1, 1)
    light = light * torch.exp(amount * field + tint * colour)
    edge = cloudy(count, size, light) + 0.5 * field
    softness = log_uniform(light, 4, 80, count, 1, 1, 1)
    shadow = torch.sigmoid((edge - uniform(light, 0.2, 0.8, count, 1, 1, 1)) * softness)
    depth = chance(light, 0.25, count, 1, 1, 1) * uniform(light, 0.2, 0.85, count, 1, 1, 1)
    return light * (1 - depth * shadow)


def composed(front: Framed, views: Views) -> Framed:
    """People in front of their own background, of other people, of shapes or of textures."""
    light, person = front.light, front.person
    count, size = light.shape[0], light.shape[-1]
    choice = torch.rand(count, device=light.device)
    reaches = (front.inside > 0.999).flatten(1).all(1)
    own = choice < OWN_GROUND
    others = ~own & (choice < OWN_GROUND + OTHERS_GROUND)
    shapes = ~others & (choice > 1 - SHAPES_GROUND)
    plain = ~others & ~shapes & ~(own & reaches)
    ground = light.clone()
    if shapes.any():
        ground[shapes] = collage(int(shapes.sum()), size, light)
    if plain.any():
        ground[plain] = surroundings(int(plain.sum()), size, light)
    several = max(1, int(others.sum()))
    behind = framed(views, torch.randint(0, len(views), (several,), device=light.device), size)
    behind = behind.chosen(torch.arange(int(others.sum()), device=light.device))
    ground[others] = behind.light
    soft = torch.nonzero(~own & chance(light, 0.4, count))[:, 0]
    ground[soft] = blurred_by(ground[soft], log_uniform(light, 0.7, 4.0, len(soft)))
    keeps = own[:, None, None, None] & (front.inside > 0.999)
    alpha = torch.where(keeps, torch.ones_like(person), person)
    mixed = torch.where(keeps, light, front.cut_out * alpha + ground * (1 - alpha))
    scene = replace(front, light=mixed, cut_out=mixed)
    uncovered = 1 - person[others]
    none = torch.full_like(behind.heads, float("nan"))
    heads = none.new_full((count, *none.shape[1:]), float("nan"))
    heads[others] = visible_heads(behind.heads, person[others])
    scene.part, scene.skin, scene.keep = front.part.clone(), front.skin.clone(), front.keep.clone()
    scene.part[others] = torch.where(uncovered > 0.5, behind.part, front.part[others])
    scene.skin[others] = front.skin[others] + behind.skin * uncovered
    scene.keep[others] = front.keep[others] + behind.keep * uncovered
    scene.heads = torch.cat([front.heads, heads], 1)
    return scene


def visible_heads(heads: Tensor, cover: Tensor) -> Tensor:
    """Heads less those of which more than half is covered."""
    size = cover.shape[-1]
    known = torch.nan_to_num(heads)
    spots = torch.tensor([0.25, 0.5, 0.75], device=cover.device)
    x = known[..., 0:1] + (known[..., 2:3] - known[..., 0:1]) * spots
    y = known[..., 1:2] + (known[..., 3:4] - known[..., 1:2]) * spots
    column = x[:, :, None, :].expand(-1, -1, 3, -1).long().clamp(0, size - 1)
    row = y[:, :, :, None].expand(-1, -1, -1, 3).long().clamp(0, size - 1)
    picture = torch.arange(len(cover), device=cover.device)[:, None, None, None]
    covered = cover[:, 0][picture, row, column].clamp(0, 1).mean((2, 3))
    return torch.where((covered < 0.5)[..., None], heads, torch.full_like(heads, float("nan")))


def occluded(scene: Framed) -> Framed:
    """Now and then something without skin lies in front."""
    count, size = scene.light.shape[0], scene.light.shape[-1]
    blob = cloudy(count, size, scene.light)
    over = (blob > uniform(scene.light, 0.6, 0.9, count, 1, 1, 1)) & chance(
        scene.light, 0.08, count, 1, 1, 1
    )
    free = (~over).float()
    return replace(
        scene,
        light=torch.where(over, texture(count, size, scene.light), scene.light),
        part=scene.part * free,
        skin=scene.skin * free,
        keep=scene.keep * free,
        person=scene.person * free,
        heads=visible_heads(scene.heads, over.float()),
    )


def varied_batch(views: Views, count: int, size: int, mild: float = MILD) -> Batch:
    """A batch of `count` varied pictures of `size` pixels.

    `size` must be a multiple of 32.
    """
    assert size % (4 * HEAD_STRIDE) == 0
    device = views.light.device
    front = framed(views, torch.randint(0, len(views), (count,), device=device), size)
    front.light, front.cut_out = recoloured(front)
    uneven = torch.nonzero(chance(front.light, UNEVEN, count))[:, 0]
    some = front.chosen(uneven)
    change = look_alikes(some) * burnt(some).ratio
    front.light[uneven] = some.light * change
    front.cut_out[uneven] = some.cut_out * change
    scene = occluded(composed(front, views))
    light = warm_and_cold(red_shade(relit(scene.light)))
    spared = chance(light, mild, count)
    picture = torch.empty_like(light)
    if spared.any():
        picture[spared] = mildly_photographed(light[spared])
    if not spared.all():
        picture[~spared], _ = photographed(light[~spared])
    return answered(picture, scene)


def plain_batch(views: Views, chosen: Tensor) -> Batch:
    """The chosen views as they are, for measuring."""
    scene = unframed(views, chosen)
    return answered(plain_picture(scene.light), scene)


def answered(picture: Tensor, scene: Framed) -> Batch:
    """The batch with its truth at half resolution: the part of one random pixel of each four."""
    row, column = torch.randint(0, 2, (2,)).tolist()
    soft = functional.avg_pool2d(torch.cat([scene.skin, scene.keep], 1), 2).clamp(0, 1)
    skin, keep = soft.unbind(1)
    part = scene.part[:, 0, row::2, column::2].round().long()
    return Batch(torch.round(picture * 255) / 255, part, skin, keep, scene.heads)
