"""Turns rendered light into varied pictures as cameras and phones make them, on the GPU.

The training views are few and clean; photographs are neither. First the scene-linear light of shape
(N, 3, H, W) changes (framing, backgrounds, cloth, light), then the camera (exposure, white balance,
tone, noise, sharpening, compression), with every amount drawn anew for each picture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional

from .network import HEAD_STRIDE
from .views import Views

SKIN_FIRST, SKIN_LAST = 1, 7
# Parts that are skin.

HAIR_PARTS = (9, 13, 14)
# Brow, hair and beard: one colour on a person.

CLOTH = 17
# Part of clothes and hats.

LUMINANCE = (0.2126, 0.7152, 0.0722)
# Rec. 709 weights of luminance.


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


# ---------------------------------------------------------------------------------- random numbers


def uniform(like: Tensor, low: float, high: float, *shape: int) -> Tensor:
    """Uniform numbers of `shape` on the device of `like`."""
    return torch.rand(*shape, device=like.device) * (high - low) + low


def log_uniform(like: Tensor, low: float, high: float, *shape: int) -> Tensor:
    """Numbers whose logarithm is uniform."""
    return torch.exp(uniform(like, math.log(low), math.log(high), *shape))


def chance(like: Tensor, probability: float, *shape: int) -> Tensor:
    """Booleans that are true with a probability."""
    return torch.rand(*shape, device=like.device) < probability


# ---------------------------------------------------------------------------------------- textures


def cloudy(count: int, size: int, like: Tensor, channels: int = 1) -> Tensor:
    """Fractal noise in about [0, 1], shape (count, channels, size, size)."""
    fall = uniform(like, 0.4, 0.95, count, 1, 1, 1)
    total = torch.zeros(count, channels, 2, 2, device=like.device)
    weight_sum = torch.zeros(count, 1, 1, 1, device=like.device)
    for octave in range(7):
        # each octave is laid over the coarser ones at its own resolution, which is quick
        cells = min(size, 2 << octave)
        if cells > total.shape[-1]:
            total = functional.interpolate(
                total, size=(cells, cells), mode="bicubic", align_corners=False
            )
        total = total + torch.rand_like(total) * fall**octave
        weight_sum += fall**octave
    if size > total.shape[-1]:
        total = functional.interpolate(
            total, size=(size, size), mode="bicubic", align_corners=False
        )
    return ((total / weight_sum - 0.5) * 2.2 + 0.5).clamp(0, 1)


def skin_like_colours(count: int, like: Tensor) -> Tensor:
    """Linear colours near skin of every tone, wood, sand and leather too, shape (count, 3)."""
    level = log_uniform(like, 0.03, 0.75, count)
    red_to_green = uniform(like, 1.15, 2.3, count)
    green_to_blue = uniform(like, 1.05, 2.2, count)
    colour = torch.stack([level, level / red_to_green, level / red_to_green / green_to_blue], 1)
    return colour


def any_colours(count: int, like: Tensor) -> Tensor:
    """Linear colours, a good third of them near skin, the others free, shape (count, 3)."""
    grey = log_uniform(like, 0.02, 1.0, count, 1)
    free = grey * (1 + uniform(like, 0.0, 1.0, count, 1) * uniform(like, -0.9, 0.9, count, 3))
    near = chance(like, 0.4, count, 1)
    return torch.where(near, skin_like_colours(count, like), free).clamp(0.003, 1.2)


def pattern(count: int, size: int, like: Tensor) -> Tensor:
    """Clouds, stripes, checks or grain in [0, 1], shape (count, 1, size, size)."""
    clouds = cloudy(count, size, like)
    axis = torch.linspace(-1, 1, size, device=like.device)
    angle = uniform(like, 0, math.pi, count, 1, 1)
    across = torch.cos(angle) * axis[None, None, :] + torch.sin(angle) * axis[None, :, None]
    along = torch.cos(angle) * axis[None, :, None] - torch.sin(angle) * axis[None, None, :]
    frequency = log_uniform(like, 4, 120, count, 1, 1)
    warp = log_uniform(like, 0.02, 3.0, count, 1, 1) * clouds[:, 0] * 2 * math.pi
    sharp = log_uniform(like, 0.6, 8.0, count, 1, 1)
    first = torch.sigmoid(sharp * torch.sin(frequency * across + warp))
    second = torch.sigmoid(sharp * torch.sin(frequency * along + warp))
    kind = torch.rand(count, 1, 1, device=like.device)
    mixed = torch.where(kind < 0.4, clouds[:, 0], torch.where(kind < 0.75, first, first * second))
    return mixed[:, None]


def texture(count: int, size: int, like: Tensor) -> Tensor:
    """Coloured surfaces in linear light, shape (count, 3, size, size)."""
    where = pattern(count, size, like)
    first, second = any_colours(count, like), any_colours(count, like)
    close = chance(like, 0.5, count, 1)
    second = torch.where(close, first * log_uniform(like, 0.5, 2.0, count, 1), second)
    surface = first[..., None, None] * (1 - where) + second[..., None, None] * where
    shade = 0.4 + 1.2 * cloudy(count, size, like)
    return surface * shade


def surroundings(count: int, size: int, like: Tensor) -> Tensor:
    """Two textures that meet at an edge, straight or ragged, at times lit very differently."""
    axis = torch.linspace(-1, 1, size, device=like.device)
    angle = uniform(like, 0, 2 * math.pi, count, 1, 1)
    side = torch.cos(angle) * axis[None, None, :] + torch.sin(angle) * axis[None, :, None]
    ragged = chance(like, 0.5, count, 1, 1) * 1.5
    side = side + ragged * (cloudy(count, size, like)[:, 0] - 0.5)
    beyond = (side > uniform(like, -0.6, 0.9, count, 1, 1))[:, None]
    other = texture(count, size, like) * log_uniform(like, 0.3, 3.0, count, 1, 1, 1)
    return torch.where(beyond, other, texture(count, size, like))


# ----------------------------------------------------------------------------------------- framing


def framing(views: Views, chosen: Tensor, size: int) -> tuple[Tensor, Tensor]:
    """Affine maps from output to source pixels, and the zoom of each.

    Half of the pictures are framed around one of their heads at a random size, as the detail pass
    sees them; the others keep their frame in some crop. One in ten is turned anyhow, the rest by a
    few degrees; one in two is mirrored.

    Returns
    -------
    matrix : Tensor, shape (N, 2, 3)
        Source pixel = matrix @ (output column, output row, 1).
    zoom : Tensor, shape (N,)
        Output pixels for one source pixel.
    """
    count, source = len(chosen), views.light.shape[-1]
    like = views.light
    heads = views.heads[chosen]
    order = torch.rand(heads.shape[:2], device=like.device)
    order = torch.where(torch.isnan(heads[:, :, 0]), torch.full_like(order, -1), order)
    head = heads[torch.arange(count, device=like.device), order.argmax(1)]
    has_head = ~torch.isnan(head[:, 0])
    around_head = has_head & chance(like, 0.5, count)
    head = torch.nan_to_num(head)
    centre = (head[:, :2] + head[:, 2:4]) / 2
    extent = (head[:, 2:4] - head[:, :2]).amax(1).clamp(min=8)
    head_zoom = (log_uniform(like, 0.17, 1.1, count) * size / extent).clamp(0.35, 3.0)
    frame_zoom = log_uniform(like, 0.6, 1.7, count) * size / source
    zoom = torch.where(around_head, head_zoom, frame_zoom)
    half = size / 2 / zoom
    room = (source / 2 - half).abs()[:, None]
    free_centre = source / 2 + room * uniform(like, -1, 1, count, 2)
    centre = torch.where(
        around_head[:, None],
        centre + half[:, None] * uniform(like, -0.5, 0.5, count, 2),
        free_centre,
    )
    turn = torch.randn(count, device=like.device) * 12
    turn = torch.where(chance(like, 0.1, count), uniform(like, -180, 180, count), turn)
    turn = torch.deg2rad(turn)
    stretch = torch.exp(torch.randn(count, device=like.device) * 0.06)
    mirror = torch.where(chance(like, 0.5, count), -1.0, 1.0)
    # source = centre + R(-turn) @ diag(mirror * stretch, 1 / stretch) / zoom @ (output - size / 2)
    cosine, sine = torch.cos(turn), torch.sin(turn)
    step_x, step_y = mirror * stretch / zoom, 1 / stretch / zoom
    matrix = torch.stack(
        [
            torch.stack([cosine * step_x, sine * step_y], 1),
            torch.stack([-sine * step_x, cosine * step_y], 1),
        ],
        1,
    )
    shift = centre - (matrix @ torch.full((2, 1), (size - 1) / 2, device=like.device))[..., 0]
    return torch.cat([matrix, shift[..., None]], 2), zoom


def sampled(source: Tensor, matrix: Tensor, size: int, mode: str, padding: str) -> Tensor:
    """Source read at every pixel of an output of `size`, in source pixel coordinates."""
    extent = source.shape[-1]
    step = torch.arange(size, device=source.device, dtype=torch.float32)
    row, column = torch.meshgrid(step, step, indexing="ij")
    points = torch.stack([column, row, torch.ones_like(row)], -1)
    place = torch.einsum("nij,hwj->nhwi", matrix, points)
    grid = (place + 0.5) * 2 / extent - 1
    return functional.grid_sample(source, grid, mode, padding, align_corners=False)


def moved_heads(heads: Tensor, matrix: Tensor, size: int) -> Tensor:
    """Heads of the source in the pixels of the output; those whose centre is outside become NaN."""
    linear = matrix[:, :, :2]
    inverse = torch.linalg.inv(linear)
    centre = (heads[..., :2] + heads[..., 2:4]) / 2
    half = (heads[..., 2:4] - heads[..., :2]) / 2
    new_centre = torch.einsum("nij,nmj->nmi", inverse, centre - matrix[:, None, :, 2])
    # box around the ellipse that fills the old box
    new_half = torch.einsum("nij,nmj->nmi", inverse**2, half**2).sqrt()
    mirror = torch.sign(torch.linalg.det(linear))[:, None]
    # direction of the head's own top in the picture, clockwise from up by its roll
    roll = torch.deg2rad(heads[..., 4])
    top = torch.stack([torch.sin(roll), -torch.cos(roll)], -1)
    new_top = torch.einsum("nij,nmj->nmi", inverse, top)
    new_roll = torch.rad2deg(torch.atan2(new_top[..., 0], -new_top[..., 1]))
    moved = torch.cat(
        [
            new_centre - new_half,
            new_centre + new_half,
            new_roll[..., None],
            (heads[..., 5] * mirror)[..., None],
        ],
        -1,
    )
    inside = ((new_centre > 0) & (new_centre < size - 1)).all(-1, keepdim=True)
    return torch.where(inside, moved, torch.full_like(moved, float("nan")))


@dataclass
class Framed:
    """Views after framing; all but `heads` have the shape (N, 1 or 3, S, S).

    `cut_out` is the light of the people alone, grown a little beyond their edge, so that none of
    their background shows in front of another; `person` is 1 where there is anybody, `inside` where
    the view reaches.
    """

    light: Tensor
    cut_out: Tensor
    part: Tensor
    skin: Tensor
    keep: Tensor
    person: Tensor
    inside: Tensor
    heads: Tensor


def cut_outs(light: Tensor, person: Tensor) -> Tensor:
    """Light with the people's own colours carried over their edge, where pixels are mixed."""
    pad = functional.pad(1 - person, (1, 1, 1, 1), mode="replicate")
    inner = 1 - functional.max_pool2d(pad, 3, 1)
    weight = functional.avg_pool2d(inner, 5, 1, 2)
    spread = functional.avg_pool2d(light * inner, 5, 1, 2) / weight.clamp(min=1e-4)
    return torch.where((inner > 0) | (weight < 0.02), light, spread)


