"""Layer sets on disk: whole, checked, bound to their photograph, and open to anybody."""

import hashlib
import json
import os
import re
from importlib.resources import files
from typing import Any

import numpy as np
import pytest
import tifffile
from hypothesis import given, settings

from evenhand.box import Box
from evenhand.errors import (
    BrokenLayersError,
    NotWrittenError,
    WrongPhotographError,
    WrongSettingError,
)
from evenhand.layers import Layer, blend, layer_from_change, load, save, storage
from evenhand.photo.photograph import Photograph
from tests.layers import made


def made_layers(seed=1, depth=8, profile="none", shape=(30, 24), number=2):
    photograph = made.photograph_of(seed, shape, depth, profile)
    layers = []
    for person in range(number):
        box = made.box_in(seed + person, shape)
        change = made.change_of(seed + person, photograph, box, 0.1)
        mask = made.mask_of(seed + person, box)
        settings_of_step = {"cap": 8.0, "steps": np.float32(2), "kept": {"a"}}
        layers.append(
            layer_from_change(photograph, person, "redness", box, change, mask, 8, settings_of_step)
        )
    return photograph, layers


@pytest.fixture
def saved(tmp_path):
    photograph, layers = made_layers()
    return photograph, layers, save(tmp_path / "portrait.layers", photograph, layers, [0.5, 1.0])


@given(made.SEEDS, made.DEPTHS, made.PROFILE_NAMES, made.SHAPES)
@settings(max_examples=25, deadline=None)
def test_what_is_saved_is_loaded(tmp_path_factory, seed, depth, profile, shape):
    photograph, layers = made_layers(seed, depth, profile, shape)
    folder = save(tmp_path_factory.mktemp("set") / "a.layers", photograph, layers, [0.5, 1.0])
    again = load(folder, photograph)
    assert again.strengths == [0.5, 1.0]
    assert (again.original.height, again.original.width) == shape
    for before, after in zip(layers, again.layers, strict=True):
        np.testing.assert_array_equal(after.difference, before.difference)
        assert after.difference.dtype in (np.int16, np.int32)
        assert (after.box, after.step, after.person) == (before.box, before.step, before.person)
        assert (after.cap, after.steps_per_code) == (before.cap, before.steps_per_code)
        assert after.facts == before.facts
        assert after.settings == {"cap": 8.0, "steps": 2.0, "kept": ["a"]}
    np.testing.assert_array_equal(
        blend(photograph, again.layers, again.strengths), blend(photograph, layers, [0.5, 1.0])
    )


@pytest.mark.parametrize("depth", [8, 16])
def test_the_lines_of_python_in_the_format_make_the_result(tmp_path, depth):
    photograph, layers = made_layers(depth=depth, number=3)
    folder = save(tmp_path / "a.layers", photograph, layers, {"redness": 0.7})
    text = (files("evenhand") / "layers" / "FORMAT.md").read_text("utf-8")
    names: dict[str, Any] = {}
    exec(re.search("```python\n(.*?)```", text, re.DOTALL)[1], names)
    np.testing.assert_array_equal(
        names["result"](folder, photograph.pixels), blend(photograph, layers, {"redness": 0.7})
    )


def test_the_index_says_what_the_set_is(saved):
    photograph, layers, folder = saved
    index = json.loads((folder / "layers.json").read_text())
    assert (index["format"], index["version"]) == ("evenhand-layers", 1)
    original = index["original"]
    assert original["pixels_sha256"] == hashlib.sha256(photograph.pixels.tobytes()).hexdigest()
    assert (original["height"], original["width"], original["depth"]) == (30, 24, 8)
    for entry, layer in zip(index["layers"], layers, strict=True):
        data = (folder / entry["file"]).read_bytes()
        assert entry["sha256"] == hashlib.sha256(data).hexdigest()
        assert tifffile.imread(folder / entry["file"]).dtype.kind == "i"
        assert tifffile.imread(folder / entry["file"]).itemsize <= 2
        assert entry["person"] == layer.person


@pytest.mark.parametrize(
    ("largest", "dtype"),
    [(127, np.int8), (128, np.int16), (-128, np.int8), (-32768, np.int16), (40000, np.int32)],
)
def test_differences_take_the_smallest_integers_that_hold_them(tmp_path, largest, dtype):
    photograph = made.photograph_of(1, (4, 5), 16)
    difference = np.zeros((2, 3, 3), np.int32)
    difference[1, 2, 0] = largest
    layer = Layer("tone", 0, Box(1, 1, 3, 4), difference, 1, 10.0)
    folder = save(tmp_path / "a.layers", photograph, [layer], [1.0])
    assert tifffile.imread(next(folder.glob("*.tif"))).dtype == dtype
    np.testing.assert_array_equal(load(folder).layers[0].difference, difference)


def test_pixels_of_16_bits_are_hashed_least_byte_first(tmp_path):
    photograph, layers = made_layers(depth=16)
    folder = save(tmp_path / "a.layers", photograph, layers, {"redness": 1})
    expected = hashlib.sha256(photograph.pixels.astype("<u2").tobytes()).hexdigest()
    assert load(folder).original.pixels_sha256 == expected
    swapped = Photograph(photograph.pixels.astype(">u2"), None)
    load(folder, swapped)


def test_the_place_of_the_original_is_relative(tmp_path):
    photograph, layers = made_layers()
    path = tmp_path / "shoot" / "portrait.png"
    photograph = Photograph(photograph.pixels, None, path, "f" * 64)
    (tmp_path / "out").mkdir()
    folder = save(tmp_path / "out" / "portrait.layers", photograph, layers, {"redness": 1})
    original = load(folder).original
    assert original.name == "portrait.png"
    assert (folder / original.place).resolve() == path.resolve()
    assert str(tmp_path) not in (folder / "layers.json").read_text()


