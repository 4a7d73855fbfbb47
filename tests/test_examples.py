"""Every public name is described, and the examples of its description are true."""

from __future__ import annotations

import doctest
import importlib
import inspect
from pathlib import Path

import numpy as np
import pytest

import evenhand
from tests.pictures import frame_of, person_in, photograph_of, write_file

HEIGHT, WIDTH = 100, 140

FUNCTIONS = [name for name in evenhand.__all__ if inspect.isfunction(getattr(evenhand, name))]
CLASSES = [
    name
    for name in evenhand.__all__
    if inspect.isclass(getattr(evenhand, name))
    and (name == "EvenhandError" or not issubclass(getattr(evenhand, name), Exception))
]


@pytest.mark.usefixtures("known_people")
@pytest.mark.parametrize("name", [*FUNCTIONS, *CLASSES])
def test_examples_are_true(name: str, tmp_path: Path) -> None:
    """They find `photo`, `people`, the file `portrait` and a `folder` to write to."""
    portrait = write_file(frame_of(HEIGHT, WIDTH), tmp_path / "portrait.png")
    folder = tmp_path / "retouched"
    folder.mkdir()
    public = getattr(evenhand, name)
    known = {
        **vars(importlib.import_module(public.__module__)),
        "photo": photograph_of(frame_of(HEIGHT, WIDTH)),
        "people": [person_in(HEIGHT, WIDTH)],
        "portrait": portrait,
        "folder": folder,
    }
    examples = doctest.DocTestParser().get_doctest(
        inspect.getdoc(public) or "", known, name, None, None
    )
    assert examples.examples, f"{name} has no example"
    said: list[str] = []
    runner = doctest.DocTestRunner(verbose=False)
    runner.run(examples, out=said.append)
    assert not runner.failures, "".join(said)


def test_every_public_name_is_found() -> None:
    for name in evenhand.__all__:
        assert inspect.getdoc(getattr(evenhand, name)), name
    assert set(evenhand.__all__) <= set(dir(evenhand))
    with pytest.raises(AttributeError, match="no attribute 'slim'"):
        evenhand.slim  # noqa: B018


def test_arrays_in_arrays_out() -> None:
    """The whole way without a file: nothing but the skin changes, and it can be taken off."""
    pixels = frame_of(HEIGHT, WIDTH)
    photo = evenhand.from_array(pixels)
    people = [person_in(HEIGHT, WIDTH)]
    layers = evenhand.compute_layers(photo, people)
    result = evenhand.blend(photo, layers, {"redness": 1, "smoothing": 0.5})
    skin = dict(evenhand.mask_arrays(people, photo.shape))["skin"]
    assert (result[skin == 0] == pixels[skin == 0]).all()
    assert (result[skin > 0] != pixels[skin > 0]).any()
    np.testing.assert_array_equal(
        evenhand.unblend(result, layers, {"redness": 1, "smoothing": 0.5}), pixels
    )


@pytest.mark.parametrize(
    "pixels",
    [
        np.zeros((4, 5), np.uint8),
        np.zeros((4, 5, 4), np.uint8),
        np.zeros((4, 5, 3), np.float32),
        np.zeros((5, 3), np.uint16),
    ],
    ids=["grey", "with alpha", "floating point", "no picture"],
)
def test_an_array_that_is_no_photograph_is_refused(pixels: np.ndarray) -> None:
    with pytest.raises(evenhand.UnsupportedPhotographError, match="uint8 or uint16"):
        evenhand.from_array(pixels)
