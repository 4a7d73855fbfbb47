"""Surfaces that are nobody: clouds, stripes, checks, grain, many in the colours of skin."""

from __future__ import annotations

import math

import torch
from torch import Tensor
from torch.nn import functional

from .randomness import chance, cloudy, log_uniform, uniform


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


FOLDS, FOLD_DEPTH = (3, 22), (0.05, 0.5)
# Folds along a side of the picture, from few to many, and how strongly they shade.


def folds(count: int, size: int, like: Tensor) -> Tensor:
    """Factor of light on creased cloth: sharp ridges lit from a side, (count, 1, size, size)."""
    few, many = FOLDS
    shade = torch.zeros(count, 1, size, size, device=like.device)
    angle = uniform(like, 0, 2 * math.pi, count, 1, 1, 1)
    for _ in range(2):
        cells = [int(few * (many / few) ** torch.rand(()).item()) + 2 for _ in range(2)]
        ridges = -functional.interpolate(
            torch.randn(count, 1, *cells, device=like.device), size=(size, size), mode="bicubic"
        ).abs()
        down = ridges - ridges.roll(1, 2)
        across = ridges - ridges.roll(1, 3)
        slope = torch.cos(angle) * down + torch.sin(angle) * across
        shade = shade + slope / slope.std((2, 3), keepdim=True).clamp(min=1e-6)
    depth = log_uniform(like, *FOLD_DEPTH, count, 1, 1, 1)
    return torch.exp(depth * shade.clamp(-2.5, 2.5) / 2)


LEAVES = 36
# Shapes of a collage.


def collage(count: int, size: int, like: Tensor) -> Tensor:
    """Many overlapping boxes and discs of all sizes in linear light, shape (count, 3, size, size).

    Such "dead leaves" share the edges and contrasts of photographed streets and rooms (Lee,
    Mumford, Huang, IJCV 41, 35-59, 2001).
    """
    axis = torch.linspace(-1, 1, size, device=like.device)
    down, across = axis[None, :, None], axis[None, None, :]
    picture = texture(count, size, like)
    grain = torch.stack([texture(count, size, like) for _ in range(2)])
    grain = grain / grain.mean((2, 3, 4), keepdim=True).clamp(min=1e-3)
    flat = chance(like, 0.5, count, 1, 1)
    for leaf in range(LEAVES):
        place = uniform(like, -1.1, 1.1, 2, count, 1, 1)
        # few large ones below, many small ones above
        reach = log_uniform(like, 0.02, 1.2, count, 1, 1) * (1 - 0.8 * leaf / LEAVES)
        aspect = log_uniform(like, 0.25, 4.0, count, 1, 1).sqrt()
        turn = torch.randn(count, 1, 1, device=like.device)
        angle = torch.where(flat, 0.06 * turn, 3 * turn)
        x, y = across - place[0], down - place[1]
        u = (torch.cos(angle) * x + torch.sin(angle) * y).abs() / (reach * aspect)
        v = (torch.cos(angle) * y - torch.sin(angle) * x).abs() / (reach / aspect)
        box = torch.maximum(u, v) < 1
        disc = u * u + v * v < 1
        inside = torch.where(chance(like, 0.65, count, 1, 1), box, disc)[:, None]
        colour = any_colours(count, like)[..., None, None]
        shade = 1 + uniform(like, -0.4, 0.4, count, 1, 1) * y / reach
        fill = colour * shade[:, None].clamp(0.2, 2)
        rough = chance(like, 0.5, count, 1, 1, 1)
        fill = torch.where(rough, fill * grain[leaf % 2].clamp(0.2, 3), fill)
        picture = torch.where(inside, fill, picture)
    return picture
