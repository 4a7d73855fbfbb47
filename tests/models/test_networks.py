"""The networks that are run are those whose cards were read."""

from __future__ import annotations

import hashlib
import re
from importlib.util import find_spec
from pathlib import Path

import pytest

MODELS = Path(__file__).parents[2] / "models"

ROWS = re.findall(r"\| `(\S+\.tflite)` \| `([0-9a-f]{64})` \|", (MODELS / "README.md").read_text())


def test_every_network_is_listed() -> None:
    assert len(ROWS) == 3


@pytest.mark.parametrize(("file", "sha256"), ROWS)
def test_installed_networks_are_the_listed_ones(file: str, sha256: str) -> None:
    spec = find_spec("mediapipe")
    assert spec is not None
    assert spec.origin is not None
    network = Path(spec.origin).parent / "modules" / file
    assert hashlib.sha256(network.read_bytes()).hexdigest() == sha256
