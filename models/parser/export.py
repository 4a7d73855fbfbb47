"""Writes the trained network as ONNX with weights in half precision, and checks the file.

python -m models.parser.export parser.pt parser.onnx
"""

from __future__ import annotations

import copy
import hashlib
import sys
from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper
from torch import nn
from torch.nn.utils.fusion import fuse_conv_bn_eval

OPSET = 17
# ONNX operator set; OpenCV 4.11 reads it.


class Answer(nn.Module):
    """The network with chances of parts instead of logits."""

    def __init__(self, network: nn.Module) -> None:
        super().__init__()
        self.network = network

    def forward(self, picture: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Chances of the parts and the head maps."""
        parts, heads = self.network(picture)
        return parts.softmax(1), heads


def fused(module: nn.Module) -> nn.Module:
    """The module with each batch normalisation folded into the convolution before it."""
    for name, child in module.named_children():
        if isinstance(child, nn.Sequential):
            layers = list(child)
            for place in range(len(layers) - 1):
                if isinstance(layers[place], nn.Conv2d) and isinstance(
                    layers[place + 1], nn.BatchNorm2d
                ):
                    child[place] = fuse_conv_bn_eval(layers[place], layers[place + 1])
                    child[place + 1] = nn.Identity()
        fused(getattr(module, name))
    return module


def halved(model: onnx.ModelProto) -> onnx.ModelProto:
    """The model with big weights stored in half precision and cast back on loading."""
    casts = []
    for weight in list(model.graph.initializer):
        values = numpy_helper.to_array(weight)
        if values.dtype == np.float32 and values.size > 1000:
            small = numpy_helper.from_array(values.astype(np.float16), weight.name + ".half")
            model.graph.initializer.remove(weight)
            model.graph.initializer.append(small)
            casts.append(
                helper.make_node("Cast", [small.name], [weight.name], to=TensorProto.FLOAT)
            )
    for cast in reversed(casts):
        model.graph.node.insert(0, cast)
    return model


def write_onnx(network: nn.Module, path: Path) -> str:
    """Writes the file and returns its SHA-256."""
    ready = Answer(fused(copy.deepcopy(network).float().eval())).eval()
    torch.onnx.export(
        ready,
        (torch.rand(1, 3, 256, 256),),
        str(path),
        dynamo=False,
        opset_version=OPSET,
        input_names=["picture"],
        output_names=["parts", "heads"],
        dynamic_axes={
            "picture": {2: "height", 3: "width"},
            "parts": {2: "half_height", 3: "half_width"},
            "heads": {2: "cells_down", 3: "cells_across"},
        },
    )
    onnx.save(halved(onnx.load(str(path))), str(path))
    onnx.checker.check_model(str(path))
    return hashlib.sha256(path.read_bytes()).hexdigest()


if __name__ == "__main__":
    from .train import loaded

    print(write_onnx(loaded(Path(sys.argv[1])), Path(sys.argv[2])))
