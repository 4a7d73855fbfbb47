"""Views in random frames: cropped, scaled, turned, mirrored, with all that is known of a pixel."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional

from .randomness import chance, log_uniform, uniform
from .views import Views


@dataclass
class Framed:
    """Views after framing; all but `heads` and `tone` have the shape (N, 1 or 3, S, S).

    `cut_out` is the light of the people alone, grown a little beyond their edge, so that none of
    their background shows in front of another; `person` is 1 where there is anybody, `inside` where
    the view reaches. `normal` has unit length on skin, `place` is in metres on the body at rest,
    `who` numbers the people from 1, `gloss` is a share of light.
    """

    light: Tensor
    cut_out: Tensor
    part: Tensor
    skin: Tensor
    keep: Tensor
    person: Tensor
    inside: Tensor
    heads: Tensor
    normal: Tensor
    place: Tensor
    who: Tensor
    gloss: Tensor
    tone: Tensor

    def chosen(self, index: Tensor) -> Framed:
        """Some of the pictures."""
        return Framed(**{name: tensor[index] for name, tensor in vars(self).items()})


def framed(views: Views, chosen: Tensor, size: int) -> Framed:
    """The chosen views in random frames; outside of a view there is nobody."""
    matrix, zoom = framing(views, chosen, size)
    return in_frame(views, chosen, matrix, size, zoom)


def unframed(views: Views, chosen: Tensor) -> Framed:
    """The chosen views as they are."""
    size = views.light.shape[-1]
    matrix = torch.eye(2, 3, device=views.light.device).expand(len(chosen), -1, -1)
    return in_frame(views, chosen, matrix, size, torch.ones(len(chosen), device=chosen.device))


def in_frame(views: Views, chosen: Tensor, matrix: Tensor, size: int, zoom: Tensor) -> Framed:
    """The chosen views through affine maps from output to source pixels; see `framing`."""
    grid = grid_of(matrix, size, views.light.shape[-1])
    light = linear_light(views.light[chosen])
    blurred = functional.avg_pool2d(functional.pad(light, (1, 1, 1, 1), mode="replicate"), 3, 1)
    light = torch.where((zoom < 0.75)[:, None, None, None], blurred, light)
    part = views.part[chosen][:, None].float()
    both = torch.cat([light, cut_outs(light, (part > 0).float())], 1)
    light, cut_out = sampled(both, grid, "bilinear", "border").split(3, 1)
    soft = torch.stack([views.skin[chosen], views.keep[chosen]], 1).float() / 255
    soft = torch.cat([soft, (part > 0).float(), torch.ones_like(part)], 1)
    soft = sampled(soft, grid, "bilinear", "zeros")
    part = sampled(part, grid, "nearest", "zeros")
    who = sampled(views.who[chosen][:, None].float(), grid, "nearest", "zeros")
    gloss = functional.avg_pool2d(views.gloss[chosen][:, None].float() / 255, 5, 1, 2)
    bounds = views.bounds[chosen]
    low, high = bounds[:, 0, :, None, None], bounds[:, 1, :, None, None]
    place = low + views.place[chosen].float() / 255 * (high - low)
    normal = views.normal[chosen].float() / 127.5 - 1
    body = sampled(torch.cat([normal, place, gloss], 1), grid, "bilinear", "border")
    return Framed(
        light=light,
        cut_out=cut_out,
        part=part,
        skin=soft[:, :1],
        keep=soft[:, 1:2],
        person=soft[:, 2:3],
        inside=soft[:, 3:],
        heads=moved_heads(views.heads[chosen], matrix, size),
        normal=functional.normalize(body[:, :3], dim=1),
        place=body[:, 3:6],
        who=who,
        gloss=body[:, 6:],
        tone=views.tone[chosen],
    )


def linear_light(stored: Tensor) -> Tensor:
    """Scene-linear light of what views store."""
    return 4 * (stored.float() / 255) ** 2


def framing(views: Views, chosen: Tensor, size: int) -> tuple[Tensor, Tensor]:
    """Affine maps from output to source pixels, and the zoom of each.

    Half of the pictures are framed around one of their heads at a random size, as the closer look
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
    frame_zoom = log_uniform(like, 0.8, 2.2, count) * size / source
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


def grid_of(matrix: Tensor, size: int, extent: int) -> Tensor:
    """Where to read a source of `extent` pixels, or a smaller copy of it, for each output pixel."""
    step = torch.arange(size, device=matrix.device, dtype=torch.float32)
    row, column = torch.meshgrid(step, step, indexing="ij")
    points = torch.stack([column, row, torch.ones_like(row)], -1)
    place = torch.einsum("nij,hwj->nhwi", matrix, points)
    return (place + 0.5) * 2 / extent - 1


def sampled(source: Tensor, grid: Tensor, mode: str, padding: str) -> Tensor:
    """Source read at every point of a grid."""
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


def cut_outs(light: Tensor, person: Tensor) -> Tensor:
    """Light with the people's own colours carried over their edge, where pixels are mixed."""
    pad = functional.pad(1 - person, (1, 1, 1, 1), mode="replicate")
    inner = 1 - functional.max_pool2d(pad, 3, 1)
    weight = functional.avg_pool2d(inner, 5, 1, 2)
    spread = functional.avg_pool2d(light * inner, 5, 1, 2) / weight.clamp(min=1e-4)
    return torch.where((inner > 0) | (weight < 0.02), light, spread)
