"""Pictures at any strength, size and place in milliseconds, from layers kept warm.

Original and layers are made smaller once, by the mean over the area of each new pixel, and kept in
memory; a picture at new strengths is then a sum of what is kept. As averaging and adding can be
exchanged, it is the final made smaller, up to rounding and what the final clips.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, is_dataclass
from functools import reduce
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import numpy.typing as npt
from cachetools import LRUCache

from evenhand.box import Box
from evenhand.compiling import compiled
from evenhand.jobs.as_painted import earlier_as_painted, people_as_painted
from evenhand.jobs.packing import unpack_layer, unpack_person
from evenhand.jobs.pictures import resized
from evenhand.jobs.place import Place
from evenhand.layers.layer import Layer
from evenhand.people.person import Person
from evenhand.photo.photograph import Photograph
from evenhand.processors import PROCESSORS
from evenhand.shoots.inputs import EarlierInputs, Inputs

if TYPE_CHECKING:
    from evenhand.steps.redness import Sight
    from evenhand.steps.reference import DaySkin

Small = npt.NDArray[np.float32]
Made = TypeVar("Made")

ROWS = 64
"""Rows of a picture worked out at a time, so that they stay in the cache."""

CODES = 255
"""Largest code of a picture to look at; 16-bit photographs are shown at 8 bits."""


@dataclass(frozen=True)
class Source:
    """The file that a picture is made from."""

    shoot_id: str
    sha256: str
    name: str


@dataclass(frozen=True)
class View:
    """A part of the photograph at a size.

    Attributes
    ----------
    region : Box
        In the upright photograph.
    shape : tuple of int
        Height and width of the picture.
    """

    region: Box
    shape: tuple[int, int]


@dataclass(frozen=True)
class Part:
    """A layer in a view: where, and what it adds at strength 1 in 8-bit codes."""

    box: Box
    codes: Small


class Previews:
    """Makes pictures and keeps what they are made from.

    Parameters
    ----------
    place : Place
    memory : int
        Most bytes kept.
    """

    def __init__(self, place: Place, memory: int) -> None:
        self.place = place
        self.kept: LRUCache[Hashable, Any] = LRUCache(memory, getsizeof=_size)
        self.lock = threading.Lock()
        self.making: dict[Hashable, threading.Lock] = {}

    def photograph(self, source: Source) -> Photograph:
        """The decoded photograph.

        Parameters
        ----------
        source : Source

        Returns
        -------
        Photograph

        Raises
        ------
        DamagedFileError
            The file is missing, or is not what it was.
        """

        def read() -> Photograph:
            with self.place.files.as_path(source.shoot_id, source.sha256, source.name) as path:
                return self.place.retoucher.read(path)

        return self._kept(("photograph", source.sha256), read)

    def layer(self, shoot_id: str, sha256: str) -> Layer:
        """A layer from its file.

        Parameters
        ----------
        shoot_id : str
        sha256 : str
            Of its file.

        Returns
        -------
        Layer

        Raises
        ------
        DamagedFileError
            The file is missing, or is not what it was.
        """
        return self._kept(
            ("layer", sha256), lambda: unpack_layer(self.place.files.read(shoot_id, sha256))
        )

    def person(self, shoot_id: str, sha256: str) -> Person:
        """A person from its file.

        Parameters
        ----------
        shoot_id : str
        sha256 : str
            Of its file.

        Returns
        -------
        Person

        Raises
        ------
        DamagedFileError
            The file is missing, or is not what it was.
        """
        return self._kept(
            ("person", sha256), lambda: unpack_person(self.place.files.read(shoot_id, sha256))
        )

    def sight(self, inputs: Inputs, person_id: str) -> Sight | None:
        """A person's skin as burns are looked for on it, masks as painted.

        Parameters
        ----------
        inputs : Inputs
            Of the portrait's layers.
        person_id : str

        Returns
        -------
        Sight or None
            None where no skin is seen.

        Raises
        ------
        EvenhandError
            The photograph, or the earlier one, cannot be used.
        """
        shoot_id, people = inputs.shoot_id, inputs.people
        (mine,) = (one for one in people if one.person_id == person_id)
        masks = tuple((one.sha256, one.edits) for one in people)

        def make() -> Sight | None:
            photograph = self.photograph(Source(shoot_id, inputs.sha256, inputs.name))
            everybody = people_as_painted(
                self.place, shoot_id, people, lambda sha256: self.person(shoot_id, sha256)
            )
            person = next(one for one in everybody if one.index == mine.index)
            earlier = mine.before_burn
            before = None if earlier is None else self._before(shoot_id, earlier)
            return self.place.retoucher.look_for_burns(photograph, person, before)

        return self._kept(("sight", inputs.sha256, mine.index, masks, mine.before_burn), make)

    def _before(self, shoot_id: str, earlier: EarlierInputs) -> DaySkin:
        photograph = self.photograph(Source(shoot_id, earlier.photograph_sha256, earlier.name))
        found = earlier_as_painted(self.place, shoot_id, earlier)
        return self.place.retoucher.skin_before(photograph, found, earlier.name)

    def picture(
        self, source: Source, view: View, layers: Sequence[tuple[str, float]]
    ) -> tuple[npt.NDArray[np.uint8], bytes | None]:
        """A picture at these strengths.

        Parameters
        ----------
        source : Source
        view : View
        layers : sequence of (str, float)
            SHA-256 of each layer's file and its strength in [0, 1].

        Returns
        -------
        (ndarray of uint8, shape (height, width, 3), bytes or None)
            Codes, and the profile they are to be read with.
        """
        (real, codes), profile = self._original(source, view)
        parts = [(self._part(source, view, sha256), strength) for sha256, strength in layers]
        moved = [(part, strength) for part, strength in parts if part is not None and strength]
        if not moved:
            return codes, profile
        result = codes.copy()
        where = reduce(Box.union, (part.box for part, _ in moved))
        strips = [
            Box(top, where.left, min(top + ROWS, where.bottom), where.right)
            for top in range(where.top, where.bottom, ROWS)
        ]
        with ThreadPoolExecutor(PROCESSORS) as pool:
            list(pool.map(lambda strip: _move_strip(real, strip, moved, result), strips))
        return result, profile

    def differences(self, source: Source, view: View, sha256: str) -> npt.NDArray[np.int16]:
        """A layer in a view, in 1/64 of an 8-bit code, zero where it does not reach.

        Parameters
        ----------
        source : Source
        view : View
        sha256 : str
            Of the layer's file.

        Returns
        -------
        ndarray of int16, shape (height, width, 3)
        """
        whole = np.zeros((*view.shape, 3), np.float32)
        part = self._part(source, view, sha256)
        if part is not None:
            whole[part.box.slices] = part.codes
        return _in_64ths(whole)

    def remainder(self, source: Source, view: View) -> npt.NDArray[np.int16]:
        """What the original's codes lie beside the whole ones of its picture, in 1/64 of a code.

        Parameters
        ----------
        source : Source
        view : View

        Returns
        -------
        ndarray of int16, shape (height, width, 3)
        """
        (real, whole), _ = self._original(source, view)
        return _in_64ths(real - whole)

    def forget(self) -> None:
        """Forget everything: something was deleted."""
        with self.lock:
            self.kept.clear()

    def _original(
        self, source: Source, view: View
    ) -> tuple[tuple[Small, npt.NDArray[np.uint8]], bytes | None]:
        def make() -> tuple[tuple[Small, npt.NDArray[np.uint8]], bytes | None]:
            photograph = self.photograph(source)
            small = resized(photograph.pixels[view.region.slices], view.shape)
            small *= np.float32(CODES / photograph.white)
            codes = np.clip(np.rint(small), 0, CODES).astype(np.uint8)
            return (small, codes), photograph.profile

        return self._kept(("original", source.sha256, view), make)

    def _part(self, source: Source, view: View, sha256: str) -> Part | None:
        def make() -> Part | None:
            layer = self.layer(source.shoot_id, sha256)
            white = self.photograph(source).white
            return part_of(layer, view, CODES / (white * layer.steps_per_code))

        return self._kept(("part", source.sha256, view, sha256), make)

    def _kept(self, key: Hashable, make: Callable[[], Made]) -> Made:
        """What is kept under a key, made once where it is not."""
        with self.lock:
            if key in self.kept:
                known: Made = self.kept[key][0]
                return known
            making = self.making.setdefault(key, threading.Lock())
        with making:
            with self.lock:
                if key in self.kept:
                    known = self.kept[key][0]
                    return known
            made = make()
            with self.lock:
                self.making.pop(key, None)
                if _size((made,)) <= self.kept.maxsize:
                    self.kept[key] = (made,)
            return made


def _in_64ths(codes: Small) -> npt.NDArray[np.int16]:
    limits = np.iinfo(np.int16)
    fine: npt.NDArray[np.int16] = np.clip(
        np.rint(codes * np.float32(64)), limits.min, limits.max
    ).astype(np.int16)
    return fine


def _move_strip(
    real: Small, strip: Box, moved: Sequence[tuple[Part, float]], result: npt.NDArray[np.uint8]
) -> None:
    """Round the original's codes and what the parts add to them into rows of the result."""
    total = real[strip.slices].copy()
    for part, strength in moved:
        shared = part.box.intersection(strip)
        if shared.area:
            codes = part.codes[shared.within(part.box)]
            _add(codes, np.float32(strength), total[shared.within(strip)])
    _round(total, result[strip.slices])


