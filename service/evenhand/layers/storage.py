"""Layer sets on disk: a folder ``NAME.layers`` with an index and one picture for each layer.

``layers.json`` says which photograph the layers belong to and what each one is. The differences
are a TIFF of signed integers, three samples a pixel, losslessly compressed, which any reader of
TIFF opens; `evenhand.layers.blending` says how they are added. See ``FORMAT.md``.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import secrets
import shutil
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.errors import (
    BrokenLayersError,
    NotWrittenError,
    WrongPhotographError,
    WrongSettingError,
)
from evenhand.layers.blending import strengths_of
from evenhand.layers.layer import CodeDifferences, Layer
from evenhand.layers.making import STEPS_PER_CODE
from evenhand.processors import PROCESSORS

if TYPE_CHECKING:
    from evenhand.photo.photograph import Photograph

INDEX = "layers.json"
# Name of the index in the folder.

FORMAT = "evenhand-layers"
# What the index calls itself.

VERSION = 1
# Version of the format that is written, and the only one that is read.

ROWS_PER_STRIP = 128
# Rows compressed together: enough for the compressor, few enough for several threads.

LEVEL = 1
# Of Zstandard: the quickest, a tenth larger than the next ones.

STRIPS_KEPT = 6
# Strips that are kept for the next reading of a neighbour.

ADVICE = "Run the retouch again to make the layers anew."


@dataclass(frozen=True)
class Original:
    """The photograph that a layer set belongs to.

    Attributes
    ----------
    name : str
        File name.
    place : str
        The file, as a path from the layer set's folder; empty where it was not known.
    file_sha256, pixels_sha256, profile_sha256 : str
        Of the file's bytes, of the upright pixels row by row (16 bit: least byte first), and of
        the ICC profile; the last is empty where there is none.
    height, width, depth : int
        Of the upright photograph in pixels, and bits per channel.
    """

    name: str
    place: str
    file_sha256: str
    pixels_sha256: str
    profile_sha256: str
    height: int
    width: int
    depth: int


@dataclass(frozen=True)
class LayerSet:
    """Layers as they were saved.

    Attributes
    ----------
    original : Original
        What they belong to.
    layers : list of Layer
        In the order they were saved.
    strengths : list of float
        Strength that each was applied with.

    Examples
    --------
    >>> import evenhand
    >>> layers = evenhand.compute_layers(photo, people)
    >>> stored = evenhand.save_layers(folder / "set.layers", photo, layers, [1, 0.5])
    >>> [layer.step for layer in evenhand.load_layers(stored).layers]
    ['redness', 'smoothing']
    """

    original: Original
    layers: list[Layer]
    strengths: list[float]

    def check(self, photograph: Photograph) -> None:
        """Make sure that the layers belong to a photograph.

        Parameters
        ----------
        photograph : Photograph
            What the layers are to be added to.

        Raises
        ------
        WrongPhotographError
            They do not; the message says how the photograph differs.
        """
        if photograph.file_sha256 and photograph.file_sha256 == self.original.file_sha256:
            return
        reason = _unlikeness(self.original, photograph)
        if reason:
            raise WrongPhotographError(
                f"These layers were made from {self.original.name}, and {reason}.",
                "Give the original photograph, unchanged.",
            )


def save(
    folder: Path | str,
    photograph: Photograph,
    layers: Sequence[Layer],
    strengths: Mapping[str, float] | Sequence[float],
    home: Path | str | None = None,
) -> Path:
    """Write a layer set beside its place, then move it there whole.

    Parameters
    ----------
    folder : path
        The folder to make, ``NAME.layers``; it must not exist.
    photograph : Photograph
        The original.
    layers : sequence of Layer
        From `compute_layers`.
    strengths : mapping of step to float, or sequence of float
        Strengths applied, for each step or for each layer in order.
    home : path, optional
        Where the folder will be moved to; the photograph's place is noted as seen from there.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    NotWrittenError
        The folder exists, or cannot be written; nothing is left behind.
    WrongSettingError
        Strengths are missing or out of range.

    Examples
    --------
    >>> import evenhand
    >>> layers = evenhand.compute_layers(photo, people)
    >>> evenhand.save_layers(folder / "portrait.layers", photo, layers, [1, 0.5]).name
    'portrait.layers'
    """
    folder = Path(folder)
    values = strengths_of(layers, strengths)
    if folder.exists():
        raise NotWrittenError(f"{folder} exists.", "Remove it or choose another place.")
    beside = None
    try:
        beside = folder.parent / f".{folder.name}.{secrets.token_hex(4)}"
        beside.mkdir()
        entries = [
            _save_layer(beside, number, layer, strength)
            for number, (layer, strength) in enumerate(zip(layers, values, strict=True))
        ]
        index = {
            "format": FORMAT,
            "version": VERSION,
            "original": asdict(original_of(photograph, Path(home or folder))),
            "layers": entries,
        }
        text = json.dumps(index, indent=1, ensure_ascii=False, default=_plain)
        (beside / INDEX).write_text(text + "\n", "utf-8")
        beside.rename(folder)
    except OSError as fault:
        raise NotWrittenError(
            f"The layers could not be written to {folder} ({fault.strerror or fault}).",
            "Check that the disk has room and the folder can be written to.",
        ) from fault
    finally:
        if beside is not None and beside.exists():
            shutil.rmtree(beside, ignore_errors=True)
    return folder


def load(folder: Path | str, photograph: Photograph | None = None) -> LayerSet:
    """Read a layer set and check that nothing of it has changed.

    Parameters
    ----------
    folder : path
        A folder that `save` wrote.
    photograph : Photograph, optional
        The original; without it the layers are not checked against it (see `LayerSet.check`).

    Returns
    -------
    LayerSet
        The layers and the strengths that they were applied with.

    Raises
    ------
    BrokenLayersError
        Something is missing, changed, or of an unknown version.
    WrongPhotographError
        The layers were made from another photograph.

    Examples
    --------
    >>> import evenhand
    >>> layers = evenhand.compute_layers(photo, people)
    >>> stored = evenhand.save_layers(folder / "again.layers", photo, layers, [1, 0.5])
    >>> evenhand.load_layers(stored, photo).strengths
    [1.0, 0.5]
    """
    folder = Path(folder)
    index = _read_index(folder)
    try:
        original = Original(**index["original"])
        entries = list(index["layers"])
        layers = [_load_layer(folder, entry, original) for entry in entries]
        strengths = strengths_of(layers, [float(entry["strength"]) for entry in entries])
        layers_set = LayerSet(original, layers, strengths)
    except (KeyError, TypeError, ValueError, WrongSettingError) as fault:
        raise BrokenLayersError(f"{folder / INDEX} is broken ({fault!r}).", ADVICE) from fault
    if photograph is not None:
        layers_set.check(photograph)
    return layers_set


def original_of(photograph: Photograph, folder: Path) -> Original:
    """What a layer set in `folder` has to say about its photograph.

    Parameters
    ----------
    photograph : Photograph
        With or without a file.
    folder : path
        Where the layer set will lie; the photograph's place is told from there.

    Returns
    -------
    Original
    """
    path = photograph.path
    place = ""
    if path is not None:
        place = Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    return Original(
        name=path.name if path else "",
        place=place,
        file_sha256=photograph.file_sha256,
        pixels_sha256=pixels_sha256(photograph),
        profile_sha256=_profile_sha256(photograph),
        height=photograph.shape[0],
        width=photograph.shape[1],
        depth=photograph.pixels.dtype.itemsize * 8,
    )


def _unlikeness(original: Original, photograph: Photograph) -> str:
    """How a photograph differs from the original, empty where it is the same."""
    height, width = photograph.shape
    depth = photograph.pixels.dtype.itemsize * 8
    if (height, width) != (original.height, original.width):
        return f"this one is {width} x {height} pixels, not {original.width} x {original.height}"
    if depth != original.depth:
        return f"this one has {depth} bits per channel, not {original.depth}"
    if _profile_sha256(photograph) != original.profile_sha256:
        return "this one has another colour profile"
    if pixels_sha256(photograph) != original.pixels_sha256:
        return "this one has the same size but other pixels"
    return ""


def _save_layer(folder: Path, number: int, layer: Layer, strength: float) -> dict[str, Any]:
    """Write one layer's differences and return its entry in the index."""
    entry: dict[str, Any] = {
        "step": layer.step,
        "person": layer.person,
        "box": asdict(layer.box),
        "cap": layer.cap,
        "strength": strength,
        "settings": dict(layer.settings),
        "facts": dict(layer.facts),
        "file": "",
        "sha256": "",
    }
    if layer.box.area:
        entry["file"] = _file_of(number, layer)
        with (folder / entry["file"]).open("w+b") as file:
            _write_differences(file, layer.difference)
            file.seek(0)
            entry["sha256"] = hashlib.file_digest(file, "sha256").hexdigest()
    return entry


