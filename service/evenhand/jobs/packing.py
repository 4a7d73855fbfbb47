"""People and layers as bytes for the file store: named arrays and plain facts in one ZIP."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import imagecodecs
import numpy as np
import numpy.typing as npt

from evenhand.box import Box
from evenhand.layers.layer import Layer
from evenhand.people.person import Belief, Face, Mask, Person, Region, Scale, ScaleSource

FACTS = "facts.json"
"""Name of the facts in a package; every other entry is an array in NumPy's format."""

VERSION = 1
"""Of the package; another one is not read."""

FULL = 65535
"""Code of full membership in a stored mask."""

MOMENT = (1980, 1, 1, 0, 0, 0)
"""Date of every entry, so that equal content gives equal bytes."""


def pack(facts: Mapping[str, Any], arrays: Mapping[str, npt.NDArray[Any]]) -> bytes:
    """One package; the same content always gives the same bytes.

    Parameters
    ----------
    facts : mapping
        What JSON can hold, but `version`.
    arrays : mapping of str to ndarray
        By name; of any type but objects.

    Returns
    -------
    bytes
    """
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as package:
        content = json.dumps({"version": VERSION, **facts}, sort_keys=True).encode()
        package.writestr(zipfile.ZipInfo(FACTS, MOMENT), content)
        for name, array in sorted(arrays.items()):
            raw = io.BytesIO()
            np.save(raw, np.ascontiguousarray(array), allow_pickle=False)
            package.writestr(
                zipfile.ZipInfo(name, MOMENT), imagecodecs.zstd_encode(raw.getvalue(), 1)
            )
    return out.getvalue()


def unpack(data: bytes) -> tuple[dict[str, Any], dict[str, npt.NDArray[Any]]]:
    """Facts and arrays of a package.

    Parameters
    ----------
    data : bytes
        From `pack`.

    Returns
    -------
    facts : dict
    arrays : dict of str to ndarray

    Raises
    ------
    ValueError
        The package is of another version, or an array is broken.
    BadZipFile, KeyError
        The bytes are no package.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        facts = json.loads(package.read(FACTS))
        if facts.pop("version", None) != VERSION:
            raise ValueError(f"a package of version {VERSION} was expected")
        arrays = {
            name: np.load(
                io.BytesIO(imagecodecs.zstd_decode(package.read(name))), allow_pickle=False
            )
            for name in package.namelist()
            if name != FACTS
        }
    return facts, arrays


def pack_person(person: Person) -> bytes:
    """A person with masks and the belief in burns (16 bit), and face geometry.

    Parameters
    ----------
    person : Person

    Returns
    -------
    bytes
    """
    face = person.face
    facts = {
        "index": person.index,
        "mm_per_pixel": person.scale.mm_per_pixel,
        "scale_source": person.scale.source.value,
        "masks": {region.value: asdict(mask.box) for region, mask in person.masks.items()},
        "face": face
        and {
            "box": asdict(face.box),
            "roll": face.roll,
            "yaw": face.yaw,
            "confidence": face.confidence,
        },
    }
    arrays: dict[str, npt.NDArray[Any]] = {
        f"mask.{region.value}": mask_codes(mask.alpha) for region, mask in person.masks.items()
    }
    if face is not None:
        arrays["landmarks"] = face.landmarks
    if person.burnt is not None:
        arrays["burnt"] = mask_codes(person.burnt.chance)
        arrays["burnt.to_photograph"] = person.burnt.to_photograph
        if person.burnt.seen is not None:
            arrays["burnt.seen"] = person.burnt.seen
    return pack(facts, arrays)


def unpack_person(data: bytes) -> Person:
    """The person of a package.

    Parameters
    ----------
    data : bytes
        From `pack_person`.

    Returns
    -------
    Person
        Masks within 1/131070 of those packed.

    Raises
    ------
    ValueError
        As for `unpack`.
    """
    facts, arrays = unpack(data)
    face = facts["face"] and Face(
        box=Box(**facts["face"]["box"]),
        landmarks=arrays["landmarks"],
        roll=facts["face"]["roll"],
        yaw=facts["face"]["yaw"],
        confidence=facts["face"]["confidence"],
    )
    return Person(
        index=facts["index"],
        face=face,
        scale=Scale(facts["mm_per_pixel"], ScaleSource(facts["scale_source"])),
        masks={
            Region(name): Mask(Box(**box), mask_alpha(arrays[f"mask.{name}"]))
            for name, box in facts["masks"].items()
        },
        burnt=Belief(
            mask_alpha(arrays["burnt"]), arrays["burnt.to_photograph"], arrays.get("burnt.seen")
        )
        if "burnt" in arrays
        else None,
    )


def pack_layer(layer: Layer) -> bytes:
    """A layer as bytes.

    Parameters
    ----------
    layer : Layer

    Returns
    -------
    bytes
    """
    facts = {
        "step": layer.step,
        "person": layer.person,
        "box": asdict(layer.box),
        "steps_per_code": layer.steps_per_code,
        "cap": layer.cap,
        "settings": dict(layer.settings),
        "facts": dict(layer.facts),
    }
    return pack(facts, {"difference": layer.difference})


def unpack_layer(data: bytes) -> Layer:
    """The layer of a package.

    Parameters
    ----------
    data : bytes
        From `pack_layer`.

    Returns
    -------
    Layer

    Raises
    ------
    ValueError
        As for `unpack`.
    """
    facts, arrays = unpack(data)
    facts["box"] = Box(**facts["box"])
    return Layer(difference=arrays["difference"], **facts)


def mask_codes(alpha: npt.NDArray[np.float32]) -> npt.NDArray[np.uint16]:
    """Membership in [0, 1] as 16-bit codes.

    Parameters
    ----------
    alpha : ndarray of float32
        Clipped to [0, 1].

    Returns
    -------
    ndarray of uint16, same shape
    """
    codes: npt.NDArray[np.uint16] = np.rint(np.clip(alpha, 0, 1) * FULL).astype(np.uint16)
    return codes


def mask_alpha(codes: npt.NDArray[np.generic]) -> npt.NDArray[np.float32]:
    """16-bit codes as membership in [0, 1].

    Parameters
    ----------
    codes : ndarray of integers
        0 to 65535.

    Returns
    -------
    ndarray of float32, same shape
    """
    return codes.astype(np.float32) / np.float32(FULL)
