"""Weights of the burn network that can be trained on, read back from the shipped file.

python -m models.burns.shipped burns.onnx burns.pt --views VIEWS
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch

from models.parser.shipped import folded, unfolded, views_for

from .network import BurnNetwork
from .pictures import drawn

PEOPLE = 96
# Of the batch that tells mean and deviation of each normalisation.


def main() -> None:
    """Reads the file, writes weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--views", type=Path, required=True)
    options = parser.parse_args()
    torch.manual_seed(1)
    with torch.no_grad():
        people = drawn(views_for(options.views), PEOPLE)
    network = unfolded(BurnNetwork(), folded(options.file), people.features)
    torch.save(network.state_dict(), options.out)


if __name__ == "__main__":
    main()