@compiled
def _add(codes, strength, total):  # type: ignore[no-untyped-def]
    for row in range(codes.shape[0]):
        for column in range(codes.shape[1]):
            for channel in range(3):
                total[row, column, channel] += strength * codes[row, column, channel]


@compiled
def _round(total, result):  # type: ignore[no-untyped-def]
    low, high = np.float32(0), np.float32(CODES)
    for row in range(total.shape[0]):
        for column in range(total.shape[1]):
            for channel in range(3):
                code = np.rint(total[row, column, channel])
                result[row, column, channel] = np.uint8(min(max(code, low), high))


def part_of(layer: Layer, view: View, factor: float) -> Part | None:
    """A layer in a view, its differences times `factor`; None where they do not meet.

    Parameters
    ----------
    layer : Layer
    view : View
    factor : float
        8-bit codes in a unit of the layer's differences.

    Returns
    -------
    Part or None
    """
    shared = layer.box.intersection(view.region)
    if not shared.area:
        return None
    region, (height, width) = view.region, view.shape
    down = area_weights(
        (shared.top - region.top, shared.bottom - region.top), region.height, height
    )
    across = area_weights(
        (shared.left - region.left, shared.right - region.left), region.width, width
    )
    difference = layer.difference[shared.within(layer.box)]
    codes = np.empty((len(down.old), len(across.old), 3), np.float32)

    def work(top: int) -> None:
        rows = slice(top, top + ROWS)
        own = down.old[rows], down.weights[rows]
        _average(difference, *own, across.old, across.weights, np.float32(factor), codes[rows])

    with ThreadPoolExecutor(PROCESSORS) as pool:
        list(pool.map(work, range(0, len(codes), ROWS)))
    box = Box(down.first, across.first, down.first + len(codes), across.first + codes.shape[1])
    return Part(box, codes)


