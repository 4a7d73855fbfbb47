"""The burn network's training: it is given what the engine gives it, and points lie in burns."""

from __future__ import annotations

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="training needs PyTorch, using the network does not")

from evenhand.people import burnt as engine  # noqa: E402
from models.burns import features as training  # noqa: E402
from models.burns.network import BurnNetwork, Compare  # noqa: E402
from models.burns.pictures import MARGIN, drawn, some_points, squares  # noqa: E402
from tests.models.test_parser_training import one_head  # noqa: E402


def test_engine_and_training_give_the_network_the_same() -> None:
    assert (engine.SIDE, engine.MARGIN) == (training.SIDE, MARGIN)
    rng = np.random.default_rng(1)
    seen = rng.integers(0, 256, (training.SIDE, training.SIDE, 6)).astype(np.uint8)
    points = (rng.random((training.SIDE, training.SIDE, 2)) > 0.99).astype(np.float32)
    mine = engine.features(seen, points)
    planes = torch.from_numpy(seen.astype(np.float32) / 255).permute(2, 0, 1)[None]
    given = planes[:, :3], planes[:, 3:4], planes[:, 4:5], planes[:, 5:6]
    theirs = training.features(*given, torch.from_numpy(points).permute(2, 0, 1)[None])
    assert mine is not None
    np.testing.assert_allclose(mine, theirs[0].numpy(), atol=1e-5)


def test_a_square_holds_all_of_a_persons_skin() -> None:
    mine = torch.zeros(1, 60, 60, dtype=torch.bool)
    mine[0, 20:50, 10:22] = True
    matrix, zoom = squares(mine, vary=False)
    corners = torch.tensor([[20.0, 40.0, 1.0], [43.0, 99.0, 1.0]])  # pixels of the whole view
    inverse = torch.linalg.inv(torch.cat([matrix[0], torch.tensor([[0.0, 0, 1]])]))
    inside = (inverse @ corners.T)[:2]
    assert inside.min() > 0
    assert inside.max() < training.SIDE - 1
    assert float(zoom[0]) == pytest.approx(training.SIDE / (60 * (1 + 2 * MARGIN)))


def test_points_lie_where_they_may() -> None:
    torch.manual_seed(3)
    where = torch.zeros(2, 1, 64, 64)
    where[0, 0, 30:40, 30:40] = 1
    points = some_points(where, torch.tensor([True, True]))
    rows, columns = torch.nonzero(points[0, 0], as_tuple=True)
    assert 27 <= int(rows.min()) <= int(rows.max()) <= 42
    assert 27 <= int(columns.min()) <= int(columns.max()) <= 42
    assert not points[1].any()


def test_a_batch_is_whole_and_the_network_answers_it() -> None:
    torch.manual_seed(4)
    people = drawn(one_head(), 4)
    assert people.features.shape == (4, training.CHANNELS, training.SIDE, training.SIDE)
    assert torch.isfinite(people.features).all()
    answer = BurnNetwork().eval()(people.features)
    assert answer.shape == people.burn.shape == people.weight.shape
    assert float(people.burn.min()) >= 0
    assert float(people.burn.max()) <= 1


def test_comparing_changes_nothing_at_first_and_reaches_every_place_later() -> None:
    torch.manual_seed(5)
    compare = Compare(64, 6).eval()
    features = torch.randn(2, 64, 6, 6)
    assert torch.equal(compare(features), features)
    torch.nn.init.normal_(compare.told.weight)
    changed = features.clone()
    changed[0, :, 0, 0] += 1.0
    difference = (compare(changed) - compare(features)).abs().amax(1)
    assert (difference[0] > 0).all()
    assert not difference[1].any()