def _load_layer(folder: Path, entry: Mapping[str, Any], original: Original) -> Layer:
    """Read one layer, checked against its entry."""
    box = Box(**entry["box"])
    if box.area and box.intersection(Box(0, 0, original.height, original.width)) != box:
        raise ValueError("a layer reaches out of the photograph")
    difference: CodeDifferences = np.zeros((box.height, box.width, 3), np.int16)
    if box.area:
        difference = _decoded(folder, str(entry["file"]), str(entry["sha256"]))
    if difference.shape != (box.height, box.width, 3):
        raise ValueError("a layer's size is not that of its box")
    return Layer(
        step=str(entry["step"]),
        person=int(entry["person"]),
        box=box,
        difference=difference,
        steps_per_code=STEPS_PER_CODE[original.depth],
        cap=float(entry["cap"]),
        settings=dict(entry["settings"]),
        facts=dict(entry["facts"]),
    )


def _file_of(number: int, layer: Layer) -> str:
    """Name of a layer's file."""
    return f"{number:02d}.person-{layer.person}.{layer.step}.tif"


class SavedDifferences:
    """Differences of layers that were just saved, read again strip by strip.

    Parameters
    ----------
    folder : path
        Where `save` wrote them.
    layers : sequence of Layer
        In the order in which they were saved.
    """

    def __init__(self, folder: Path, layers: Sequence[Layer]) -> None:
        self._paths = {
            (layer.step, layer.person): folder / _file_of(number, layer)
            for number, layer in enumerate(layers)
        }
        self._strip = lru_cache(STRIPS_KEPT)(_saved_strip)

    def read(self, layer: Layer, part: Box) -> CodeDifferences:
        """A layer's differences in a part of its box.

        Parameters
        ----------
        layer : Layer
            One of those saved.
        part : Box
            In the frame's coordinates, inside the layer's box; at least a row high.

        Returns
        -------
        ndarray of int16 or int32, shape (part.height, part.width, 3)

        Raises
        ------
        KeyError
            The layer is not among those saved.
        """
        path = self._paths[layer.step, layer.person]
        rows, columns = part.within(layer.box)
        first, last = rows.start // ROWS_PER_STRIP, (rows.stop - 1) // ROWS_PER_STRIP
        strips = [self._strip(path, number)[:, columns] for number in range(first, last + 1)]
        joined: CodeDifferences = np.concatenate(strips)
        skipped = first * ROWS_PER_STRIP
        return joined[rows.start - skipped : rows.stop - skipped]