@compiled
def _average(difference, down, down_weights, across, across_weights, factor, codes):  # type: ignore[no-untyped-def]
    """Means of the differences over the area of each new pixel, times a factor."""
    for row in range(codes.shape[0]):
        codes[row] = 0
        for i in range(down_weights.shape[1]):
            height = factor * down_weights[row, i]
            if height == 0:
                continue
            line = difference[down[row] + i]
            for column in range(codes.shape[1]):
                for j in range(across_weights.shape[1]):
                    weight = height * across_weights[column, j]
                    if weight != 0:
                        for channel in range(3):
                            codes[row, column, channel] += (
                                weight * line[across[column] + j, channel]
                            )


@dataclass(frozen=True)
class AreaWeights:
    """Weights of old pixels in the mean of each new pixel that they reach.

    Attributes
    ----------
    first : int
        Number of the first new pixel.
    old : ndarray of int, shape (new pixels,)
        First old pixel of each, counted from the span's first.
    weights : ndarray of float32, shape (new pixels, most old pixels of one)
        Of that pixel and those after it.
    """

    first: int
    old: npt.NDArray[np.intp]
    weights: Small


def area_weights(span: tuple[int, int], length: int, new_length: int) -> AreaWeights:
    """Weights of some old pixels in the new pixels that they reach.

    Parameters
    ----------
    span : tuple of int
        First and one past the last of the old pixels, among `length`.
    length : int
        Old pixels of the whole axis.
    new_length : int
        New ones, no more than the old.

    Returns
    -------
    AreaWeights
    """
    scale = length / new_length
    first, last = int(span[0] / scale), min(new_length, int(np.ceil(span[1] / scale)))
    starts = np.arange(first, last) * scale
    old = np.clip(np.floor(starts).astype(np.intp), *span)
    places = old[:, None] + np.arange(int(np.ceil(scale)) + 1)
    overlap = np.minimum(starts[:, None] + scale, places + 1)
    overlap -= np.maximum(starts[:, None], places)
    overlap[places >= span[1]] = 0
    return AreaWeights(first, old - span[0], (np.maximum(overlap, 0) / scale).astype(np.float32))


def _size(value: Any) -> int:
    """Bytes of the arrays in something kept."""
    if isinstance(value, np.ndarray):
        return int(value.nbytes)
    if isinstance(value, tuple | list):
        return 64 + sum(_size(one) for one in value)
    if isinstance(value, Photograph):
        return int(value.pixels.nbytes) + (value.alpha.nbytes if value.alpha is not None else 0)
    if isinstance(value, Layer):
        return int(value.difference.nbytes)
    if isinstance(value, Part):
        return int(value.codes.nbytes)
    if isinstance(value, Person):
        return sum(int(mask.alpha.nbytes) for mask in value.masks.values())
    if is_dataclass(value) and not isinstance(value, type):
        return 64 + sum(_size(getattr(value, field.name)) for field in fields(value))
    return 64
