"""The one way through the steps: who is retouched, how, and inside which caps."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import skimage.color
from pydantic import ValidationError

import evenhand
from evenhand.box import Box
from evenhand.computing import RetouchSettings, Step, compute_layers, strengths_of
from evenhand.jobs.retoucher import Engine
from evenhand.layers import blend
from evenhand.people.person import Mask, Person, Region
from evenhand.photo.photograph import Photograph
from evenhand.retouching.portrait import retouch
from evenhand.steps.patch import Change, SkinPatch
from evenhand.steps.smoothing import SmoothingSettings
from tests.pictures import frame_of, person_in, photograph_of, write_file

HEIGHT, WIDTH = 100, 140


def two_people() -> tuple[Photograph, list[Person]]:
    """The made-up person twice, side by side."""
    one = person_in(HEIGHT, WIDTH)
    moved = {
        region: Mask(_moved(mask.box, WIDTH), mask.alpha) for region, mask in one.masks.items()
    }
    frame = frame_of(HEIGHT, WIDTH)
    return photograph_of(np.hstack([frame, frame])), [one, replace(one, index=1, masks=moved)]


def _moved(box: Box, right: int) -> Box:
    return replace(box, left=box.left + right, right=box.right + right)


def test_settings_differ_from_person_to_person() -> None:
    photo, people = two_people()
    settings = RetouchSettings.model_validate(
        {"by_person": {1: {"steps": ["smoothing"], "smoothing": {"strength": 0.2, "cap": 1}}}}
    )
    layers = compute_layers(photo, people, settings)
    made = [(layer.person, layer.step, layer.cap) for layer in layers]
    assert made == [(0, "redness", 16.0), (0, "smoothing", 8.0), (1, "smoothing", 1.0)]
    assert strengths_of(layers) == [1.0, 0.55, 0.2]


@pytest.mark.parametrize("step", ["redness", "smoothing"])
def test_settings_differ_from_region_to_region(step: str) -> None:
    photo, person = photograph_of(frame_of(HEIGHT, WIDTH)), person_in(HEIGHT, WIDTH)
    chosen = {"steps": [step], "redness": {"burnt_at": [[70, 85]]}}
    (everywhere,) = compute_layers(photo, [person], RetouchSettings.model_validate(chosen))
    chosen[step] = {**chosen.get(step, {}), "by_region": {"arm": 0}}
    (no_arm,) = compute_layers(photo, [person], RetouchSettings.model_validate(chosen))
    arm = person.masks[Region.ARM].box
    assert _changed(everywhere, photo)[arm.slices].any()
    assert not _changed(no_arm, photo)[arm.slices].any()
    if step == "smoothing":
        face = Box(10, 30, 60, 110)
        same = _changed(no_arm, photo)[face.slices] == _changed(everywhere, photo)[face.slices]
        assert same.all()


def _changed(layer: evenhand.Layer, photo: Photograph) -> np.ndarray:
    frame = np.zeros((*photo.shape, 3), np.int32)
    frame[layer.box.slices] = layer.difference
    return frame


def test_nothing_runs_without_permission() -> None:
    photo, people = two_people()
    permission = {1: {"smoothing", "marks"}}
    own = Step("own", lambda patch, _: Change(patch.linear * 1.1), settings=SmoothingSettings())
    layers = compute_layers(photo, people, permission=permission, further=[own])
    assert [(layer.person, layer.step) for layer in layers] == [(1, "smoothing")]
    assert compute_layers(photo, people, permission={}) == []


@pytest.mark.usefixtures("known_people")
def test_a_file_without_permission_is_left(tmp_path: Path) -> None:
    path = write_file(frame_of(HEIGHT, WIDTH), tmp_path / "portrait.png")
    report = retouch(path, tmp_path / "out", permission={})
    assert "nobody agreed" in report.advice
    assert not (tmp_path / "out").exists()


def test_eyes_that_are_not_seen_are_left_out(tmp_path: Path) -> None:
    """Skin that is only pointed at has no eyes."""
    path = write_file(frame_of(HEIGHT, WIDTH), tmp_path / "portrait.png")
    settings = RetouchSettings(steps=("eyes",), skin_at=((70, 35),))
    report = retouch(path, tmp_path / "out", settings)
    assert report.layers == []
    assert "eyes" in report.advice
    both = RetouchSettings(steps=("smoothing", "eyes"), skin_at=((70, 35),))
    report = retouch(path, tmp_path / "out", both, dry_run=True)
    assert [layer.step for layer in report.layers] == ["smoothing"]


def _bright(patch: SkinPatch, _: SmoothingSettings) -> Change:
    return Change(patch.linear * 3)


@pytest.mark.parametrize("whole_frame", [False, True])
def test_a_step_of_your_own_is_held_inside_its_mask_and_cap(whole_frame: bool) -> None:
    """The oracle of the difference is scikit-image."""
    photo, person = photograph_of(frame_of(HEIGHT, WIDTH)), person_in(HEIGHT, WIDTH)
    step = Step("brighter", _bright, settings=SmoothingSettings(cap=3), whole_frame=whole_frame)
    layers = compute_layers(photo, [person], RetouchSettings(steps=()), further=[step])
    after = blend(photo, layers, {"brighter": 1})
    difference = skimage.color.deltaE_ciede2000(
        *(skimage.color.rgb2lab(pixels) for pixels in (photo.pixels, after))
    )
    assert 2 < difference.max() <= 3
    assert (difference[person.skin(photo.frame) == 0] == 0).all()


def test_all_layers_together_keep_the_sum() -> None:
    photo, person = photograph_of(frame_of(HEIGHT, WIDTH)), person_in(HEIGHT, WIDTH)
    steps = [Step(name, _bright, settings=SmoothingSettings(cap=9)) for name in ("one", "two")]
    settings = RetouchSettings(steps=(), cap=4)
    layers = compute_layers(photo, [person], settings, further=steps)
    after = blend(photo, layers, [1.0] * len(layers))
    difference = skimage.color.deltaE_ciede2000(
        *(skimage.color.rgb2lab(pixels) for pixels in (photo.pixels, after))
    )
    assert 3 < difference.max() <= 4


def test_a_step_of_your_own_needs_settings() -> None:
    photo, person = photograph_of(frame_of(HEIGHT, WIDTH)), person_in(HEIGHT, WIDTH)
    with pytest.raises(ValueError, match="'own' has no settings"):
        compute_layers(photo, [person], further=[Step("own", _bright)])


def test_an_unknown_step_is_refused() -> None:
    with pytest.raises(ValidationError, match="unknown step 'shape'"):
        RetouchSettings.model_validate({"by_person": {0: {"steps": ["shape"]}}})


def test_the_service_goes_the_same_way() -> None:
    """What jobs ask for gives the very layers of the function itself."""
    photo, people = two_people()
    wanted = {1: {"smoothing": {"cap": 5}, "eyes": {}}}
    layers = Engine().layers(photo, people, wanted)
    settings = RetouchSettings.model_validate(
        {"steps": ["smoothing", "eyes"], "smoothing": {"cap": 5}}
    )
    same = compute_layers(photo, [people[1]], settings)
    assert [layer.step for layer in layers] == [layer.step for layer in same]
    for one, other in zip(layers, same, strict=True):
        np.testing.assert_array_equal(one.difference, other.difference)


def test_caps_are_applied_in_one_place() -> None:
    package = Path(evenhand.__file__).parent
    callers = set()
    for path in package.rglob("*.py"):
        if "models" in path.relative_to(package).parts:
            continue
        names = {
            node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            for node in ast.walk(ast.parse(path.read_text()))
            if isinstance(node, ast.Call)
        }
        if names & {"layer_from_change", "limit_sum"}:
            callers.add(path.relative_to(package).as_posix())
    # the rehearsal compiles the loops on made-up pixels; no photograph passes through it
    assert callers - {"retouching/rehearsal.py"} == {"computing/computing.py"}
