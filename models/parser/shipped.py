"""Weights that can be trained on, read back from the shipped file.

    python -m models.parser.shipped parser.onnx parser.pt --views VIEWS

The file holds each batch normalisation folded into the convolution before it. Here they are taken
apart again: what a batch of pictures shows of mean and deviation there is divided out and given
back, so that the network answers as before and can learn on.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TypeVar

import onnx
import torch
from onnx import numpy_helper
from torch import Tensor, nn

from .network import HalfInstanceNorm, Parser
from .train import save, some
from .variation import varied_batch
from .views import Views, read_views, scenes_of

Net = TypeVar("Net", bound=nn.Module)

PICTURES, SIZE = 48, 320
# Of the batch that tells mean and deviation.

SCENES = 40
# Scenes it is drawn from.


def folded(path: Path) -> dict[str, Tensor]:
    """Weights of the file by name."""
    weights = {}
    for tensor in onnx.load(str(path)).graph.initializer:
        name = tensor.name.removesuffix(".half").removeprefix("network.")
        weights[name] = torch.from_numpy(numpy_helper.to_array(tensor).copy()).float()
    return weights


def unfolded(network: Net, weights: dict[str, Tensor], given: Tensor) -> Net:
    """The network with the file's weights, its normalisations as `given` inputs show them."""
    hooks = []
    named = dict(network.named_parameters()) | dict(network.named_buffers())
    for name, tensor in named.items():
        if name in weights and tensor.shape == weights[name].shape:
            tensor.data.copy_(weights[name])
    for name, module in network.named_modules():
        stem, _, place = name.rpartition(".")
        before = f"{stem}.{int(place) - 1}.bias" if place.isdigit() else ""
        if isinstance(module, nn.BatchNorm2d) and before in weights:
            hooks.append(module.register_forward_pre_hook(_measuring(weights[before])))
        if isinstance(module, HalfInstanceNorm) and before in weights:
            own, other = weights[before].split([module.half, len(weights[before]) - module.half])
            hooks.append(module.all.register_forward_pre_hook(_measuring(other)))
            hooks.append(module.own.register_forward_pre_hook(_measuring(own)))
    network.eval()
    with torch.no_grad():
        network(given)
    for hook in hooks:
        hook.remove()
    return network


def _measuring(bias: Tensor):
    def measure(norm: nn.BatchNorm2d | nn.InstanceNorm2d, given: tuple[Tensor]) -> None:
        mean, variance = given[0].mean((0, 2, 3)), given[0].var((0, 2, 3), unbiased=False)
        if isinstance(norm, nn.BatchNorm2d):
            norm.running_mean, norm.running_var = mean, variance
        norm.weight.data = torch.sqrt(variance + norm.eps)
        norm.bias.data = bias + mean

    return measure


def views_for(folder: Path) -> Views:
    """Some training views to measure on."""
    views = read_views(some(scenes_of(folder, "train"), SCENES), torch.device("cpu"), 2)
    if views is None:
        raise SystemExit(f"no views under {folder}")
    return views


def main() -> None:
    """Reads the file, writes weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--views", type=Path, required=True)
    parser.add_argument("--width", type=float, default=1.2)
    parser.add_argument("--blocks", type=int, nargs=5, default=(0, 2, 2, 5, 3))
    options = parser.parse_args()
    torch.manual_seed(1)
    with torch.no_grad():
        pictures = varied_batch(views_for(options.views), PICTURES, SIZE).picture
    network = Parser(options.width, tuple(options.blocks))
    save(unfolded(network, folded(options.file), pictures), options.out)


if __name__ == "__main__":
    main()