def changed_pixel(photograph):
    pixels = photograph.pixels.copy()
    pixels[3, 4, 1] ^= 1
    return Photograph(pixels, photograph.profile)


@pytest.mark.parametrize(
    ("other", "reason"),
    [
        (changed_pixel, "other pixels"),
        (lambda p: Photograph(p.pixels[:, :-1], p.profile), "23 x 30 pixels, not 24 x 30"),
        (lambda p: Photograph(p.pixels.astype(np.uint16), p.profile), "16 bits"),
        (lambda p: Photograph(p.pixels, made.PROFILES["ROMM"]), "colour profile"),
    ],
)
def test_another_photograph_is_refused_with_the_reason(saved, other, reason):
    photograph, _, folder = saved
    load(folder, photograph)
    with pytest.raises(WrongPhotographError, match=reason):
        load(folder, other(photograph))


def test_the_same_file_is_the_same_photograph(tmp_path):
    # Two decoders may differ by a code value on one and the same JPEG.
    photograph, layers = made_layers()
    photograph = Photograph(photograph.pixels, None, None, "a" * 64)
    folder = save(tmp_path / "a.layers", photograph, layers, {"redness": 1})
    load(folder, Photograph(changed_pixel(photograph).pixels, None, None, "a" * 64))
    with pytest.raises(WrongPhotographError):
        load(folder, Photograph(changed_pixel(photograph).pixels, None, None, "b" * 64))


def edited(folder, edit):
    index = json.loads((folder / "layers.json").read_text())
    edit(index)
    (folder / "layers.json").write_text(json.dumps(index))


def flip_last_byte(path):
    data = bytearray(path.read_bytes())
    data[-1] ^= 1
    path.write_bytes(data)


BREAKINGS = {
    "no index": lambda f: (f / "layers.json").unlink(),
    "empty index": lambda f: (f / "layers.json").write_text(""),
    "binary index": lambda f: (f / "layers.json").write_bytes(b"\xff\xfe\x00"),
    "cut index": lambda f: (f / "layers.json").write_text('{"format": "evenhand-la'),
    "other index": lambda f: (f / "layers.json").write_text("[1]"),
    "later version": lambda f: edited(f, lambda i: i.update(version=2)),
    "missing version": lambda f: edited(f, lambda i: i.pop("version")),
    "missing original": lambda f: edited(f, lambda i: i.pop("original")),
    "missing layers": lambda f: edited(f, lambda i: i.pop("layers")),
    "layers of another kind": lambda f: edited(f, lambda i: i.update(layers=[1, 2])),
    "no box": lambda f: edited(f, lambda i: i["layers"][0].pop("box")),
    "box elsewhere": lambda f: edited(f, lambda i: i["layers"][0]["box"].update(bottom=900)),
    "box of another size": lambda f: edited(
        f, lambda i: i["layers"][0]["box"].update(bottom=i["layers"][0]["box"]["bottom"] - 1)
    ),
    "strength of no number": lambda f: edited(f, lambda i: i["layers"][0].update(strength="x")),
    "strength too high": lambda f: edited(f, lambda i: i["layers"][0].update(strength=1.5)),
    "depth of 12 bits": lambda f: edited(f, lambda i: i["original"].update(depth=12)),
    "missing file": lambda f: next(f.glob("00.*")).unlink(),
    "changed file": lambda f: flip_last_byte(next(f.glob("00.*"))),
    "cut file": lambda f: os.truncate(next(f.glob("01.*")), 100),
    "file outside": lambda f: edited(f, lambda i: i["layers"][0].update(file="../secret.tif")),
    "no tiff": lambda f: [
        (f / "x.tif").write_bytes(b"x"),
        edited(
            f,
            lambda i: i["layers"][0].update(file="x.tif", sha256=hashlib.sha256(b"x").hexdigest()),
        ),
    ],
}


@pytest.mark.parametrize("breaking", BREAKINGS)
def test_broken_sets_are_told(saved, breaking):
    folder = saved[2]
    BREAKINGS[breaking](folder)
    with pytest.raises(BrokenLayersError):
        load(folder)


def test_a_set_that_is_no_folder_is_told(tmp_path):
    (tmp_path / "a.layers").write_text("x")
    for path in (tmp_path / "a.layers", tmp_path / "none.layers"):
        with pytest.raises(BrokenLayersError, match="no layer set"):
            load(path)


def test_nothing_is_replaced(saved):
    photograph, layers, folder = saved
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    with pytest.raises(NotWrittenError, match="exists"):
        save(folder, photograph, layers, [1.0, 1.0])
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_a_full_disk_leaves_nothing_behind(tmp_path, monkeypatch):
    photograph, layers = made_layers()

    def full(*_args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(storage, "_write_differences", full)
    with pytest.raises(NotWrittenError, match="No space left"):
        save(tmp_path / "a.layers", photograph, layers, [1.0, 1.0])
    assert list(tmp_path.iterdir()) == []


def test_a_missing_folder_is_told(tmp_path):
    photograph, layers = made_layers()
    with pytest.raises(NotWrittenError, match="could not be written"):
        save(tmp_path / "none" / "a.layers", photograph, layers, [1.0, 1.0])


def test_wrong_strengths_leave_nothing_behind(tmp_path):
    photograph, layers = made_layers()
    with pytest.raises(WrongSettingError):
        save(tmp_path / "a.layers", photograph, layers, [2.0, 1.0])
    assert list(tmp_path.iterdir()) == []
