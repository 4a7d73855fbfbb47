"""Pictures of one person each, some with a drawn burn, framed as the network is given them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional

from models.parser.burns import burnt, look_alikes, red_shade, warm_and_cold
from models.parser.camera import blurred_by, mildly_photographed, photographed, plain_picture
from models.parser.frames import Framed, in_frame
from models.parser.randomness import chance, cloudy, log_uniform, uniform
from models.parser.variation import recoloured, relit
from models.parser.views import MOST_PEOPLE, Views

from .features import SIDE, features

FACE, HAND, SKIN = 1, 6, (1, 7)
# Numbers of parts, see evenhand.people.parser.Part; skin from first to last.

BURN_CHANCE, MILD = 0.6, 0.85
# Shares of pictures with a burn, and of those spared the harsh variations of the camera.

MARGIN = 0.06
# Kept around the skin as a share of its longer side, when a photograph is retouched.

LEAST_SKIN = 30
# Pixels of a person's skin, at half the views' resolution, from which it is looked at.

POINTED, LEFT_ALONE = 0.4, 0.3
# Shares of pictures with points in the burn, and with points on skin that is not burnt.

POINT_RADIUS, MOST_POINTS = 2.5, 6
# Pixels around a point, and points of a kind at most.

STRAYS = 0.3
# Share of pictures in which something that is no skin was taken for it.


@dataclass
class People:
    """One person of each picture: features, truth and where it counts, shapes (N, C, S, S)."""

    picture: Tensor
    features: Tensor
    burn: Tensor
    weight: Tensor
    tone: Tensor

    def __len__(self) -> int:
        """Number of pictures."""
        return len(self.picture)

    def chosen(self, index: Tensor) -> People:
        """Some of them."""
        return People(**{name: tensor[index] for name, tensor in vars(self).items()})


def skin_of(views: Views, chosen: Tensor) -> Tensor:
    """Skin of one person of each view, by chance among those seen, bool at half resolution."""
    part, who = views.part[chosen][:, ::2, ::2], views.who[chosen]
    skin = (part >= SKIN[0]) & (part <= SKIN[1])
    areas = [(skin & (who == number)).sum((1, 2)) for number in range(1, MOST_PEOPLE + 1)]
    seen = (torch.stack(areas, 1) > LEAST_SKIN).float() + 1e-6
    number = torch.multinomial(seen, 1)[:, 0] + 1
    return skin & (who == number[:, None, None])


def ends(inside: Tensor) -> tuple[Tensor, Tensor]:
    """First and last true column of (N, W); the whole width where there is none."""
    width = inside.shape[1]
    step = torch.arange(width, device=inside.device)
    first = torch.where(inside, step, width).amin(1)
    last = torch.where(inside, step, -1).amax(1)
    none = last < 0
    return torch.where(none, 0, first).float(), torch.where(none, width - 1, last).float()


def squares(mine: Tensor, vary: bool) -> tuple[Tensor, Tensor]:
    """Affine maps from a square around a person's skin to the view, and the zoom of each.

    Parameters
    ----------
    mine : Tensor of bool, shape (N, H, H)
        The person's skin at half the view's resolution.
    vary : bool
        Whether to turn, mirror, shift and scale at random; one in four shows a part only.
    """
    count = len(mine)
    (left, right), (top, bottom) = ends(mine.any(1)), ends(mine.any(2))
    centre = torch.stack([left + right, top + bottom], 1) + 0.5
    extent = 2 * (torch.maximum(right - left, bottom - top) + 1).clamp(min=12) * (1 + 2 * MARGIN)
    angle, across = torch.zeros_like(extent), torch.ones_like(extent)
    if vary:
        like = extent
        part = chance(like, 0.25, count)
        shown = torch.where(part, log_uniform(like, 0.4, 1, count), uniform(like, 1, 1.25, count))
        room = extent * (1 - shown).abs()
        centre = centre + uniform(like, -0.5, 0.5, count, 2) * room[:, None]
        extent = extent * shown
        turned = chance(like, 0.2, count)
        angle = torch.randn(count, device=like.device) * 0.15
        angle = angle + turned * torch.randint(0, 4, (count,), device=like.device) * math.pi / 2
        across = torch.where(chance(like, 0.5, count), -1.0, 1.0)
    step = extent / SIDE
    cosine, sine = torch.cos(angle) * step, torch.sin(angle) * step
    linear = torch.stack([cosine * across, -sine, sine * across, cosine], 1).view(count, 2, 2)
    corner = centre - torch.einsum("nij,j->ni", linear, linear.new_full((2,), (SIDE - 1) / 2))
    return torch.cat([linear, corner[:, :, None]], 2), 1 / step


def as_parsed(front: Framed, mine: Tensor) -> Tensor:
    """A person's skin with the errors of a parser: edges off and soft, strays, holes."""
    count, size = mine.shape[0], mine.shape[-1]
    soft = blurred_by(mine, log_uniform(mine, 0.5, 2.5, count))
    level = uniform(mine, 0.3, 0.7, count, 1, 1, 1)
    seen = ((soft - level) * log_uniform(mine, 1.5, 6, count, 1, 1, 1) + 0.5).clamp(0, 1)
    blob = cloudy(count, size, mine) > uniform(mine, 0.6, 0.85, count, 1, 1, 1)
    stray = blob & (front.skin < 0.05) & chance(mine, STRAYS, count, 1, 1, 1)
    hole = (cloudy(count, size, mine) > 0.85) & chance(mine, 0.15, count, 1, 1, 1)
    stray = stray.float() * uniform(mine, 0.4, 1, count, 1, 1, 1)
    return torch.maximum(seen, stray) * (1 - hole.float())


