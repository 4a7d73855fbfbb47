"""A layer set for other programs: read back by pyora, tifffile, OpenCV and Pillow."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile
from pyora import Project

import evenhand
from tests.command_line import run
from tests.pictures import frame_of, pixels_in, write_file

HEIGHT, WIDTH = 96, 128

pytestmark = pytest.mark.usefixtures("known_people")


@pytest.mark.parametrize("bits", [8, 16])
def test_layers_for_other_programs(bits: int, tmp_path: Path) -> None:
    original = frame_of(HEIGHT, WIDTH, bits)
    path = write_file(original, tmp_path / "originals" / "portrait.png")
    evenhand.retouch(path, tmp_path / "out")
    result = pixels_in(tmp_path / "out" / "portrait.png")
    done = run("hand-off", tmp_path / "out" / "portrait.layers", "--out", tmp_path / "for-others")
    assert done.exit_code == 0, done.output
    assert "belongs before a doctor" in done.output
    folder = tmp_path / "for-others"
    assert sorted(p.name for p in folder.iterdir()) == ["portrait.ora", "portrait.tiffs"]
    project = Project.load(str(folder / "portrait.ora"))
    names = [layer.name for layer in project.children]  # topmost first
    assert names == ["smoothing", "redness", "original"]
    assert all(layer.visible for layer in project.children)

    names = ["0-original.tif", "1-redness.tif", "2-smoothing.tif"]
    assert sorted(p.name for p in (folder / "portrait.tiffs").iterdir()) == names
    bottom, *above = (tifffile.imread(folder / "portrait.tiffs" / name) for name in names)
    assert np.array_equal(bottom, original)
    shown = bottom
    for layer in above:
        assert layer.shape == (HEIGHT, WIDTH, 4)
        shown = np.where(layer[..., 3:] > 0, layer[..., :3], shown)
    assert np.array_equal(shown, result)
    if bits == 8:
        merged = np.asarray(project.get_image_data(use_original=True).convert("RGB"))
        assert np.array_equal(merged, result)


def test_at_other_strengths_and_not_over_what_is_there(tmp_path: Path) -> None:
    path = write_file(frame_of(HEIGHT, WIDTH), tmp_path / "originals" / "portrait.png")
    evenhand.retouch(path, tmp_path / "out")
    layers, out = tmp_path / "out" / "portrait.layers", tmp_path / "for-others"
    evenhand.hand_off(layers, out, {"redness": 0.5, "smoothing": 0})
    half = evenhand.blend_stored(layers, tmp_path / "half", {"redness": 0.5, "smoothing": 0})
    layer = tifffile.imread(out / "portrait.tiffs" / "1-redness.tif")
    inside = layer[..., 3] > 0
    assert inside.any()
    assert np.array_equal(layer[inside][:, :3], pixels_in(half)[inside])
    assert not tifffile.imread(out / "portrait.tiffs" / "2-smoothing.tif").any()
    done = run("hand-off", layers, "--out", out)
    assert done.exit_code == 1
    assert "is already there" in done.output


def test_the_original_is_needed(tmp_path: Path) -> None:
    path = write_file(frame_of(HEIGHT, WIDTH), tmp_path / "originals" / "portrait.png")
    evenhand.retouch(path, tmp_path / "out")
    moved = path.rename(tmp_path / "moved.png")
    command = "hand-off", tmp_path / "out" / "portrait.layers", "--out", tmp_path / "for-others"
    done = run(*command)
    assert done.exit_code == 1
    assert "--photograph" in done.output
    assert not (tmp_path / "for-others").exists()
    assert run(*command, "--photograph", moved).exit_code == 0
