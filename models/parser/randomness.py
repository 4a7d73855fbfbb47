"""Random numbers and fractal noise on the device of a tensor."""

from __future__ import annotations

import math

import torch
from torch import Tensor
from torch.nn import functional


def uniform(like: Tensor, low: float, high: float, *shape: int) -> Tensor:
    """Uniform numbers of `shape` on the device of `like`."""
    return torch.rand(*shape, device=like.device) * (high - low) + low


def log_uniform(like: Tensor, low: float, high: float, *shape: int) -> Tensor:
    """Numbers whose logarithm is uniform."""
    return torch.exp(uniform(like, math.log(low), math.log(high), *shape))


def chance(like: Tensor, probability: float, *shape: int) -> Tensor:
    """Booleans that are true with a probability."""
    return torch.rand(*shape, device=like.device) < probability


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