def some_points(where: Tensor, some: Tensor) -> Tensor:
    """Discs around one or a few random places, weighted by `where`, in some of the pictures.

    Parameters
    ----------
    where : Tensor, shape (N, 1, S, S)
        Weights; a picture without any has no points.
    some : Tensor of bool, shape (N,)
    """
    count, size = where.shape[0], where.shape[-1]
    weights = where.flatten(1)
    some = some & (weights.sum(1) > 4)
    picked = torch.multinomial(weights + 1e-9, MOST_POINTS, replacement=True)
    row, column = picked // size, picked % size
    number = torch.randint(1, 4, (count, 1), device=where.device)
    number = torch.where(chance(where, 0.1, count, 1), MOST_POINTS, number)
    used = torch.arange(MOST_POINTS, device=where.device)[None] < number
    step = torch.arange(size, device=where.device)
    down = (step[None, None, :] - row[..., None]).square()[..., :, None]
    across = (step[None, None, :] - column[..., None]).square()[..., None, :]
    near = (down + across <= POINT_RADIUS**2) & (used & some[:, None])[..., None, None]
    return near.any(1, keepdim=True).float()


def drawn(views: Views, count: int) -> People:
    """A batch of varied pictures of people, some of them burnt, some with points."""
    chosen = torch.randint(0, len(views), (count,), device=views.light.device)
    front, mine = seen_squares(views, chosen, vary=True)
    front.light, front.cut_out = recoloured(front)
    burn = burnt(front, BURN_CHANCE)
    light = warm_and_cold(red_shade(relit(front.light * look_alikes(front) * burn.ratio)))
    spared = chance(light, MILD, count)
    picture, known = mildly_photographed(light), burn.known
    if not spared.all():
        harsh, colour = photographed(light[~spared])
        picture[~spared] = harsh
        known = known.clone()
        known[~spared] *= colour
    picture = torch.round(picture * 255) / 255
    sure = mine * (front.skin > 0.7)
    burnt_at = some_points(sure * (burn.share > 0.6), chance(light, POINTED, count))
    leave_at = some_points(sure * (burn.share < 0.05), chance(light, LEFT_ALONE, count))
    # who is burnt all over cannot be told from a person of that colour, unless somebody says so
    told = burnt_at.flatten(1).any(1)[:, None, None, None]
    known = torch.where(told, torch.ones_like(known), known)
    points = torch.cat([burnt_at, leave_at], 1)
    return people_of(front, mine, as_parsed(front, mine), picture, burn.share, known, points)


def plain(views: Views, chosen: Tensor, burn_chance: float, pointed: bool) -> People:
    """People of the chosen views as they are, for measuring; maybe with one point in the burn."""
    front, mine = seen_squares(views, chosen, vary=False)
    burn = burnt(front, burn_chance)
    picture = plain_picture(front.light * burn.ratio)
    some = torch.full((len(chosen),), pointed, device=mine.device)
    points = some_points(mine * (front.skin > 0.7) * (burn.share > 0.6), some)
    points = torch.cat([points, torch.zeros_like(points)], 1)
    return people_of(front, mine, mine, picture, burn.share, burn.known, points)


def seen_squares(views: Views, chosen: Tensor, vary: bool) -> tuple[Framed, Tensor]:
    """The chosen views around one person each, and that person's skin."""
    number_skin = skin_of(views, chosen)
    matrix, zoom = squares(number_skin, vary)
    front = in_frame(views, chosen, matrix, SIDE, zoom)
    who = views.who[chosen]
    number = torch.where(number_skin, who, 0).flatten(1).amax(1).float()[:, None, None, None]
    skin = (front.part >= SKIN[0]) & (front.part <= SKIN[1])
    return front, (skin & (front.who == number)).float()


def people_of(
    front: Framed, mine: Tensor, skin: Tensor, picture: Tensor, burn: Tensor, known: Tensor,
    points: Tensor,
) -> People:  # fmt: skip
    """Features and truth of one person of each picture; strays count as not burnt."""
    face, hand = (
        functional.avg_pool2d((front.part == p).float() * mine, 3, 1, 1) for p in (FACE, HAND)
    )
    own = mine * front.skin.clamp(0, 1) * known
    stray = (skin > 0.5) * (front.skin < 0.05) * 0.5
    weight = functional.avg_pool2d(torch.maximum(own, stray), 2)
    share = functional.avg_pool2d(burn * mine, 2).clamp(0, 1)
    number = (mine * front.who).flatten(1).amax(1).long().clamp(min=1) - 1
    tone = front.tone.gather(1, number[:, None])[:, 0]
    return People(picture, features(picture, skin, face, hand, points), share, weight, tone)