def framed(views: Views, chosen: Tensor, size: int) -> Framed:
    """The chosen views in random frames; outside of a view there is nobody."""
    matrix, zoom = framing(views, chosen, size)
    light = 4 * views.light[chosen].float() ** 2
    blurred = functional.avg_pool2d(functional.pad(light, (1, 1, 1, 1), mode="replicate"), 3, 1)
    light = torch.where((zoom < 0.75)[:, None, None, None], blurred, light)
    part = views.part[chosen][:, None].float()
    both = torch.cat([light, cut_outs(light, (part > 0).float())], 1)
    light, cut_out = sampled(both, matrix, size, "bilinear", "border").split(3, 1)
    soft = torch.stack([views.skin[chosen], views.keep[chosen]], 1).float() / 255
    soft = torch.cat([soft, (part > 0).float(), torch.ones_like(part)], 1)
    soft = sampled(soft, matrix, size, "bilinear", "zeros")
    part = sampled(part, matrix, size, "nearest", "zeros")
    heads = moved_heads(views.heads[chosen], matrix, size)
    return Framed(light, cut_out, part, *soft.split(1, 1), heads)


# --------------------------------------------------------------------------------- scene variation


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
    light = light + cloth * (cloth_light - light)
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


def composed(front: Framed, behind: Framed) -> Framed:
    """People of one view in front of a texture, of another view, or of their own background."""
    light = front.light
    count, size = light.shape[0], light.shape[-1]
    choice = torch.rand(count, 1, 1, 1, device=light.device)
    person = front.person
    own = (choice < 0.45) & (front.inside > 0.999)
    with_others = (choice >= 0.45) & (choice < 0.7)
    ground = torch.where(with_others, behind.light, surroundings(count, size, light))
    ground = torch.where(own, light, ground)
    blur = chance(light, 0.4, count, 1, 1, 1)
    ground = torch.where(blur & ~own, blurred_by(ground, 2.5), ground)
    alpha = torch.where(own, torch.ones_like(person), person)
    mixed = torch.where(own, light, front.cut_out * alpha + ground * (1 - alpha))
    others = with_others & (person < 0.5)
    heads = visible_heads(behind.heads, (~with_others).float().expand_as(person) + person)
    return Framed(
        mixed,
        mixed,
        torch.where(others, behind.part, front.part),
        torch.where(with_others, front.skin + behind.skin * (1 - person), front.skin),
        torch.where(with_others, front.keep + behind.keep * (1 - person), front.keep),
        person,
        front.inside,
        torch.cat([front.heads, heads], 1),
    )


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
    return Framed(
        torch.where(over, texture(count, size, scene.light), scene.light),
        scene.cut_out,
        scene.part * free,
        scene.skin * free,
        scene.keep * free,
        scene.person * free,
        scene.inside,
        visible_heads(scene.heads, over.float()),
    )


