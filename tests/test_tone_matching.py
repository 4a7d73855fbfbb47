"""The tone match of a shoot, from files to files; its measures are tested with the step."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import skimage.color

import evenhand
from tests.command_line import run
from tests.pictures import frame_of, person_in, pixels_in, skin_of, write_file

HEIGHT, WIDTH = 160, 200
GAINS = ((1.15, 1.0, 0.9), (0.88, 0.95, 1.04), (1.06, 1.1, 1.12))
"""A camera's wandering automatic, gains of sRGB channels in linear light; made up."""

pytestmark = pytest.mark.usefixtures("known_people")


@pytest.fixture
def shoot(tmp_path: Path) -> list[Path]:
    """The same picture under several white balances; the first is as it should be."""
    frame = frame_of(HEIGHT, WIDTH, 16) / 65535
    linear = np.where(frame <= 0.04045, frame / 12.92, ((frame + 0.055) / 1.055) ** 2.4)
    paths = []
    for number, gains in enumerate([(1.0, 1.0, 1.0), *GAINS]):
        lit = np.clip(0.8 * linear * gains, 0, 1)
        encoded = np.where(lit <= 0.0031308, 12.92 * lit, 1.055 * lit ** (1 / 2.4) - 0.055)
        pixels = np.rint(encoded * 65535).astype(np.uint16)
        paths.append(write_file(pixels, tmp_path / "shoot" / f"{number}.png"))
    return paths


def skin_lab(path: Path) -> np.ndarray:
    """Median colour of skin, L*a*b* of scikit-image (D65)."""
    skin = skin_of(person_in(HEIGHT, WIDTH), (HEIGHT, WIDTH)) > 0.9
    return np.median(skimage.color.rgb2lab(pixels_in(path) / 65535)[skin], axis=0)


def around_mean(colours: list[np.ndarray]) -> float:
    middle = np.mean(colours, axis=0)
    return float(np.mean([skimage.color.deltaE_ciede2000(colour, middle) for colour in colours]))


def test_it_only_measures_unless_asked(shoot: list[Path], tmp_path: Path) -> None:
    done = run("tone", shoot[0], tmp_path / "shoot", "--json")
    assert done.exit_code == 0, done.output
    report = json.loads(done.stdout)
    assert [tone["name"] for tone in report["portraits"]] == ["1.png", "2.png", "3.png"]
    assert report["strength"] is None
    # Another selection of skin (all of it, instead of ordinary light of the face) is measured here.
    assert report["spread_before"] == pytest.approx(
        around_mean(list(map(skin_lab, shoot))), rel=0.1
    )
    assert report["spread_after"] < 0.2 * report["spread_before"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["shoot"]
    done = run("tone", shoot[0], *shoot[1:])
    assert "CIEDE2000 around its mean" in done.output
    assert "belongs before a doctor" in done.output


def test_a_matched_shoot_and_back_again(shoot: list[Path], tmp_path: Path) -> None:
    out = tmp_path / "out"
    done = run("tone", *shoot, "--out", out, "--strength", "1", "--json")
    assert done.exit_code == 0, done.output
    report = json.loads(done.stdout)
    names = [path.name for path in shoot[1:]]
    assert sorted(p.name for p in out.glob("*.png")) == names
    before, after = (
        around_mean([skin_lab(shoot[0]), *(skin_lab(folder / name) for name in names)])
        for folder in (tmp_path / "shoot", out)
    )
    assert after < 0.25 * before
    assert report["spread_after"] == pytest.approx(after, abs=0.2)
    for name in names:
        whole = evenhand.revert(out / name, tmp_path / "back")
        assert whole.whole
        assert (pixels_in(whole.path) == pixels_in(tmp_path / "shoot" / name)).all()
    layers = out / "1.layers"
    none = evenhand.blend_stored(layers, tmp_path / "none", {"tone": 0.0})
    assert (pixels_in(none) == pixels_in(shoot[1])).all()
    index = json.loads((layers / "layers.json").read_text())
    assert [layer["step"] for layer in index["layers"]] == ["tone"]


def test_the_cap_holds(shoot: list[Path], tmp_path: Path) -> None:
    """CIEDE2000 after scikit-image, with 0.02 for its rounded matrices."""
    out = tmp_path / "out"
    assert run("tone", *shoot, "--out", out, "--strength", "1", "--cap", "2").exit_code == 0
    before, after = (
        skimage.color.rgb2lab(pixels_in(path) / 65535) for path in (shoot[1], out / "1.png")
    )
    largest = skimage.color.deltaE_ciede2000(before, after).max()
    assert 1.9 < largest < 2.02


def test_what_cannot_be_done_is_told(shoot: list[Path], tmp_path: Path) -> None:
    done = run("tone", *shoot, "--out", tmp_path / "out")
    assert done.exit_code == 2
    assert "both --out and --strength" in done.output
    done = run("tone", *shoot, "--out", tmp_path / "out", "--strength", "2")
    assert done.exit_code == 2
    assert "strength: Input should be less than or equal" in done.output
    shoot[2].write_bytes(b"")
    done = run("tone", *shoot)
    assert done.exit_code == 1
    assert "2.png" in done.output
    assert "Skin over 3 portraits" in done.output


def test_a_reference_without_skin(shoot: list[Path], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("evenhand.retouching.tone_matching.find_people", lambda *_: [])
    done = run("tone", *shoot)
    assert done.exit_code == 1
    assert "nobody was found" in done.output
