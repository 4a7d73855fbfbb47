"""What the network is given of one person: skin, its colour against the person's own, and points.

The same features are worked out by `evenhand.people.burnt` when a photograph is retouched.
"""

from __future__ import annotations

import torch
from torch import Tensor

SIDE = 192
# Pixels of the square that holds a person's skin.

CHANNELS = 14
# Skin, three of its own colour, face, hand, three of the picture, three of the tone of the skin,
# and where the photographer says that skin is burnt and that it is to be left.

DARKEST = 0.004
# Linear light that is added before density is taken: noise and flare of a camera.

LEAST_SKIN = 0.5
# Chance of skin from which a pixel tells the person's own colour.


def linear(picture: Tensor) -> Tensor:
    """Linear light of sRGB values in [0, 1]."""
    low = picture / 12.92
    return torch.where(picture <= 0.04045, low, ((picture + 0.055) / 1.055) ** 2.4)


def features(picture: Tensor, skin: Tensor, face: Tensor, hand: Tensor, points: Tensor) -> Tensor:
    """Features of pictures of one person each.

    Parameters
    ----------
    picture : Tensor, shape (N, 3, S, S)
        sRGB values in [0, 1].
    skin, face, hand : Tensor, shape (N, 1, S, S)
        Chance of the person's skin, and of that of face and hands, in [0, 1].
    points : Tensor, shape (N, 2, S, S)
        1 around points that are burnt, and around those that are to be left; 0 elsewhere.

    Returns
    -------
    Tensor, shape (N, CHANNELS, S, S)
        About in [-1, 1].
    """
    density = -torch.log(linear(picture) + DARKEST)
    sure = (skin > LEAST_SKIN).expand_as(density)
    known = torch.where(sure, density, torch.full_like(density, float("nan")))
    tone = torch.nanmedian(known.flatten(2), dim=2)[0].nan_to_num(1.0)[..., None, None]
    red, green, blue = (density - tone).unbind(1)
    own = torch.stack([green - red, blue - green, (red + green + blue) / 3], 1)
    own = own.clamp(-1, 1) * skin
    around = density / 2.5 - 1
    constant = (tone / 2.5 - 1).expand_as(density)
    return torch.cat([skin, 2 * own, face, hand, around, constant, points], 1)
