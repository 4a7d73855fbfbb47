"""Strips and tiles one by one, against tifffile's own decoding of them."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import tifffile

from evenhand.errors import NotWrittenError
from evenhand.photo.source import Stored
from evenhand.photo.tiff.segments import (
    append,
    codes_of,
    replace_changed_segments,
    segments_of,
)

SHAPE = (70, 90)

FORMS = [
    {"rowsperstrip": 16},
    {"rowsperstrip": 70},
    {"tile": (32, 48)},
    {"rowsperstrip": 16, "planarconfig": "separate"},
    {"tile": (16, 32), "planarconfig": "separate"},
]


def pixels(channels: int = 3, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 256, (*SHAPE, channels), np.uint8)


def write(path: Path, values: np.ndarray, **form: object) -> None:
    if form.get("planarconfig") == "separate":
        values = np.moveaxis(values, -1, 0)
    extra = {"extrasamples": ["unassalpha"]} if min(values.shape) == 4 else {}
    tifffile.imwrite(path, values, photometric="rgb", metadata=None, **extra, **form)


def laid_out(path: Path) -> tuple[Sequence[int], Sequence[int]]:
    with tifffile.TiffFile(path) as tiff:
        page = tiff.pages[0].aspage()
        return page.dataoffsets, page.databytecounts


def replaced(path: Path, result: np.ndarray, original: np.ndarray) -> bool:
    with path.open("r+b") as file:
        return replace_changed_segments(file, 0, Stored(result), Stored(original))


@pytest.mark.parametrize("channels", [3, 4])
@pytest.mark.parametrize("form", FORMS, ids=str)
def test_every_segment_is_where_tifffile_finds_it(
    form: dict[str, object], channels: int, tmp_path: Path
) -> None:
    path, values = tmp_path / "a.tif", pixels(channels)
    write(path, values, **form)
    with tifffile.TiffFile(path) as tiff:
        page = tiff.pages[0].aspage()
        ours = list(segments_of(page))
        theirs = list(page.segments())
        assert [segment.number for segment in ours] == list(range(len(page.dataoffsets)))
        assert len(ours) == len(theirs)
        for segment, (decoded, place, size) in zip(ours, theirs, strict=True):
            assert (segment.rows.start, segment.columns.start) == place[2:4]
            assert segment.shape == size[1:3]
            held = values[segment.rows, segment.columns, segment.samples]
            assert np.array_equal(held, decoded[0, : held.shape[0], : held.shape[1]])


@pytest.mark.parametrize("compression", [None, "zlib"])
@pytest.mark.parametrize("form", FORMS, ids=str)
def test_only_what_changed_is_written_anew(
    form: dict[str, object], compression: str | None, tmp_path: Path
) -> None:
    path, before = tmp_path / "a.tif", pixels()
    write(path, before, compression=compression, **form)
    old, old_places = path.read_bytes(), laid_out(path)
    result = before.copy()
    result[33:40, 50:60, 1] ^= 0x55
    assert replaced(path, result, before)
    seen = tifffile.imread(path)
    if form.get("planarconfig") == "separate":
        seen = np.moveaxis(seen, 0, -1)
    assert np.array_equal(seen, result)
    new, new_places = path.read_bytes(), laid_out(path)
    kept = []
    for was, now in zip(zip(*old_places, strict=True), zip(*new_places, strict=True), strict=True):
        same = old[was[0] : sum(was)] == new[now[0] : sum(now)]
        assert not same or was == now
        kept.append(same)
    with tifffile.TiffFile(path) as tiff:
        segments = list(segments_of(tiff.pages[0].aspage()))
    for segment, same in zip(segments, kept, strict=True):
        cut = (segment.rows, segment.columns, segment.samples)
        assert same == np.array_equal(result[cut], before[cut])


def test_nothing_is_written_where_nothing_changed(tmp_path: Path) -> None:
    path, before = tmp_path / "a.tif", pixels()
    write(path, before, rowsperstrip=16, compression="zlib")
    old = path.read_bytes()
    assert not replaced(path, before.copy(), before)
    assert path.read_bytes() == old


def test_what_shrinks_stays_in_its_room_and_leaves_zeros(tmp_path: Path) -> None:
    path, before = tmp_path / "a.tif", pixels()
    write(path, before, rowsperstrip=16, compression="zlib")
    (offsets, counts), old = laid_out(path), path.read_bytes()
    result = before.copy()
    result[16:32] = 7
    assert replaced(path, result, before)
    (new_offsets, new_counts), new = laid_out(path), path.read_bytes()
    assert new_offsets[1] == offsets[1]
    assert new_counts[1] < counts[1]
    assert not any(new[offsets[1] + new_counts[1] : offsets[1] + counts[1]])
    assert new[offsets[2] : offsets[2] + counts[2]] == old[offsets[2] : offsets[2] + counts[2]]
    assert np.array_equal(tifffile.imread(path), result)


def test_bytes_that_two_strips_share_are_not_overwritten(tmp_path: Path) -> None:
    path, before = tmp_path / "a.tif", pixels()
    before[16:32] = before[:16]
    write(path, before, rowsperstrip=16)
    offsets, _ = laid_out(path)
    with tifffile.TiffFile(path, mode="r+b") as tiff:
        shared = (offsets[0], offsets[0], *offsets[2:])
        tiff.pages[0].aspage().tags["StripOffsets"].overwrite(shared)
    assert np.array_equal(tifffile.imread(path), before)
    result = before.copy()
    result[:16] ^= 0xFF
    assert replaced(path, result, before)
    assert np.array_equal(tifffile.imread(path), result)


def test_a_classic_file_cannot_grow_beyond_four_gibibytes(tmp_path: Path) -> None:
    """TIFF 6.0, section 2: offsets are 32 bits. The file has a hole and takes no room."""
    path, before = tmp_path / "a.tif", np.zeros((*SHAPE, 3), np.uint8)
    write(path, before, rowsperstrip=16, compression="zlib")
    os.truncate(path, 2**32 + 10)
    with pytest.raises(NotWrittenError):
        replaced(path, pixels(), before)


def test_data_begin_on_an_even_byte(tmp_path: Path) -> None:
    """TIFF 6.0, section 2: values begin on a word boundary."""
    with (tmp_path / "a").open("w+b") as file:
        assert [append(file, data) for data in (b"abc", b"de", b"f")] == [0, 4, 6]
        file.seek(0)
        assert file.read() == b"abc\x00def"


@pytest.mark.parametrize("dtype", [np.float16, np.float32, np.float64])
def test_codes_of_floats(dtype: type) -> None:
    floats = np.array([0, 1, 0.5, 1 / 65535, -0.2, 1.7, np.nan, np.inf, -np.inf], dtype)
    wanted = [0, 65535, 32768, 1, 0, 65535, 0, 65535, 0]
    with np.errstate(invalid="raise"):  # what a cast makes of no number differs by processor
        assert codes_of(floats).tolist() == wanted
