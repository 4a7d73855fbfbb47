"""Heads as maps: what the network is asked for, and how heads are read from its answer."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional

from .network import HEAD_STRIDE

USUAL_HEAD = 96.0
# Pixels; logarithms of width and height are taken relative to it.

SMALLEST_HEAD = 12.0
# Pixels; smaller heads are neither asked for nor counted.


def head_targets(heads: Tensor, size: int) -> tuple[Tensor, Tensor, Tensor]:
    """Maps that the network should answer for the heads of each picture.

    Parameters
    ----------
    heads : Tensor, shape (N, M, 6)
        Left, top, right, bottom, roll, yaw; NaN where there is none.
    size : int
        Side of the pictures in pixels.

    Returns
    -------
    peak : Tensor, shape (N, S/8, S/8)
        1 at the cell of each head's centre, falling off with its size.
    values : Tensor, shape (N, 8, S/8, S/8)
        Offset (x, y) in cells, log width and height, sine and cosine of roll and yaw.
    weight : Tensor, shape (N, S/8, S/8)
        Where `values` count.
    """
    cells = size // HEAD_STRIDE
    width, height = heads[..., 2] - heads[..., 0], heads[..., 3] - heads[..., 1]
    known = ~torch.isnan(width) & (torch.maximum(width, height) >= SMALLEST_HEAD)
    heads = torch.nan_to_num(heads)
    width, height = torch.nan_to_num(width).clamp(min=4), torch.nan_to_num(height).clamp(min=4)
    centre = (heads[..., :2] + heads[..., 2:4]) / 2 / HEAD_STRIDE - 0.5
    spread = (0.12 * (width * height).sqrt() / HEAD_STRIDE).clamp(min=0.7)
    step = torch.arange(cells, device=heads.device, dtype=torch.float32)
    dx = centre[..., 0, None, None] - step[None, None, None, :]
    dy = centre[..., 1, None, None] - step[None, None, :, None]
    near = torch.exp(-0.5 * (dx**2 + dy**2) / spread[..., None, None] ** 2)
    # the cell of the centre itself is exactly 1
    at_centre = (dx > -0.5) & (dx <= 0.5) & (dy > -0.5) & (dy <= 0.5)
    near = torch.where(at_centre, torch.ones_like(near), near * 0.98) * known[..., None, None]
    peak, owner = near.max(1)
    angles = torch.deg2rad(heads[..., 4:6])
    numbers = torch.stack(
        [
            torch.log(width / USUAL_HEAD),
            torch.log(height / USUAL_HEAD),
            torch.sin(angles[..., 0]),
            torch.cos(angles[..., 0]),
            torch.sin(angles[..., 1]),
            torch.cos(angles[..., 1]),
        ],
        2,
    )[..., None, None].expand(-1, -1, -1, cells, cells)
    dx, dy = dx.expand_as(near), dy.expand_as(near)
    numbers = torch.cat([dx[:, :, None], dy[:, :, None], numbers], 2)
    index = owner[:, None, None].expand(-1, 1, numbers.shape[2], -1, -1)
    return peak, numbers.gather(1, index)[:, 0], (peak > 0.5).float() * peak


def head_loss(answer: Tensor, heads: Tensor, size: int) -> Tensor:
    """Focal loss of the peaks (Zhou et al. 2019, equation 1) plus absolute error of the values."""
    peak, values, weight = head_targets(heads, size)
    logit = answer[:, 0].float()
    log_yes, log_no = functional.logsigmoid(logit), functional.logsigmoid(-logit)
    yes = logit.sigmoid()
    at_centre = (peak == 1).float()
    found = at_centre * (1 - yes) ** 2 * log_yes
    empty = (1 - at_centre) * (1 - peak) ** 4 * yes**2 * log_no
    count = at_centre.sum().clamp(min=1)
    error = (answer[:, 1:].float() - values).abs() * weight[:, None]
    return -(found + empty).sum() / count + error.sum() / weight.sum().clamp(min=1) / 4


def peaks(answer: Tensor, threshold: float) -> list[Tensor]:
    """Heads of each picture: rows of left, top, right, bottom, roll, yaw, confidence."""
    answer = answer.float()
    confidence = answer[:, 0].sigmoid()
    highest = functional.max_pool2d(confidence[:, None], 3, 1, 1)[:, 0]
    is_peak = (confidence >= threshold) & (confidence == highest)
    found = []
    for index in range(len(answer)):
        row, column = torch.nonzero(is_peak[index], as_tuple=True)
        value = answer[index, 1:, row, column]
        x = (column + 0.5 + value[0]) * HEAD_STRIDE
        y = (row + 0.5 + value[1]) * HEAD_STRIDE
        half_width, half_height = value[2:4].clamp(-4, 3).exp() * USUAL_HEAD / 2
        roll = torch.rad2deg(torch.atan2(value[4], value[5]))
        yaw = torch.rad2deg(torch.atan2(value[6], value[7]))
        score = confidence[index, row, column]
        box = [x - half_width, y - half_height, x + half_width, y + half_height]
        found.append(torch.stack([*box, roll, yaw, score], 1))
    return found
