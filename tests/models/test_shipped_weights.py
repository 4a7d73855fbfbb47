"""Weights that training goes on from are those that ship."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="training needs PyTorch")
pytest.importorskip("onnx", reason="reading weights back needs ONNX", exc_type=ImportError)

from models.burns.export import write_onnx as write_burns  # noqa: E402
from models.burns.features import CHANNELS, SIDE  # noqa: E402
from models.burns.network import BurnNetwork  # noqa: E402
from models.parser.export import write_onnx as write_parser  # noqa: E402
from models.parser.network import Parser  # noqa: E402
from models.parser.shipped import folded, unfolded  # noqa: E402

HALVED = 0.02
# What weights in half precision may change of an answer.


def test_the_burn_network_answers_the_same(tmp_path: Path) -> None:
    torch.manual_seed(6)
    network, given = BurnNetwork().eval(), torch.rand(2, CHANNELS, SIDE, SIDE)
    write_burns(network, tmp_path / "burns.onnx")
    again = unfolded(BurnNetwork(), folded(tmp_path / "burns.onnx"), given)
    with torch.no_grad():
        np.testing.assert_allclose(again(given), network(given), atol=HALVED)


def test_the_parser_answers_the_same(tmp_path: Path) -> None:
    torch.manual_seed(7)
    network, given = Parser().eval(), torch.rand(2, 3, 128, 128)
    write_parser(network, tmp_path / "parser.onnx")
    again = unfolded(Parser(), folded(tmp_path / "parser.onnx"), given)
    with torch.no_grad():
        for mine, theirs in zip(again(given), network(given), strict=True):
            np.testing.assert_allclose(mine, theirs, atol=HALVED)