# ------------------------------------------------------------------------------------------ camera


def blurred_by(light: Tensor, sigma: float | Tensor) -> Tensor:
    """Gaussian blur, one standard deviation in pixels for all or one for each picture."""
    count, channels = light.shape[:2]
    width = torch.as_tensor(sigma, device=light.device, dtype=torch.float32).reshape(-1, 1)
    width = width.expand(count, 1).clamp(min=0.05)
    offset = torch.arange(-7, 8, device=light.device, dtype=torch.float32)
    kernel = torch.exp(-0.5 * (offset / width) ** 2)
    kernel = (kernel / kernel.sum(1, keepdim=True)).repeat_interleave(channels, 0)
    flat = light.reshape(1, count * channels, *light.shape[2:])
    flat = functional.pad(flat, (7, 7, 7, 7), mode="replicate")
    flat = functional.conv2d(flat, kernel[:, None, None, :], groups=count * channels)
    flat = functional.conv2d(flat, kernel[:, None, :, None], groups=count * channels)
    return flat.reshape_as(light)


def exposed(light: Tensor) -> Tensor:
    """Exposure, white balance, flare, colour mixing, clipping."""
    count = light.shape[0]
    wide = chance(light, 0.2, count, 1, 1, 1)
    stops = torch.randn(count, 1, 1, 1, device=light.device) * torch.where(wide, 1.2, 0.5)
    balance = torch.randn(count, 3, 1, 1, device=light.device) * 0.10
    warm = torch.randn(count, 1, 1, 1, device=light.device) * 0.14
    balance = balance + warm * torch.tensor([1.0, 0.0, -1.2], device=light.device)[:, None, None]
    light = light * torch.exp2(stops) * torch.exp(balance)
    flare = chance(light, 0.3, count, 1, 1, 1) * uniform(light, 0, 0.15, count, 1, 1, 1)
    light = light * (1 - flare) + flare * light.mean((1, 2, 3), keepdim=True)
    weights = torch.tensor(LUMINANCE, device=light.device)[:, None, None]
    grey = (light * weights).sum(1, keepdim=True)
    colourful = torch.where(
        chance(light, 0.06, count, 1, 1, 1),
        torch.zeros(count, 1, 1, 1, device=light.device),
        log_uniform(light, 0.45, 1.5, count, 1, 1, 1),
    )
    light = grey + (light - grey) * colourful
    mix = torch.eye(3, device=light.device) + torch.randn(count, 3, 3, device=light.device) * 0.04
    return torch.einsum("nij,njhw->nihw", mix, light).clamp(min=0)