def _saved_strip(path: Path, number: int) -> CodeDifferences:
    """One strip of a layer's file."""
    import tifffile

    with tifffile.TiffFile(path) as file:
        page = file.pages.first
        file.filehandle.seek(page.dataoffsets[number])
        data = file.filehandle.read(page.databytecounts[number])
        strip = page.decode(data, number)[0]
    assert strip is not None
    rows: npt.NDArray[Any] = strip[0]
    return _stored_type(rows)


def _write_differences(file: BinaryIO, difference: CodeDifferences) -> None:
    """Write a TIFF of the differences in the smallest signed integers that hold them."""
    import tifffile

    largest = max(int(difference.max()), -int(difference.min()) - 1)
    small = np.int8 if largest < 2**7 else np.int16 if largest < 2**15 else np.int32
    tops = range(0, len(difference), ROWS_PER_STRIP)
    with ThreadPoolExecutor(PROCESSORS) as pool:
        strips = pool.map(lambda top: _strip(difference[top : top + ROWS_PER_STRIP], small), tops)
        tifffile.imwrite(
            file,
            strips,
            shape=difference.shape,
            dtype=small,
            photometric="rgb",
            compression="zstd",
            predictor=True,
            rowsperstrip=ROWS_PER_STRIP,
            metadata=None,
            software=False,
        )


