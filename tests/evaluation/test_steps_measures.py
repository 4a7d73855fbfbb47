"""What is left of a burn's border is measured as it was drawn."""

from __future__ import annotations

import numpy as np
import pytest

from tests.evaluation.steps_measures import colour_edges, linear_of_lab, residue
from tests.steps.skins import burnt


def test_an_edge_in_colour_is_as_steep_as_it_is_drawn() -> None:
    columns = np.broadcast_to(np.arange(120.0), (60, 120))
    ramp = np.stack([np.full(columns.shape, 60.0), 10 + 0.1 * columns, 0 * columns + 15], axis=-1)
    steep = colour_edges(linear_of_lab(ramp), 0.5)[30, 30:90]
    assert steep == pytest.approx(0.2, rel=0.01)  # 0.1 of a* a pixel of half a millimetre


@pytest.mark.parametrize("tone", ["light", "tan", "brown"])
def test_residue_is_no_edge_on_clean_skin_and_falls_as_a_burn_goes(tone: str) -> None:
    scene = burnt(tone)
    assert residue(scene, scene.clean) <= 1
    half = np.sqrt(scene.clean * scene.changed)
    assert residue(scene, scene.changed) > 1.5 * residue(scene, half) > 1.5


def test_a_burn_that_is_gone_in_a_part_leaves_its_edge() -> None:
    scene = burnt("light")
    cut = scene.changed.copy()
    cut[: cut.shape[0] // 2] = scene.clean[: cut.shape[0] // 2]
    assert residue(scene, cut) > 2
