"""Forms of files inside a format, and what else must stay as it was; more in `test_matrix`.

Files are written by Pillow, libvips and libtiff, read here by imagecodecs and tifffile, and the
results are read again by libvips and OpenImageIO.
"""

from __future__ import annotations

import itertools
import os
import subprocess
from pathlib import Path

import numpy as np
import pytest
import pyvips
import tifffile

from evenhand import photo
from tests.photo.forms import FORMS as ALL_FORMS
from tests.photo.forms import read_with_openimageio, write_with_tiffcp
from tests.photo.metadata import assert_metadata_kept
from tests.photo.pictures import (
    XMP,
    read_with_vips,
    scene,
    write_with_pillow,
    write_with_vips,
)

FORMS = {
    "JPEG 8": (".jpg", 8, write_with_pillow),
    "PNG 8": (".png", 8, write_with_pillow),
    "PNG 16": (".png", 16, write_with_vips),
    "TIFF 8": (".tif", 8, write_with_pillow),
    "TIFF 16": (".tif", 16, write_with_vips),
}


@pytest.mark.parametrize("form", FORMS)
def test_xmp_is_found(form: str, tmp_path: Path) -> None:
    suffix, depth, write = FORMS[form]
    if form == "TIFF 8":
        pytest.skip("Pillow writes no XMP into this TIFF")
    path = tmp_path / f"portrait{suffix}"
    write(path, scene(depth), None, 1)
    source = photo.read(path).source
    assert source is not None
    assert source.metadata["xmp"].strip(b"\x00") == XMP


@pytest.mark.parametrize("form", FORMS)
def test_nothing_changed_gives_the_same_pixels(form: str, tmp_path: Path) -> None:
    suffix, depth, write = FORMS[form]
    path = tmp_path / f"portrait{suffix}"
    write(path, scene(depth), None, 6)
    photograph = photo.read(path)
    written = photo.write(photograph.pixels, photograph, tmp_path / f"result{suffix}")
    if suffix != ".jpg":
        assert np.array_equal(read_with_vips(written), photograph.pixels)
    if suffix == ".tif":
        assert written.read_bytes() == path.read_bytes()


FORMS_BY_TYPE = {
    "uint8": ALL_FORMS["TIFF 8"],
    "uint16": ALL_FORMS["TIFF 16"],
    "float16": ALL_FORMS["TIFF float 16"],
    "float32": ALL_FORMS["TIFF float 32"],
}

TIFF_FORMS = [
    {"compression": compression, "predictor": predictor, "tile": tile, "bigtiff": big}
    for compression, predictor, tile, big in itertools.product(
        ("none", "deflate", "lzw", "packbits"),
        ("none", "horizontal"),
        (False, True),
        (False, True),
    )
    if predictor == "none" or compression in ("deflate", "lzw")
]


@pytest.mark.parametrize("channels", [3, 4])
@pytest.mark.parametrize("depth", [8, 16])
@pytest.mark.parametrize("form", TIFF_FORMS, ids=lambda form: "-".join(map(str, form.values())))
def test_tiff_forms(form: dict[str, object], depth: int, channels: int, tmp_path: Path) -> None:
    pixels = scene(depth, channels=channels)
    path = tmp_path / "portrait.tif"
    options = dict(form, tile_width=16, tile_height=32) if form["tile"] else dict(form)
    write_with_vips(path, pixels, None, 8, **options)
    photograph = photo.read(path)
    upright = read_with_vips(path)
    assert np.array_equal(photograph.pixels, upright[..., :3])
    if channels == 4:
        assert photograph.alpha is not None
        assert np.array_equal(photograph.alpha, upright[..., 3])

    result = photograph.pixels.copy()
    result[20:40, 30:50] += 3
    written = photo.write(result, photograph, tmp_path / "result.tif")
    seen = read_with_vips(written)
    assert np.array_equal(seen[..., :3], result)
    assert np.array_equal(seen[..., 3:], upright[..., 3:])
    assert written.stat().st_size <= 2 * path.stat().st_size
    assert_metadata_kept(path, written)


CODINGS = ("none", "packbits", "lzw:1", "lzw:2", "zip:1", "zip:2", "zip:3", "lzma:1", "zstd:1")
"""Compressions and predictors in tiffcp's words: 2 for differences, 3 for floating point."""