def _strip(difference: CodeDifferences, small: type[np.signedinteger[Any]]) -> bytes:
    """Rows as a strip of the TIFF: horizontal steps, compressed."""
    import imagecodecs

    steps: Any = imagecodecs.delta_encode(difference.astype(small, copy=False), axis=1)
    return bytes(imagecodecs.zstd_encode(steps, level=LEVEL))


def _decoded(folder: Path, name: str, sha256: str) -> CodeDifferences:
    """Differences of a layer's file, after its hash was checked."""
    import tifffile

    path = folder / name
    if Path(name).name != name:
        raise BrokenLayersError(f"{folder / INDEX} names a file outside its folder.", ADVICE)
    try:
        data = path.read_bytes()
    except OSError as fault:
        raise BrokenLayersError(f"{path} cannot be read ({fault.strerror}).", ADVICE) from fault
    if hashlib.sha256(data).hexdigest() != sha256:
        raise BrokenLayersError(f"{path} was changed or is incomplete.", ADVICE)
    difference = tifffile.imread(io.BytesIO(data))
    if difference.dtype.kind != "i" or difference.dtype.itemsize > 4:
        raise BrokenLayersError(f"{path} holds no differences of code values.", ADVICE)
    return _stored_type(difference)


def _stored_type(difference: npt.NDArray[Any]) -> CodeDifferences:
    """Differences in the integers that layers hold."""
    if difference.dtype.itemsize == 4:
        return np.asarray(difference, np.int32)
    return np.asarray(difference, np.int16)


def _read_index(folder: Path) -> dict[str, Any]:
    path = folder / INDEX
    try:
        index = json.loads(path.read_text("utf-8"))
    except OSError as fault:
        raise BrokenLayersError(
            f"{folder} is no layer set: {INDEX} cannot be read ({fault.strerror}).",
            "Name a folder that ends in .layers.",
        ) from fault
    except ValueError as fault:
        raise BrokenLayersError(f"{path} is broken ({fault}).", ADVICE) from fault
    if not isinstance(index, dict) or index.get("format") != FORMAT:
        raise BrokenLayersError(f"{path} is no index of layers.", ADVICE)
    if index.get("version") != VERSION:
        raise BrokenLayersError(
            f"{path} has version {index.get('version')}; this program reads version {VERSION}.",
            "Use the version of the program that wrote it, or run the retouch again.",
        )
    return index


def pixels_sha256(photograph: Photograph) -> str:
    """SHA-256 of the upright pixels row by row, 16 bit least byte first, in hexadecimal.

    Parameters
    ----------
    photograph : Photograph

    Returns
    -------
    str
        64 digits.
    """
    pixels = np.ascontiguousarray(photograph.pixels, photograph.pixels.dtype.newbyteorder("<"))
    return hashlib.sha256(pixels.data).hexdigest()


def _profile_sha256(photograph: Photograph) -> str:
    return hashlib.sha256(photograph.profile).hexdigest() if photograph.profile else ""


def _plain(value: Any) -> Any:
    """Plain values of what JSON does not know: arrays and numbers of numpy, sets, models."""
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, set | frozenset | tuple):
        return list(value)
    if hasattr(value, "model_dump"):
        return value.model_dump(mode="json")
    raise TypeError(f"{type(value).__name__} cannot be kept in {INDEX}")
