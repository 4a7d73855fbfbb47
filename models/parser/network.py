"""The parser's network: a small encoder and decoder that names the parts of people and finds heads.

Input is an sRGB picture in [0, 1], shape (N, 3, H, W), H and W multiples of 32. The encoder halves
it five times with residual blocks (He et al. 2016), looks far around and pools the whole picture
for context, and the decoder goes back to half resolution, adding the encoder's maps on the way
(Lin et al. 2017). Heads are found as peaks of a map, as in Zhou et al. 2019, "Objects as Points".

Rendered people differ from photographed ones in style more than in shape. So half of the early
features are normalised within each picture (Pan et al. 2018, "Two at once: enhancing learning and
generalization capacities via IBN-Net"), and while training the style of some pictures is mixed with
that of others (Zhou et al. 2021, "Domain generalization with MixStyle").
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

OWN_STYLE = (1, 2, 3)
# Levels of the encoder of whose features half are normalised within the picture.

MIXED_AFTER, MIXED_CHANCE, MIXED_BETA = (0, 1), 0.4, 0.1
# Levels after which styles are mixed while training, how often, and the shape of the beta
# distribution of the shares: mostly one picture's style or the other's.

FAR_BLOCKS = 2
# Blocks that look far around at the coarsest level.

DECODER_WIDTHS = (24, 48, 80, 128)
# Channels of the decoder at 1/2, 1/4, 1/8, 1/16, times the network's width.


def convolution(inputs: int, outputs: int, size: int = 3, stride: int = 1) -> nn.Sequential:
    """Convolution, batch normalisation and ReLU."""
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, size, stride, size // 2, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


class HalfInstanceNorm(nn.Module):
    """Half of the channels normalised within each picture, half over all pictures."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.half = channels // 2
        self.own = nn.InstanceNorm2d(self.half, affine=True)
        self.all = nn.BatchNorm2d(channels - self.half)

    def forward(self, features: Tensor) -> Tensor:
        """Normalised features."""
        own, other = features[:, : self.half], features[:, self.half :]
        return torch.cat([self.own(own.contiguous()), self.all(other.contiguous())], 1)


class Residual(nn.Module):
    """Two convolutions and a shortcut; `own_style` normalises half within each picture."""

    def __init__(self, inputs: int, outputs: int, stride: int = 1, own_style: bool = False) -> None:
        super().__init__()
        self.first = convolution(inputs, outputs, 3, stride)
        if own_style:
            self.first[1] = HalfInstanceNorm(outputs)
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


class Far(nn.Module):
    """A wide look around each place, added to it; nothing at first."""

    def __init__(self, width: int, reach: int = 9) -> None:
        super().__init__()
        self.change = nn.Sequential(
            nn.Conv2d(width, width, reach, 1, reach // 2, groups=width, bias=False),
            nn.BatchNorm2d(width),
            nn.Conv2d(width, 2 * width, 1),
            nn.ReLU(inplace=True),
            nn.Conv2d(2 * width, width, 1),
        )
        nn.init.zeros_(self.change[-1].weight)
        nn.init.zeros_(self.change[-1].bias)

    def forward(self, features: Tensor) -> Tensor:
        """Features with what lies around mixed in."""
        return features + self.change(features)


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
            own, width_here = level in OWN_STYLE, encoder[level]
            stage = [Residual(encoder[level - 1], width_here, 2, own)]
            stage += [Residual(width_here, width_here, 1, own) for _ in range(blocks[level] - 1)]
            stages.append(nn.Sequential(*stage))
        self.stages = nn.ModuleList(stages)
        self.far = nn.Sequential(*(Far(encoder[-1]) for _ in range(FAR_BLOCKS)))
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
        for level, stage in enumerate(self.stages):
            features = stage(features)
            if self.training and level in MIXED_AFTER:
                features = style_mixed(features)
            levels.append(features)
        features = self.context(self.far(features))
        heads = features
        for level in reversed(range(4)):
            features = self.merges[level](features, levels[level])
            if level == 2:
                heads = features
        return self.parts(features), self.heads(heads)


def style_mixed(features: Tensor) -> Tensor:
    """Some pictures' features with mean and deviation between their own and another picture's."""
    count = len(features)
    some = torch.rand(count, 1, 1, 1, device=features.device) < MIXED_CHANCE
    beta = torch.distributions.Beta(MIXED_BETA, MIXED_BETA)
    share = beta.sample((count, 1, 1, 1)).to(features.device)
    share = torch.where(some, share, torch.ones_like(share))
    with torch.no_grad():
        spread, mean = torch.std_mean(features.float(), (2, 3), keepdim=True)
        spread = spread + 1e-5
        order = torch.randperm(count, device=features.device)
        gain = (share * spread + (1 - share) * spread[order]) / spread
        shift = share * mean + (1 - share) * mean[order] - gain * mean
    return features * gain.to(features.dtype) + shift.to(features.dtype)


def scaled(widths: tuple[int, ...], width: float) -> tuple[int, ...]:
    """Numbers of channels times a width, in multiples of eight."""
    return tuple(8 * round(channels * width / 8) for channels in widths)
