"""The four promises, end to end on files: written, retouched, and read again by other libraries.

Colour differences are measured by scikit-image's CIEDE2000 on its own L*a*b* (D65), not by ours.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import numpy.typing as npt
import skimage.color
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand import layers as layering
from evenhand import photo
from evenhand.computing import RetouchSettings, compute_layers, strengths_of
from evenhand.layers.layer import Layer
from evenhand.people.person import Person
from evenhand.photo.photograph import Photograph
from tests.pictures import frame_of, person_in, pixels_in, skin_of, srgb_profile, write_file

SIZES = st.tuples(st.integers(24, 90), st.integers(24, 90))
DEPTHS = st.sampled_from([8, 16])
STRENGTHS = st.floats(0, 1)
PROFILES = st.sampled_from([None, srgb_profile()])
QUICK = settings(max_examples=25, deadline=None)


@contextmanager
def lossless_file(size: tuple[int, int], bits: int, profile: bytes | None) -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as folder:
        suffix = ".tif" if bits == 16 or profile else ".png"
        yield write_file(frame_of(*size, bits), Path(folder) / f"portrait{suffix}", profile)


def retouched(
    path: Path, chosen: RetouchSettings
) -> tuple[Photograph, Person, list[Layer], npt.NDArray[np.generic]]:
    """Photograph, person, layers, and the pixels of the result's file."""
    photograph = photo.read(path)
    person = person_in(*photograph.shape)
    layers = compute_layers(photograph, [person], chosen)
    pixels = layering.blend(photograph, layers, strengths_of(layers))
    written = photo.write(pixels, photograph, path.with_stem("result"))
    return photograph, person, layers, pixels_in(written)


def with_strengths(redness: float, smoothing: float) -> RetouchSettings:
    return RetouchSettings.model_validate(
        {"redness": {"strength": redness}, "smoothing": {"strength": smoothing}}
    )


@QUICK
@given(SIZES, DEPTHS, PROFILES, STRENGTHS, STRENGTHS)
def test_nothing_outside_a_mask_changes(
    size: tuple[int, int], bits: int, profile: bytes | None, redness: float, smoothing: float
) -> None:
    with lossless_file(size, bits, profile) as path:
        _, person, _, result = retouched(path, with_strengths(redness, smoothing))
    outside = skin_of(person, size) == 0
    assert (result[outside] == frame_of(*size, bits)[outside]).all()


def test_something_inside_changes() -> None:
    """Without this the other tests could pass on an engine that does nothing."""
    with lossless_file((90, 120), 8, None) as path:
        _, person, _, result = retouched(path, with_strengths(1, 1))
    inside = skin_of(person, (90, 120)) > 0.9
    assert (result[inside] != frame_of(90, 120)[inside]).any(axis=-1).mean() > 0.3


@QUICK
@given(SIZES, DEPTHS, st.floats(1, 12), st.floats(1, 8), st.floats(1, 15), STRENGTHS, STRENGTHS)
def test_every_change_has_a_cap(
    size: tuple[int, int],
    bits: int,
    redness_cap: float,
    smoothing_cap: float,
    total_cap: float,
    redness: float,
    smoothing: float,
) -> None:
    chosen = RetouchSettings.model_validate(
        {"redness": {"cap": redness_cap}, "smoothing": {"cap": smoothing_cap}, "cap": total_cap}
    )
    with lossless_file(size, bits, None) as path:
        photograph, _, layers, _ = retouched(path, chosen)
    before = lab(photograph.pixels)
    for layer in layers:
        alone = layering.blend(photograph, [layer], {layer.step: 1.0})
        assert largest(before, lab(alone)) <= layer.cap + MEASURING
    strengths = {"redness": redness, "smoothing": smoothing}
    together = layering.blend(photograph, layers, strengths)
    assert largest(before, lab(together)) <= total_cap + MEASURING
    whole = layering.blend(photograph, layers, {"redness": 1.0, "smoothing": 1.0})
    assert largest(before, lab(whole)) <= total_cap + MEASURING


@QUICK
@given(SIZES, DEPTHS, PROFILES)
def test_every_layer_can_be_taken_off(
    size: tuple[int, int], bits: int, profile: bytes | None
) -> None:
    with lossless_file(size, bits, profile) as path:
        content, times = path.read_bytes(), path.stat()
        photograph, _, layers, _ = retouched(path, RetouchSettings())
        without = layering.blend(photograph, layers, {"redness": 0.0, "smoothing": 0.0})
        written = photo.write(without, photograph, path.with_stem("without"))
        assert (pixels_in(written) == frame_of(*size, bits)).all()
        only = [layer for layer in layers if layer.step == "smoothing"]
        removed = layering.blend(photograph, only, {"smoothing": 1.0})
        weakened = layering.blend(photograph, layers, {"redness": 0.0, "smoothing": 1.0})
        assert (removed == weakened).all()
        assert path.read_bytes() == content
        after = path.stat()
    assert (after.st_mtime_ns, after.st_atime_ns) == (times.st_mtime_ns, times.st_atime_ns)


@QUICK
@given(SIZES, DEPTHS)
def test_kept_parts_stay(size: tuple[int, int], bits: int) -> None:
    with lossless_file(size, bits, None) as path:
        _, person, _, result = retouched(path, with_strengths(1, 1))
    kept = person.kept(photo.Photograph(frame_of(*size, bits)).frame) >= 1
    assert kept.any()
    assert (result[kept] == frame_of(*size, bits)[kept]).all()


def test_nothing_runs_that_was_not_asked_for() -> None:
    """Marks and eyes need the person's word first: by default they are left alone."""
    with lossless_file((60, 60), 8, None) as path:
        _, _, layers, _ = retouched(path, RetouchSettings())
    assert {layer.step for layer in layers} == {"redness", "smoothing"}


MEASURING = 0.02
"""CIEDE2000 by which scikit-image, in float64 and with rounded sRGB matrices, may differ."""


def lab(code_values: npt.NDArray[np.generic]) -> npt.NDArray[np.float64]:
    return skimage.color.rgb2lab(code_values / np.iinfo(code_values.dtype).max)


def largest(before: npt.NDArray[np.float64], after: npt.NDArray[np.float64]) -> float:
    return float(skimage.color.deltaE_ciede2000(before, after).max())