def noisy(light: Tensor) -> Tensor:
    """Photon and read noise, fine or lumpy."""
    count = light.shape[0]
    shot = log_uniform(light, 1e-5, 4e-3, count, 1, 1, 1)
    read = log_uniform(light, 1e-4, 8e-3, count, 1, 1, 1)
    noise = torch.randn_like(light)
    lumpy = blurred_by(noise, 1.0) * 3
    noise = torch.where(chance(light, 0.4, count, 1, 1, 1), lumpy, noise)
    return (light + noise * (shot * light.clamp(max=1.5) + read**2).sqrt()).clamp(min=0)


def toned(light: Tensor) -> Tensor:
    """From linear light to picture values: highlight shoulder or clip, curve, contrast."""
    count = light.shape[0]
    knee = uniform(light, 0.5, 1.0, count, 1, 1, 1)
    over = (light - knee).clamp(min=0)
    rolled = torch.minimum(light, knee) + (1 - knee) * (1 - torch.exp(-over / (1 - knee + 1e-3)))
    light = torch.where(chance(light, 0.6, count, 1, 1, 1), rolled, light).clamp(0, 1)
    value = torch.where(
        light <= 0.0031308, 12.92 * light, 1.055 * light.clamp(min=1e-6) ** (1 / 2.4) - 0.055
    )
    value = value.clamp(min=1e-5) ** log_uniform(light, 0.75, 1.35, count, 1, 1, 1)
    bend = uniform(light, -0.35, 0.75, count, 1, 1, 1)
    value = value + bend * (value * value * (3 - 2 * value) - value)
    black = chance(light, 0.25, count, 1, 1, 1) * uniform(light, 0, 0.12, count, 1, 1, 1)
    white = 1 - chance(light, 0.15, count, 1, 1, 1) * uniform(light, 0, 0.15, count, 1, 1, 1)
    return black + (white - black) * value


