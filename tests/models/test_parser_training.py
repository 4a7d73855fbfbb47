"""The parser's training: truth follows the picture through every change of frame."""

from __future__ import annotations

import pytest

torch = pytest.importorskip("torch", reason="training needs PyTorch, using the parser does not")

from models.parser.camera import photographed, quantised  # noqa: E402
from models.parser.frames import framed, framing, moved_heads  # noqa: E402
from models.parser.heads import head_targets, peaks  # noqa: E402
from models.parser.measures import PART_NAMES, heads_matched, summary  # noqa: E402
from models.parser.network import PART_COUNT, style_mixed  # noqa: E402
from models.parser.textures import folds  # noqa: E402
from models.parser.variation import varied_batch  # noqa: E402
from models.parser.views import (  # noqa: E402
    CLASS_TO_PART,
    HEAD_NUMBERS,
    MOST_HEADS,
    MOST_PEOPLE,
    Views,
    roll_in_picture,
    split_of,
)


def one_head(size: int = 96) -> Views:
    """Two views of a bright disc, part 1, in front of dark; its box is its head."""
    row, column = torch.meshgrid(torch.arange(size), torch.arange(size), indexing="ij")
    disc = ((row - 40) ** 2 + (column - 52) ** 2) < 20**2
    light = torch.where(disc, 90, 40).byte().expand(2, 3, -1, -1).contiguous()
    part = disc.byte().expand(2, -1, -1).contiguous()
    heads = torch.full((2, MOST_HEADS, HEAD_NUMBERS), float("nan"))
    heads[:, 0] = torch.tensor([32.0, 20.0, 72.0, 60.0, 0.0, 30.0])
    half = torch.full((2, 3, size // 2, size // 2), 128, dtype=torch.uint8)
    bounds = torch.tensor([[-1.0, -1, 0], [1, 1, 2]]).expand(2, -1, -1).contiguous()
    return Views(
        light, part, part * 255, part * 0, heads, half, half, part[:, ::2, ::2].contiguous(),
        half[:, 0], bounds, torch.full((2, MOST_PEOPLE), 3.0),
    )  # fmt: skip


def test_every_class_has_a_part() -> None:
    assert len(CLASS_TO_PART) == 24
    assert set(CLASS_TO_PART) == set(range(PART_COUNT))
    assert len(PART_NAMES) == PART_COUNT


@pytest.mark.parametrize(
    ("yaw", "pitch", "roll", "expected"),
    [(0, 0, -17, 17), (90, 20, 0, -20), (-90, 20, 0, 20), (180, 0, -17, -17), (30, 0, 0, 0)],
)
def test_roll_in_the_picture(yaw: float, pitch: float, roll: float, expected: float) -> None:
    # a profile that looks up leans back: to the left of the picture if it faces right
    assert roll_in_picture(yaw, pitch, roll) == pytest.approx(expected, abs=1e-6)


def test_the_test_split_is_never_trained_on() -> None:
    splits = [split_of(seed) for seed in range(300)]
    assert splits.count("test") == 100
    assert all((split == "test") == (seed % 3 == 0) for seed, split in enumerate(splits))
    assert splits.count("check") > 0


def test_heads_and_labels_move_with_the_picture() -> None:
    torch.manual_seed(5)
    views = one_head()
    for _ in range(20):
        scene = framed(views, torch.tensor([0, 1]), 96)
        for index in range(2):
            head = scene.heads[index, 0]
            rows, columns = torch.nonzero(scene.part[index, 0], as_tuple=True)
            if torch.isnan(head[0]) or not len(rows):
                continue
            if head[:2].min() < 1 or head[2:4].max() > 94:
                continue
            seen = torch.stack([columns.min(), rows.min(), columns.max() + 1, rows.max() + 1])
            assert (head[:4] - seen).abs().max() < 4


def test_mirroring_turns_the_yaw_and_turning_adds_to_the_roll() -> None:
    torch.manual_seed(6)
    views = one_head()
    matrix, _ = framing(views, torch.zeros(64, dtype=torch.long), 96)
    moved = moved_heads(views.heads[:1].expand(64, -1, -1), matrix, 96)[:, 0]
    known = ~torch.isnan(moved[:, 0])
    mirrored = torch.linalg.det(matrix[:, :, :2]) < 0
    assert known.any()
    assert (moved[known & mirrored, 5] == -30).all()
    assert (moved[known & ~mirrored, 5] == 30).all()


def test_heads_are_read_back_from_their_maps() -> None:
    heads = torch.full((1, MOST_HEADS, 6), float("nan"))
    heads[0, 0] = torch.tensor([40.0, 50.0, 100.0, 130.0, 20.0, -95.0])
    heads[0, 1] = torch.tensor([200.0, 60.0, 230.0, 100.0, -160.0, 170.0])
    peak, values, _ = head_targets(heads, 256)
    logit = torch.logit(peak.clamp(1e-4, 1 - 1e-4))
    found = peaks(torch.cat([logit[:, None], values], 1), 0.99)[0]
    assert len(found) == 2
    order = found[:, 0].argsort()
    torch.testing.assert_close(found[order][:, :6], heads[0, :2], atol=0.01, rtol=0)
    assert heads_matched(found, heads[0, :2])[:2] == (2, 2)


def test_a_batch_is_whole() -> None:
    torch.manual_seed(7)
    batch = varied_batch(one_head(), 4, 64)
    assert batch.picture.shape == (4, 3, 64, 64)
    assert 0 <= batch.picture.min() <= batch.picture.max() <= 1
    assert batch.part.shape == (4, 32, 32)
    assert torch.isfinite(batch.skin).all()
    assert torch.isfinite(photographed(torch.rand(2, 3, 64, 64) * 5)[0]).all()


def test_fine_block_compression_loses_nothing() -> None:
    channel = torch.rand(2, 1, 32, 32)
    again = quantised(channel, torch.full((2, 1, 1), 1e-5))
    torch.testing.assert_close(again, channel, atol=1e-4, rtol=0)


def test_a_perfect_table_has_perfect_figures() -> None:
    figures = summary(torch.eye(PART_COUNT, dtype=torch.float64) * 10)
    assert figures["skin_f1"] == 1
    assert set(figures["part_iou"].values()) == {1.0}
    assert set(figures["share_taken_for_skin"].values()) == {0.0}


def test_mixing_styles_keeps_what_a_feature_shows_and_where() -> None:
    torch.manual_seed(7)
    features = torch.randn(6, 3, 8, 8) * 2 + 1
    mixed = style_mixed(features)
    flat, other = features.flatten(2), mixed.flatten(2)
    for k in range(6):
        for channel in range(3):
            pair = torch.stack([flat[k, channel], other[k, channel]])
            assert float(torch.corrcoef(pair)[0, 1]) == pytest.approx(1, abs=1e-4)
    spreads = flat.std(2)
    assert float(other.std(2).max()) <= float(spreads.max()) * 1.001
    assert float(other.std(2).min()) >= float(spreads.min()) * 0.999


def test_folds_shade_both_ways() -> None:
    torch.manual_seed(8)
    shade = folds(4, 96, torch.zeros(1))
    assert shade.shape == (4, 1, 96, 96)
    assert (shade.flatten(1).amin(1) < 1).all()
    assert (shade.flatten(1).amax(1) > 1).all()
    assert 0.9 < float(shade.mean()) < 1.2