@pytest.mark.parametrize("coding", CODINGS)
@pytest.mark.parametrize("planar", ["contig", "separate"])
@pytest.mark.parametrize("byteorder", ["-L", "-B"])
@pytest.mark.parametrize("dtype", FORMS_BY_TYPE)
def test_tiff_codings(dtype: str, byteorder: str, planar: str, coding: str, tmp_path: Path) -> None:
    """OpenImageIO writes the file, libtiff's tiffcp codes it anew and, as the result, back."""
    form = FORMS_BY_TYPE[dtype]
    if coding == "zip:3" and (not form.is_float or byteorder == "-B"):
        pytest.skip("for floating point only; tiffcp writes it wrongly in big-endian files")
    stored, path = form.stored(), tmp_path / "portrait.tif"
    write_with_tiffcp(path, stored, byteorder, "-r", "16", "-c", coding, planar=planar)
    photograph = photo.read(path)
    assert np.abs(photograph.pixels - form.codes(stored)).max() <= 0.51
    result = photograph.pixels.copy()
    result[20:40, 30:50] -= 3 if dtype == "uint8" else 655
    written = photo.write(result, photograph, tmp_path / "result.tif")
    plain = tmp_path / "plain.tif"
    subprocess.run(["tiffcp", "-c", "none", written, plain], check=True, capture_output=True)
    seen = read_with_openimageio(plain)
    changed = (result != photograph.pixels).any(-1)
    assert np.array_equal(seen[~changed], stored[~changed], equal_nan=form.is_float)
    if form.is_float:
        moved = np.abs(seen - (stored - 655 / 65535))
        assert moved[changed][stored[changed] > 0.02].max() < 1e-3
    else:
        assert np.array_equal(seen, result)


def test_freed_bytes_of_a_compressed_tiff_hold_no_old_picture(tmp_path: Path) -> None:
    path = tmp_path / "portrait.tif"
    write_with_vips(path, scene(8), None, 1, compression="deflate")
    photograph = photo.read(path)
    written = photo.write(255 - photograph.pixels, photograph, tmp_path / "result.tif")
    with tifffile.TiffFile(path) as tiff:
        page = tiff.pages[0]
        with open(path, "rb") as file:
            file.seek(page.dataoffsets[0])
            old = file.read(page.databytecounts[0])
    assert old not in written.read_bytes()
    assert np.array_equal(read_with_vips(written), 255 - photograph.pixels)


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
def test_times_of_the_original_are_kept(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"portrait{suffix}"
    write_with_pillow(path, scene(8), None, 1)
    os.utime(path, ns=(10**18, 2 * 10**18))
    photograph = photo.read(path)
    photo.write(photograph.pixels ^ 1, photograph, tmp_path / f"result{suffix}")
    assert (path.stat().st_atime_ns, path.stat().st_mtime_ns) == (10**18, 2 * 10**18)


def test_smaller_versions_get_the_same_change(tmp_path: Path) -> None:
    path = tmp_path / "portrait.tif"
    options = {"tile": True, "tile_width": 32, "tile_height": 32, "pyramid": True}
    write_with_vips(path, scene(16, (300, 400)), None, 1, compression="deflate", **options)
    photograph = photo.read(path)
    result = photograph.pixels.copy()
    result[100:200, 100:260] -= 4000
    written = photo.write(result, photograph, tmp_path / "result.tif")
    with tifffile.TiffFile(path) as before, tifffile.TiffFile(written) as after:
        assert len(before.pages) == len(after.pages) > 2
        for number in range(1, len(before.pages)):
            first, second = before.pages[number].asarray(), after.pages[number].asarray()
            scale = first.shape[0] / 300
            inside = slice(round(110 * scale), round(190 * scale))
            change = second.astype(int) - first
            assert change[inside, round(110 * scale) : round(250 * scale)].mean() == pytest.approx(
                -4000, abs=60
            )
            assert not change[: round(90 * scale)].any()
    for level in range(3):
        page = pyvips.Image.new_from_file(str(written), page=level)
        assert page.width == 400 // 2**level


def test_layers_of_an_editor_are_left_out_of_results(tmp_path: Path) -> None:
    path = tmp_path / "portrait.tif"
    layers = b"the picture as it was" * 100
    tifffile.imwrite(
        path, scene(8), photometric="rgb", extratags=[(37724, "B", len(layers), layers, True)]
    )
    photograph = photo.read(path)
    assert any("layers" in note for note in photograph.notes)
    written = photo.write(photograph.pixels ^ 1, photograph, tmp_path / "result.tif")
    assert np.array_equal(read_with_vips(written), photograph.pixels ^ 1)
    with tifffile.TiffFile(written) as tiff:
        assert 37724 not in tiff.pages[0].tags
    assert b"the picture as it was" not in written.read_bytes()
