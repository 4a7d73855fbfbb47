"""Light turned into pictures as cameras and phones make them."""

from __future__ import annotations

import math

import torch
from torch import Tensor
from torch.nn import functional

from .randomness import chance, log_uniform, uniform

LUMINANCE = (0.2126, 0.7152, 0.0722)
# Rec. 709 weights of luminance.


def blurred_by(light: Tensor, sigma: float | Tensor) -> Tensor:
    """Gaussian blur, one standard deviation in pixels for all or one for each picture."""
    count, channels = light.shape[:2]
    if not count:
        return light
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


def exposed(light: Tensor) -> tuple[Tensor, Tensor]:
    """Exposure, white balance, flare, colour mixing; and whether any colour is left."""
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
    colour = ~chance(light, 0.06, count, 1, 1, 1)
    colourful = colour * log_uniform(light, 0.45, 1.5, count, 1, 1, 1)
    light = grey + (light - grey) * colourful
    mix = torch.eye(3, device=light.device) + torch.randn(count, 3, 3, device=light.device) * 0.04
    return torch.einsum("nij,njhw->nihw", mix, light).clamp(min=0), colour


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
    light = rolled_off(light)
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


def photographed(light: Tensor) -> tuple[Tensor, Tensor]:
    """A picture as any camera might have made of this light, in [0, 1]; whether it has colour."""
    light, colour = exposed(light)
    value = toned(noisy(light))
    return compressed(resampled(value).clamp(0, 1)).clamp(0, 1), colour


def mildly_photographed(light: Tensor) -> Tensor:
    """A picture as a good camera makes of this light: colour is nearly as it was."""
    count = light.shape[0]
    gain = torch.randn(count, 1, 1, 1, device=light.device) * 0.25
    balance = torch.randn(count, 3, 1, 1, device=light.device) * 0.06
    value = plain_picture(rolled_off(light * torch.exp(gain + balance)))
    bend = uniform(light, -0.2, 0.5, count, 1, 1, 1)
    value = value + bend * (value * value * (3 - 2 * value) - value)
    soft = torch.nonzero(chance(light, 0.4, count))[:, 0]
    value[soft] = blurred_by(value[soft], log_uniform(light, 0.3, 1.5, len(soft)))
    noise = torch.randn_like(value) * log_uniform(light, 0.001, 0.015, count, 1, 1, 1)
    return (value + noise).clamp(0, 1)


def rolled_off(light: Tensor) -> Tensor:
    """Light with a shoulder instead of a clip in most pictures."""
    count = light.shape[0]
    knee = uniform(light, 0.5, 1.0, count, 1, 1, 1)
    over = (light - knee).clamp(min=0)
    rolled = torch.minimum(light, knee) + (1 - knee) * (1 - torch.exp(-over / (1 - knee + 1e-3)))
    return torch.where(chance(light, 0.6, count, 1, 1, 1), rolled, light).clamp(0, 1)


def plain_picture(light: Tensor) -> Tensor:
    """The picture without any variation: clipped, sRGB curve."""
    light = light.clamp(0, 1)
    return torch.where(
        light <= 0.0031308, 12.92 * light, 1.055 * light.clamp(min=1e-6) ** (1 / 2.4) - 0.055
    )
