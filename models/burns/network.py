"""A small encoder and decoder (Ronneberger et al. 2015) from features of a person to belief."""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

from models.parser.network import Context, Residual, convolution

from .features import CHANNELS

WIDTHS = (32, 64, 96, 128, 160)
# Channels at a half, a quarter and so on to a thirty-second of the features' size.


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
        level = self.context(levels[-1])
        for k in reversed(range(len(self.join))):
            up = functional.interpolate(
                self.narrow[k](level), scale_factor=2.0, mode="bilinear", align_corners=False
            )
            level = self.join[k](up + levels[k])
        return self.answer(level)
