"""The figures of the mask evaluation, on cases worked by hand."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from skimage.metrics import hausdorff_distance

from tests.evaluation.masks import measure, totals
from tests.evaluation.masks_measures import (
    Counts,
    Found,
    boundary_error,
    faces_matched,
    figures_of,
    outline,
    tone_group,
    typology_angle,
)
from tests.evaluation.masks_sets import Sample


def square_sample() -> Sample:
    """A 40 x 40 square of skin in 100 x 100, with an eye of 4 x 5 in it."""
    skin = np.zeros((100, 100), bool)
    skin[30:70, 30:70] = True
    eye = np.zeros_like(skin)
    eye[40:44, 40:45] = True
    skin &= ~eye
    pixels = np.full((100, 100, 3), (200, 150, 130), np.uint8)
    judged = np.ones_like(skin)
    kept = {"eye": eye, "background": ~skin & ~eye}
    return Sample("square", Path(), pixels, skin, judged, kept, skin, ((30, 30, 70, 70),))


def test_counts_of_a_worked_case() -> None:
    counts = Counts(hit=80, false=20, missed=40)
    assert counts.precision == pytest.approx(0.8)
    assert counts.recall == pytest.approx(2 / 3)
    assert counts.f1 == pytest.approx(8 / 11)
    assert counts.iou == pytest.approx(4 / 7)


def test_a_mask_that_takes_half_of_the_eye_and_a_strip_of_background() -> None:
    sample = square_sample()
    mask = sample.skin.astype(np.float32)
    mask[40:42, 40:45] = 1
    mask[20:22, 0:10] = 1
    figures = figures_of(sample, Found(mask, [(35, 35, 65, 65)], 0.5, 0.1))
    assert (figures.counts.hit, figures.counts.false, figures.counts.missed) == (1580, 30, 0)
    assert figures.leakage["eye"] == (10, 20)
    assert figures.leakage["background"] == (20, 8400)
    assert figures.heads_found == 1
    assert totals([figures])["f1"] == pytest.approx(2 * 1580 / (2 * 1580 + 30))


def test_pixels_that_are_not_judged_do_not_count() -> None:
    sample = square_sample()
    sample.judged[:30] = False
    mask = sample.skin.astype(np.float32)
    mask[:10] = 1
    assert figures_of(sample, Found(mask, [], None, 0.1)).counts.false == 0


def test_outlines_five_pixels_apart() -> None:
    wide = np.zeros((60, 60), bool)
    wide[10:50, :] = True
    narrow = np.zeros_like(wide)
    narrow[15:45, :] = True
    assert boundary_error(wide, narrow) == pytest.approx(5, abs=0.1)
    # the largest distance, by an independent implementation, is the same here
    assert hausdorff_distance(outline(wide), outline(narrow)) == pytest.approx(5)
    assert math.isnan(boundary_error(wide, np.zeros_like(wide)))


def test_a_face_counts_once_and_only_inside_its_head() -> None:
    heads = [(0.0, 0.0, 100.0, 200.0), (300.0, 0.0, 400.0, 100.0)]
    faces = [(20.0, 50.0, 80.0, 150.0), (25.0, 55.0, 85.0, 155.0), (600.0, 0.0, 700.0, 100.0)]
    assert faces_matched(heads, faces) == (1, 1, 1, 2)


def test_typology_angle_is_that_of_its_formula() -> None:
    sample = square_sample()
    # sRGB (200, 150, 130) is CIELAB 66.1, 15.9, 18.1 (D65; from the CIE 15 formulae by hand)
    expected = math.degrees(math.atan2(66.1 - 50, 18.1))
    assert typology_angle(sample) == pytest.approx(expected, abs=1.5)
    assert tone_group(expected) == "light"
    assert tone_group(-45.0) == "dark"


def test_an_absent_set_is_skipped(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert measure(str(tmp_path), "people", None, None) == {}
    assert "skipped" in capsys.readouterr().out
