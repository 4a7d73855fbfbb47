"""Hand-off to other programs: OpenRaster by its specification, and a folder of TIFF files.

OpenRaster files are read back by pyora, pictures by libvips.
"""

from __future__ import annotations

import io
import xml.etree.ElementTree as ElementTree
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import pyvips
from PIL import Image
from pyora import Project

from evenhand import photo
from evenhand.errors import NotWrittenError
from tests.photo.pictures import (
    PROFILES,
    read_with_vips,
    scene,
    write_with_pillow,
    write_with_vips,
)

Results = list[tuple[str, npt.NDArray[Any]]]


def retouched(folder: Path, depth: int) -> tuple[photo.Photograph, Results]:
    """A turned photograph and what it looks like after each of three steps, one of them idle."""
    path = folder / "portrait.png"
    write = write_with_pillow if depth == 8 else write_with_vips
    write(path, scene(depth), PROFILES["Adobe RGB primaries"], 6)
    photograph = photo.read(path)
    first = photograph.pixels.copy()
    first[20:40, 30:50] += 9
    second = first.copy()
    second[30:60, 10:40] += 5
    return photograph, [
        ("person 1: redness", first),
        ("person 1: eyes", first.copy()),
        ("person 1: smoothing", second),
    ]


@pytest.mark.parametrize("depth", [8, 16])
def test_openraster_follows_the_specification(depth: int, tmp_path: Path) -> None:
    photograph, results = retouched(tmp_path, depth)
    stages = photo.stages_of(photograph.pixels, results)
    path = photo.write_openraster(photograph, stages, results[-1][1], tmp_path / "portrait.ora")

    raw = path.read_bytes()
    assert raw[30:38] == b"mimetype"  # first entry, no extra field before its content
    assert raw[38:54] == b"image/openraster"
    with zipfile.ZipFile(path) as archive:
        first = archive.infolist()[0]
        assert (first.filename, first.compress_type) == ("mimetype", zipfile.ZIP_STORED)
        names = set(archive.namelist())
        assert {"stack.xml", "mergedimage.png", "Thumbnails/thumbnail.png"} <= names
        image = ElementTree.fromstring(archive.read("stack.xml"))
        height, width = photograph.shape
        assert (image.tag, image.attrib["w"], image.attrib["h"]) == (
            "image",
            str(width),
            str(height),
        )
        (stack,) = image
        assert stack.tag == "stack"
        assert [layer.attrib["name"] for layer in stack] == [
            "person 1: smoothing",
            "person 1: redness",
            "original",
        ]
        for layer in stack:
            assert layer.attrib["src"] in names
            assert layer.attrib["composite-op"] == "svg:src-over"
        with Image.open(io.BytesIO(archive.read("Thumbnails/thumbnail.png"))) as thumbnail:
            assert max(thumbnail.size) <= 256
        merged = pyvips.Image.new_from_buffer(archive.read("mergedimage.png"), "")
        assert np.array_equal(merged.numpy(), results[-1][1])
        assert merged.get("icc-profile-data") == photograph.profile
        shown = _composed(archive, stack, photograph, hidden=())
        assert np.array_equal(shown, results[-1][1])
        assert np.array_equal(_composed(archive, stack, photograph, hidden=(0,)), results[0][1])
        assert np.array_equal(
            _composed(archive, stack, photograph, hidden=(0, 1)), photograph.pixels
        )


def _composed(
    archive: zipfile.ZipFile,
    stack: ElementTree.Element,
    photograph: photo.Photograph,
    hidden: tuple[int, ...],
) -> npt.NDArray[Any]:
    """Layers put over each other from the bottom up, some of them hidden."""
    canvas = np.zeros_like(photograph.pixels)
    for number, layer in reversed(list(enumerate(stack))):
        if number in hidden:
            continue
        read = pyvips.Image.new_from_buffer(archive.read(layer.attrib["src"]), "").numpy()
        left, top = int(layer.attrib["x"]), int(layer.attrib["y"])
        place = canvas[top : top + read.shape[0], left : left + read.shape[1]]
        covers = read[..., 3] > 0 if read.shape[2] == 4 else np.ones(read.shape[:2], bool)
        place[covers] = read[..., :3][covers]
    return canvas


def test_openraster_is_read_by_another_library(tmp_path: Path) -> None:
    photograph, results = retouched(tmp_path, 8)
    stages = photo.stages_of(photograph.pixels, results)
    path = photo.write_openraster(photograph, stages, results[-1][1], tmp_path / "portrait.ora")
    project = Project.load(str(path))
    layers = list(project.children_recursive)
    assert {layer.name for layer in layers} == {
        "original",
        "person 1: redness",
        "person 1: smoothing",
    }
    assert all(layer.visible for layer in layers)
    rendered = np.asarray(project.get_image_data(use_original=False).convert("RGB"))
    assert np.array_equal(rendered, results[-1][1])


@pytest.mark.parametrize("depth", [8, 16])
def test_folder_of_tiff_files(depth: int, tmp_path: Path) -> None:
    photograph, results = retouched(tmp_path, depth)
    stages = photo.stages_of(photograph.pixels, results)
    written = photo.write_stage_folder(photograph, stages, tmp_path / "layers")
    assert [path.name for path in written] == [
        "0-original.tif",
        "1-person-1-redness.tif",
        "2-person-1-eyes.tif",
        "3-person-1-smoothing.tif",
    ]
    canvas = read_with_vips(written[0]).copy()
    assert np.array_equal(canvas, photograph.pixels)
    for path in written[1:]:
        seen = read_with_vips(path)
        canvas[seen[..., 3] > 0] = seen[seen[..., 3] > 0][:, :3]
    assert np.array_equal(canvas, results[-1][1])
    with pytest.raises(NotWrittenError):
        photo.write_stage_folder(photograph, stages, tmp_path / "layers")
