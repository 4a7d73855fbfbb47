"""JPEG results: blocks without a changed pixel keep their coefficients, told by another library.

The oracle is jpeglib (libjpeg-turbo 2.1), which reads quantised coefficients.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import jpeglib
import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from evenhand import photo
from evenhand.errors import NotWrittenError, UnreadablePhotographError
from evenhand.photo.jpeg.jpeg import JpegSource
from evenhand.photo.jpeg.markers import DHT, DQT, FRAMES, ZIGZAG
from tests.photo.pictures import scene, write_with_pillow

FORMS: dict[str, dict[str, Any]] = {
    "4:4:4": {"subsampling": 0},
    "4:2:2": {"subsampling": 1},
    "4:2:0": {"subsampling": 2},
    "4:1:1": {"subsampling": "4:1:1"},
    "optimised tables": {"subsampling": 2, "optimize": True},
    "restart every row": {"subsampling": 2, "restart_marker_rows": 1},
    "restart every 3 units": {"subsampling": 0, "restart_marker_blocks": 3},
    "RGB components": {"keep_rgb": True, "dpi": (0, 0)},
    "progressive": {"subsampling": 2, "progressive": True},
    "progressive 4:4:4": {"subsampling": 0, "progressive": True},
}


def coefficients(path: Path) -> tuple[list[npt.NDArray[np.int16]], npt.NDArray[Any]]:
    """Quantised coefficients of the components, (blocks down, across, 8, 8), and the tables."""
    with jpeglib.version("turbo210"):
        jpeg = jpeglib.read_dct(str(path))
        jpeg.load()
        return [jpeg.Y.copy(), jpeg.Cb.copy(), jpeg.Cr.copy()], jpeg.qt.copy()


def unit_of(path: Path) -> tuple[int, int]:
    """Height and width of a minimum coded unit in pixels."""
    source = photo.read(path).source
    assert isinstance(source, JpegSource)
    sampling = source.layout.frame.sampling
    return 8 * max(v for _, v in sampling), 8 * max(h for h, _ in sampling)


def blocks_touched(
    changed: npt.NDArray[np.bool_], unit: tuple[int, int], shape: tuple[int, ...]
) -> npt.NDArray[np.bool_]:
    """Which blocks of a component lie in a unit with a changed pixel."""
    rows, columns = -(-changed.shape[0] // unit[0]), -(-changed.shape[1] // unit[1])
    padded = np.zeros((rows * unit[0], columns * unit[1]), bool)
    padded[: changed.shape[0], : changed.shape[1]] = changed
    units = padded.reshape(rows, unit[0], columns, unit[1]).any(axis=(1, 3))
    tall, wide = -(-shape[0] // rows), -(-shape[1] // columns)
    return units.repeat(tall, 0).repeat(wide, 1)[: shape[0], : shape[1]]


@pytest.mark.parametrize("orientation", [1, 6])
@pytest.mark.parametrize("quality", [50, 80, 95, 100])
@pytest.mark.parametrize("form", FORMS)
def test_untouched_blocks_keep_their_coefficients(
    form: str, quality: int, orientation: int, tmp_path: Path
) -> None:
    path = tmp_path / "portrait.jpg"
    write_with_pillow(path, scene(8), None, orientation, quality=quality, **FORMS[form])
    photograph = photo.read(path)
    result = photograph.pixels.copy()
    result[20:35, 30:55, 0] -= 9
    result[20:35, 30:55, 2] += 6
    result[-1, -1] += 12
    written = photo.write(result, photograph, tmp_path / "result.jpg")

    before, tables = coefficients(path)
    after, tables_after = coefficients(written)
    assert np.array_equal(tables, tables_after)
    changed = (result != photograph.pixels).any(-1)
    if orientation == 6:
        changed = np.rot90(changed)
    moved = 0
    for first, second in zip(before, after, strict=True):
        touched = blocks_touched(changed, unit_of(path), first.shape)
        assert touched.any()
        assert not touched.all()
        assert np.array_equal(first[~touched], second[~touched])
        moved += int((first[touched] != second[touched]).sum())
    assert moved > 0
    same = photograph.pixels.astype(int) - photo.read(written).pixels
    assert (same != 0).mean() < 0.6
    frames = [
        [s.payload for s in photo.read(p).source.layout.segments if s.marker in FRAMES | {DQT}]  # type: ignore[union-attr]
        for p in (path, written)
    ]
    if "progressive" not in form:
        assert frames[0] == frames[1]


@pytest.mark.parametrize("form", FORMS)
def test_the_change_arrives(form: str, tmp_path: Path) -> None:
    """The result decodes to the wanted pixels about as well as any JPEG of this quality does."""
    path = tmp_path / "portrait.jpg"
    write_with_pillow(path, scene(8, (160, 240)), None, 1, quality=95, **FORMS[form])
    photograph = photo.read(path)
    wanted = photograph.pixels.copy()
    rows, columns = np.mgrid[:160, :240]
    hill = 18 * np.exp(-((rows - 80) ** 2 + (columns - 120) ** 2) / 900)
    wanted[..., 0] = np.round(wanted[..., 0] - hill).astype(np.uint8)
    written = photo.write(wanted, photograph, tmp_path / "result.jpg")
    with Image.open(written) as opened:
        seen = np.asarray(opened.convert("RGB")).astype(float)
    error = np.sqrt(np.mean((seen - wanted) ** 2))
    buffer = io.BytesIO()
    Image.fromarray(wanted).save(buffer, "JPEG", quality=95, **FORMS[form])
    anew = np.asarray(Image.open(buffer).convert("RGB")).astype(float)
    error_anew = np.sqrt(np.mean((anew - wanted) ** 2))
    assert error < 1.1 * error_anew


@pytest.mark.parametrize("form", FORMS)
def test_no_change_gives_the_same_file(form: str, tmp_path: Path) -> None:
    path = tmp_path / "portrait.jpg"
    write_with_pillow(path, scene(8), None, 3, **FORMS[form])
    photograph = photo.read(path)
    written = photo.write(photograph.pixels.copy(), photograph, tmp_path / "result.jpg")
    assert written.read_bytes() == path.read_bytes()


def test_values_without_a_code_get_complete_tables(tmp_path: Path) -> None:
    """A flat picture with optimised tables has codes for almost nothing."""
    path = tmp_path / "portrait.jpg"
    write_with_pillow(path, np.full((64, 96, 3), 120, np.uint8), None, 1, optimize=True)
    photograph = photo.read(path)
    result = photograph.pixels.copy()
    result[8:16, 8:24] = scene(8)[:8, :16]
    written = photo.write(result, photograph, tmp_path / "result.jpg")
    before, _ = coefficients(path)
    after, _ = coefficients(written)
    assert np.array_equal(before[0][:, 4:], after[0][:, 4:])
    assert not np.array_equal(before[0][:, :4], after[0][:, :4])
    seen = photo.read(written).pixels.astype(int)
    assert np.abs(seen[8:16, 8:24] - result[8:16, 8:24]).mean() < 6
    tables = photo.read(written).source.layout.payloads(DHT)  # type: ignore[union-attr]
    assert sum(map(len, tables)) > 400


@settings(deadline=None, max_examples=40)
@given(
    height=st.integers(8, 70),
    width=st.integers(8, 70),
    subsampling=st.integers(0, 2),
    quality=st.integers(20, 100),
    restart=st.integers(0, 4),
    optimize=st.booleans(),
    seed=st.integers(0, 2**16),
    share=st.sampled_from([0.0005, 0.01, 0.5]),
)
def test_any_change_leaves_other_blocks_alone(
    tmp_path_factory: pytest.TempPathFactory,
    height: int,
    width: int,
    subsampling: int,
    quality: int,
    restart: int,
    optimize: bool,
    seed: int,
    share: float,
) -> None:
    folder = tmp_path_factory.mktemp("jpeg")
    random = np.random.default_rng(seed)
    path = folder / "portrait.jpg"
    write_with_pillow(
        path,
        scene(8, (height, width), seed),
        None,
        1,
        subsampling=subsampling,
        quality=quality,
        restart_marker_blocks=restart,
        optimize=optimize,
    )
    photograph = photo.read(path)
    changed = random.random((height, width)) < share
    result = photograph.pixels.copy()
    result[changed] = random.integers(0, 256, (int(changed.sum()), 3))
    changed = (result != photograph.pixels).any(-1)
    written = photo.write(result, photograph, folder / "result.jpg")
    before, after = coefficients(path)[0], coefficients(written)[0]
    for first, second in zip(before, after, strict=True):
        touched = blocks_touched(changed, unit_of(path), first.shape)
        assert np.array_equal(first[~touched], second[~touched])


def test_coefficients_that_no_file_may_hold_are_refused(tmp_path: Path) -> None:
    """Differences of DC within 2047 (T.81, F.1.2.1) that add up to more than that."""
    path = tmp_path / "portrait.jpg"
    write_with_pillow(path, scene(8), None, 1, subsampling=0)
    with jpeglib.version("turbo210"):
        jpeg = jpeglib.read_dct(str(path))
        jpeg.load()
        jpeg.Y[..., 0, 0] = 3600
        jpeg.Y[0, :2, 0, 0] = 0, 1800
        jpeg.write_dct(str(path))
    photograph = photo.read(path)
    result = photograph.pixels.copy()
    result[24:32, 24:32] //= 2
    with pytest.raises(NotWrittenError, match="no JPEG file may"):
        photo.write(result, photograph, tmp_path / "result.jpg")
    assert not (tmp_path / "result.jpg").exists()


def test_zigzag_order() -> None:
    """The beginning and the end of figure 5 of ITU-T T.81."""
    assert ZIGZAG[:11].tolist() == [0, 1, 8, 16, 9, 2, 3, 10, 17, 24, 32]
    assert ZIGZAG[-6:].tolist() == [61, 54, 47, 55, 62, 63]
    assert sorted(ZIGZAG.tolist()) == list(range(64))


def test_missing_data_before_the_end_marker_are_told(tmp_path: Path) -> None:
    path = tmp_path / "portrait.jpg"
    write_with_pillow(path, scene(8), None, 1)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) * 2 // 3] + b"\xff\xd9")
    with pytest.raises(UnreadablePhotographError, match="truncated"):
        photo.read(path)
