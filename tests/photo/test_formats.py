"""Every format, depth, profile and orientation: read, written, kept, told by other libraries.

Files are written by Pillow and libvips, read here by imagecodecs and tifffile, and the results are
read again by libvips and Pillow.
"""

from __future__ import annotations

import itertools
import os
from pathlib import Path

import numpy as np
import pytest
import pyvips
import tifffile
from PIL import Image

from evenhand import photo
from tests.photo.pictures import (
    PROFILES,
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


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("form", FORMS)
def test_matrix(form: str, profile: str, orientation: int, tmp_path: Path) -> None:
    suffix, depth, write = FORMS[form]
    path = tmp_path / f"portrait{suffix}"
    write(path, scene(depth), PROFILES[profile], orientation)
    content = path.read_bytes()

    photograph = photo.read(path)

    assert np.array_equal(photograph.pixels, read_with_vips(path))
    assert photograph.pixels.dtype == (np.uint8 if depth == 8 else np.uint16)
    assert photograph.profile == PROFILES[profile]
    assert not photograph.pixels.flags.writeable
    assert any("sRGB is assumed" in note for note in photograph.notes) == (profile == "no profile")

    result = photograph.pixels.copy()
    result[20:40, 30:50] += 3
    written = photo.write(result, photograph, tmp_path / f"result{suffix}")

    seen = read_with_vips(written)
    if suffix == ".jpg":
        assert np.abs(seen.astype(int) - result).mean() < 1.0
    else:
        assert np.array_equal(seen, result)
    assert photo.read(written).profile == PROFILES[profile]
    assert_metadata_kept(path, written)
    assert path.read_bytes() == content


def assert_metadata_kept(original: Path, result: Path) -> None:
    """Pillow and libvips must find the same metadata in both files."""
    with Image.open(original) as first, Image.open(result) as second:
        assert _tags(second) == _tags(first)
        assert second.getexif().get_ifd(0x8769) == first.getexif().get_ifd(0x8769)
        assert second.info.get("dpi") == first.info.get("dpi")
        assert second.info.get("icc_profile") == first.info.get("icc_profile")
    first = pyvips.Image.new_from_file(str(original))
    second = pyvips.Image.new_from_file(str(result))
    for name in first.get_fields():
        if name.startswith(("exif-", "xmp", "iptc", "icc", "orientation", "resolution")):
            assert second.get(name) == first.get(name), name


def _tags(picture: Image.Image) -> dict[int, object]:
    """Tags of the main directory but where the picture data lie (TIFF 6.0: strips and tiles)."""
    places = {273, 279, 324, 325}
    return {tag: value for tag, value in picture.getexif().items() if tag not in places}


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


@pytest.mark.parametrize("compression", [None, "zlib", "lzw"])
@pytest.mark.parametrize("planar", ["contig", "separate"])
@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("depth", [8, 16])
def test_tiff_byte_order_and_planes(
    depth: int, byteorder: str, planar: str, compression: str | None, tmp_path: Path
) -> None:
    pixels = scene(depth)
    path = tmp_path / "portrait.tif"
    tifffile.imwrite(
        path,
        pixels if planar == "contig" else np.moveaxis(pixels, -1, 0).copy(),
        photometric="rgb",
        planarconfig=planar,
        byteorder=byteorder,
        compression=compression,
        predictor=compression is not None,
        rowsperstrip=16,
    )
    photograph = photo.read(path)
    assert np.array_equal(photograph.pixels, pixels)
    result = pixels.copy()
    result[20:40, 30:50] += 3
    written = photo.write(result, photograph, tmp_path / "result.tif")
    assert np.array_equal(read_with_vips(written), result)


@pytest.mark.parametrize("compression", [None, "zlib", "lzw"])
@pytest.mark.parametrize("planar", ["contig", "separate"])
@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("dtype", ["float16", "float32"])
def test_floating_point_tiff(
    dtype: str, byteorder: str, planar: str, compression: str | None, tmp_path: Path
) -> None:
    """Values outside 0 to 1 and between the codes stay as they are where nothing changes."""
    values = (scene(16) / 40000 - 0.1).astype(dtype)
    values[0, 0] = np.nan
    path = tmp_path / "portrait.tif"
    tifffile.imwrite(
        path,
        values if planar == "contig" else np.moveaxis(values, -1, 0).copy(),
        photometric="rgb",
        planarconfig=planar,
        byteorder=byteorder,
        compression=compression,
        predictor=compression is not None,
        rowsperstrip=16,
    )
    photograph = photo.read(path)
    expected = np.clip(np.nan_to_num(values.astype(np.float32)), 0, 1) * 65535
    assert np.abs(photograph.pixels - expected).max() <= 0.51
    result = photograph.pixels.copy()
    result[20:40, 30:50] -= 655
    written = photo.write(result, photograph, tmp_path / "result.tif")
    seen = read_with_vips(written) if dtype == "float32" else tifffile.imread(written)
    if dtype == "float16" and planar == "separate":
        seen = np.moveaxis(seen, 0, -1)
    mask = (result != photograph.pixels).any(-1)
    assert np.array_equal(seen[~mask], values[~mask], equal_nan=True)
    assert np.abs(seen[mask] - (values[mask] - 655 / 65535)).max() < 2e-3


@pytest.mark.parametrize("depth", [8, 16])
def test_png_alpha_is_kept(depth: int, tmp_path: Path) -> None:
    pixels = scene(depth, channels=4)
    path = tmp_path / "portrait.png"
    write_with_vips(path, pixels, PROFILES["sRGB"], 1)
    photograph = photo.read(path)
    result = photograph.pixels.copy()
    result[20:40, 30:50] += 3
    written = photo.write(result, photograph, tmp_path / "result.png")
    seen = read_with_vips(written)
    assert np.array_equal(seen[..., :3], result)
    assert np.array_equal(seen[..., 3], pixels[..., 3])


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
