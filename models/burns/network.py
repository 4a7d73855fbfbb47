"""A small encoder and decoder (Ronneberger et al. 2015) from features of a person to belief.

Whether skin is burnt shows beside skin that is not, which may be far away: the other arm, the neck.
So the coarse levels compare all places with each other (Vaswani et al. 2017).
"""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

from models.parser.network import Context, Residual, convolution

from .features import CHANNELS, SIDE

WIDTHS = (32, 64, 96, 128, 160)
# Channels at a half, a quarter and so on to a thirty-second of the features' size.


COMPARING = 2
# Blocks that compare all places, at a thirty-second and at a sixteenth of the features' size.

CHANNELS_A_HEAD = 32
# Of the comparison.


class Compare(nn.Module):
    """All places compared with each other, then each by itself; nothing at first.

    `cells` is the number of places along a side.
    """

    def __init__(self, width: int, cells: int) -> None:
        super().__init__()
        self.heads = width // CHANNELS_A_HEAD
        self.place = nn.Parameter(0.1 * torch.randn(1, width, cells, cells))
        self.asked = nn.Sequential(
            nn.Conv2d(width, 3 * width, 1, bias=False), nn.BatchNorm2d(3 * width)
        )
        self.told = nn.Conv2d(width, width, 1)
        self.change = nn.Sequential(
            convolution(width, 2 * width, 1), nn.Conv2d(2 * width, width, 1)
        )
        for last in (self.told, self.change[-1]):
            nn.init.zeros_(last.weight)
            nn.init.zeros_(last.bias)

    def forward(self, features: Tensor) -> Tensor:
        """Features of the same shape (N, width, cells, cells)."""
        count, _, high, wide = features.shape
        asked = self.asked(features + self.place)
        asked = asked.reshape(count, 3 * self.heads, CHANNELS_A_HEAD, high * wide)
        query, key, value = asked.split(self.heads, 1)
        alike = (query.transpose(2, 3) @ key / CHANNELS_A_HEAD**0.5).softmax(3)
        seen = value @ alike.transpose(2, 3)
        features = features + self.told(seen.reshape(features.shape))
        return features + self.change(features)


def compared(level: int) -> nn.Sequential:
    """Blocks that compare all places of a level."""
    cells = SIDE // 2 ** (level + 1)
    return nn.Sequential(*(Compare(WIDTHS[level], cells) for _ in range(COMPARING)))


class BurnNetwork(nn.Module):
    """Logit of the belief that skin is burnt, at half of the features' size."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = convolution(CHANNELS, WIDTHS[0], 5, 2)
        self.first = Residual(WIDTHS[0], WIDTHS[0])
        self.down = nn.ModuleList(
            nn.Sequential(
                Residual(WIDTHS[k], WIDTHS[k + 1], 2), Residual(WIDTHS[k + 1], WIDTHS[k + 1])
            )
            for k in range(len(WIDTHS) - 1)
        )
        self.context = Context(WIDTHS[-1])
        last = len(WIDTHS) - 1
        self.compare = nn.ModuleList([compared(last), compared(last - 1)])
        self.narrow = nn.ModuleList(
            nn.Conv2d(WIDTHS[k + 1], WIDTHS[k], 1) for k in range(len(WIDTHS) - 1)
        )
        self.join = nn.ModuleList(Residual(WIDTHS[k], WIDTHS[k]) for k in range(len(WIDTHS) - 1))
        self.answer = nn.Conv2d(WIDTHS[0], 1, 1)
        with torch.no_grad():
            self.answer.bias.fill_(-2.0)

    def forward(self, features: Tensor) -> Tensor:
        """Logits, shape (N, 1, S/2, S/2)."""
        levels = [self.first(self.stem(features))]
        for step in self.down:
            levels.append(step(levels[-1]))
        level = self.compare[0](self.context(levels[-1]))
        for k in reversed(range(len(self.join))):
            up = functional.interpolate(
                self.narrow[k](level), scale_factor=2.0, mode="bilinear", align_corners=False
            )
            level = self.join[k](up + levels[k])
            if k == len(self.join) - 1:
                level = self.compare[1](level)
        return self.answer(level)
