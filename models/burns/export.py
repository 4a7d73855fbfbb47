"""Writes the burn network as ONNX: features in, belief out.

python -m models.burns.export burns.pt burns.onnx
"""

from __future__ import annotations

import copy
import sys
from pathlib import Path

import onnx
import torch
from torch import nn

from models.parser.export import OPSET, fused, halved

from .features import CHANNELS, SIDE
from .network import BurnNetwork


class Belief(nn.Module):
    """The network with chances instead of logits."""

    def __init__(self, network: nn.Module) -> None:
        super().__init__()
        self.network = network

    def forward(self, features: torch.Tensor) -> torch.Tensor:
        """Chance that skin is burnt."""
        return self.network(features).sigmoid()


def write_onnx(network: nn.Module, path: Path) -> None:
    """Writes the file and checks it."""
    ready = Belief(fused(copy.deepcopy(network).float().eval())).eval()
    torch.onnx.export(
        ready, (torch.rand(1, CHANNELS, SIDE, SIDE),), str(path), dynamo=False,
        opset_version=OPSET, input_names=["features"], output_names=["belief"],
    )  # fmt: skip
    onnx.save(halved(onnx.load(str(path))), str(path))
    onnx.checker.check_model(str(path))


if __name__ == "__main__":
    trained_network = BurnNetwork()
    trained_network.load_state_dict(torch.load(sys.argv[1], "cpu", weights_only=True))
    write_onnx(trained_network, Path(sys.argv[2]))
