"""The parser's network: a small encoder and decoder that names the parts of people and finds heads.

Input is an sRGB picture in [0, 1], shape (N, 3, H, W), H and W multiples of 32. The encoder halves
it five times with residual blocks (He et al. 2016), pools the whole picture for context, and the
decoder goes back to half resolution, adding the encoder's maps on the way (Lin et al. 2017). Heads
are found as peaks of a map, as in Zhou et al. 2019, "Objects as Points".
"""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

PART_COUNT = 19
# Classes of the answer; their order is that of evenhand.people.parser.Part.

HEAD_CHANNELS = 9
# Peak logit, offset of the centre (x, y), log of width and height, sine and cosine of roll and yaw.

HEAD_STRIDE = 8
# Input pixels for one cell of the head maps.

ENCODER_WIDTHS = (24, 48, 96, 160, 224)
# Channels at 1/2, 1/4, 1/8, 1/16 and 1/32, times the network's width.

ENCODER_BLOCKS = (0, 2, 2, 3, 2)
# Residual blocks at each of those.

DECODER_WIDTHS = (24, 48, 80, 128)
# Channels of the decoder at 1/2, 1/4, 1/8, 1/16, times the network's width.


def convolution(inputs: int, outputs: int, size: int = 3, stride: int = 1) -> nn.Sequential:
    """Convolution, batch normalisation and ReLU."""
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, size, stride, size // 2, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


class Residual(nn.Module):
    """Two convolutions and a shortcut."""

    def __init__(self, inputs: int, outputs: int, stride: int = 1) -> None:
        super().__init__()
        self.first = convolution(inputs, outputs, 3, stride)
        self.second = nn.Sequential(
            nn.Conv2d(outputs, outputs, 3, 1, 1, bias=False), nn.BatchNorm2d(outputs)
        )
        self.shortcut: nn.Module = nn.Identity()
        if stride > 1 or inputs != outputs:
            self.shortcut = nn.Sequential(
                nn.Conv2d(inputs, outputs, 1, stride, bias=False), nn.BatchNorm2d(outputs)
            )

    def forward(self, features: Tensor) -> Tensor:
        """Features of the same picture, maybe at half the size."""
        return functional.relu(self.second(self.first(features)) + self.shortcut(features))


class Context(nn.Module):
    """Adds what the whole picture shows to every place of it."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.change = nn.Sequential(
            nn.Conv2d(width, width // 2, 1), nn.ReLU(inplace=True), nn.Conv2d(width // 2, width, 1)
        )

    def forward(self, features: Tensor) -> Tensor:
        """Features with their mean over the picture mixed in."""
        return functional.relu(features + self.change(features.mean((2, 3), keepdim=True)))


class Merge(nn.Module):
    """One step of the decoder: coarse features doubled in size, plus fine ones."""

    def __init__(self, coarse: int, fine: int, outputs: int) -> None:
        super().__init__()
        self.from_coarse = nn.Sequential(
            nn.Conv2d(coarse, outputs, 1, bias=False), nn.BatchNorm2d(outputs)
        )
        self.from_fine = nn.Sequential(
            nn.Conv2d(fine, outputs, 1, bias=False), nn.BatchNorm2d(outputs)
        )
        self.block = Residual(outputs, outputs)

    def forward(self, coarse: Tensor, fine: Tensor) -> Tensor:
        """Features at the resolution of `fine`."""
        doubled = functional.interpolate(
            self.from_coarse(coarse), scale_factor=2.0, mode="bilinear", align_corners=False
        )
        return self.block(functional.relu(doubled + self.from_fine(fine)))


class Parser(nn.Module):
    """Part logits at half resolution and head maps at an eighth."""

    def __init__(self, width: float = 1.0, blocks: tuple[int, ...] = ENCODER_BLOCKS) -> None:
        super().__init__()
        self.width, self.blocks = width, tuple(blocks)
        encoder, decoder = scaled(ENCODER_WIDTHS, width), scaled(DECODER_WIDTHS, width)
        stages = [nn.Sequential(convolution(3, encoder[0], 3, 2))]
        for level in range(1, len(encoder)):
            stage = [Residual(encoder[level - 1], encoder[level], 2)]
            stage += [Residual(encoder[level], encoder[level]) for _ in range(blocks[level] - 1)]
            stages.append(nn.Sequential(*stage))
        self.stages = nn.ModuleList(stages)
        self.context = Context(encoder[-1])
        coarse = (*decoder[1:], encoder[-1])
        self.merges = nn.ModuleList(
            Merge(coarse[level], encoder[level], decoder[level]) for level in range(4)
        )
        self.parts = nn.Conv2d(decoder[0], PART_COUNT, 1)
        self.heads = nn.Sequential(convolution(decoder[2], 64), nn.Conv2d(64, HEAD_CHANNELS, 1))
        with torch.no_grad():
            self.heads[1].bias.zero_()
            self.heads[1].bias[0] = -4.0  # a head's centre is rare: start from 2 % of cells

    def forward(self, picture: Tensor) -> tuple[Tensor, Tensor]:
        """Part logits (N, PART_COUNT, H/2, W/2) and head maps (N, HEAD_CHANNELS, H/8, W/8)."""
        levels = []
        features = picture * 2.0 - 1.0
        for stage in self.stages:
            features = stage(features)
            levels.append(features)
        features = self.context(features)
        heads = features
        for level in reversed(range(4)):
            features = self.merges[level](features, levels[level])
            if level == 2:
                heads = features
        return self.parts(features), self.heads(heads)


def scaled(widths: tuple[int, ...], width: float) -> tuple[int, ...]:
    """Numbers of channels times a width, in multiples of eight."""
    return tuple(8 * round(channels * width / 8) for channels in widths)