def resampled(value: Tensor) -> Tensor:
    """Loses detail as small or enlarged pictures do, then at times sharpens."""
    count, size = value.shape[0], value.shape[-1]
    sigma = torch.where(
        chance(value, 0.5, count),
        log_uniform(value, 0.3, 2.2, count),
        torch.zeros(1, device=value.device),
    )
    value = blurred_by(value, sigma)
    small = functional.interpolate(value, size=(size // 2, size // 2), mode="area")
    small = functional.interpolate(small, size=(size, size), mode="bilinear", align_corners=False)
    value = torch.where(chance(value, 0.12, count, 1, 1, 1), small, value)
    sharp = chance(value, 0.4, count, 1, 1, 1) * uniform(value, 0.2, 1.8, count, 1, 1, 1)
    return value + sharp * (value - blurred_by(value, log_uniform(value, 0.6, 2.0, count)))


def cosine_basis(like: Tensor) -> Tensor:
    """Orthonormal 8-point discrete cosine transform, shape (8, 8)."""
    k = torch.arange(8, device=like.device, dtype=torch.float32)
    basis = torch.cos(math.pi * (2 * k[None, :] + 1) * k[:, None] / 16) * math.sqrt(0.25)
    basis[0] *= math.sqrt(0.5)
    return basis


def quantised(channel: Tensor, step: Tensor) -> Tensor:
    """8 x 8 blocks of a channel rounded in the cosine domain; (N, C, H, W), step (N, 1, 1)."""
    count, planes, height, width = channel.shape
    basis = cosine_basis(channel)
    blocks = channel.reshape(count, planes, height // 8, 8, width // 8, 8).permute(0, 1, 2, 4, 3, 5)
    spectrum = basis @ blocks @ basis.T
    k = torch.arange(8, device=channel.device, dtype=torch.float32)
    coarse = step[..., None, None, None] * (1 + (k[:, None] + k[None, :]) * 0.9)
    spectrum = torch.round(spectrum / coarse) * coarse
    blocks = basis.T @ spectrum @ basis
    return blocks.permute(0, 1, 2, 4, 3, 5).reshape_as(channel)


def compressed(value: Tensor) -> Tensor:
    """Block compression with halved colour resolution, from invisible to strong."""
    count, size = value.shape[0], value.shape[-1]
    luma = (value * torch.tensor((0.299, 0.587, 0.114), device=value.device)[:, None, None]).sum(
        1, keepdim=True
    )
    chroma = torch.stack([value[:, 2] - luma[:, 0], value[:, 0] - luma[:, 0]], 1)
    step = log_uniform(value, 0.003, 0.07, count, 1, 1)
    small = functional.avg_pool2d(chroma, 2)
    chroma = functional.interpolate(
        quantised(small, step * 1.3), size=(size, size), mode="bilinear", align_corners=False
    )
    luma = quantised(luma, step)
    blue, red = luma + chroma[:, :1], luma + chroma[:, 1:]
    green = (luma - 0.299 * red - 0.114 * blue) / 0.587
    again = torch.cat([red, green, blue], 1)
    return torch.where(chance(value, 0.55, count, 1, 1, 1), again, value)


def photographed(light: Tensor) -> Tensor:
    """A picture as a camera might have made of this light, in [0, 1]."""
    value = toned(noisy(exposed(light)))
    value = compressed(resampled(value).clamp(0, 1)).clamp(0, 1)
    return torch.round(value * 255) / 255


def plain_picture(light: Tensor) -> Tensor:
    """The picture without any variation: clipped, sRGB curve."""
    light = light.clamp(0, 1)
    return torch.where(
        light <= 0.0031308, 12.92 * light, 1.055 * light.clamp(min=1e-6) ** (1 / 2.4) - 0.055
    )


# ------------------------------------------------------------------------------------------- batch


def half_size(front: Framed) -> tuple[Tensor, Tensor, Tensor]:
    """Part, skin and keep at half resolution: the part of one random pixel of each four."""
    row, column = torch.randint(0, 2, (2,)).tolist()
    part = front.part[:, 0, row::2, column::2].round().long()
    return (
        part,
        functional.avg_pool2d(front.skin, 2)[:, 0],
        functional.avg_pool2d(front.keep, 2)[:, 0],
    )


def varied_batch(views: Views, count: int, size: int) -> Batch:
    """A batch of `count` varied pictures of `size` pixels.

    `size` must be a multiple of 32.
    """
    assert size % (4 * HEAD_STRIDE) == 0
    device = views.light.device
    front = framed(views, torch.randint(0, len(views), (count,), device=device), size)
    behind = framed(views, torch.randint(0, len(views), (count,), device=device), size)
    front.light, front.cut_out = recoloured(front)
    scene = occluded(composed(front, behind))
    picture = photographed(relit(scene.light))
    part, skin, keep = half_size(scene)
    return Batch(picture, part, skin.clamp(0, 1), keep.clamp(0, 1), scene.heads)


def plain_batch(views: Views, chosen: Tensor) -> Batch:
    """The chosen views as they are, for measuring."""
    light = 4 * views.light[chosen].float() ** 2
    scene = Framed(
        light,
        light,
        views.part[chosen][:, None].float(),
        views.skin[chosen][:, None].float() / 255,
        views.keep[chosen][:, None].float() / 255,
        (views.part[chosen] > 0)[:, None].float(),
        torch.ones_like(light[:, :1]),
        views.heads[chosen],
    )
    part, skin, keep = half_size(scene)
    return Batch(plain_picture(light), part, skin, keep, scene.heads)
