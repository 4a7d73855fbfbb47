"""A scene's views in one small file: pictures compressed as JPEG and PNG inside a ZIP archive.

For view k the archive holds

- `k_light.jpg`: square root of a quarter of scene-linear light, three channels;
- `k_label.png`: class of each pixel, named in `labels.CLASSES`;
- `k_soft.jpg`: share of skin above, share of kept parts below, one channel;
- `k_normal.jpg`: (normal + 1) / 2 in world axes, at half size;
- `k_place.jpg`: place on the body at rest between the bounds that the record names, at half size;
- `k_who.png`: number of the person whose skin it is from 1, 0 for none, at half size;
- `k_gloss.jpg`: share of light that is gloss, one channel, at half size;

and `record.json`, which tells of the scene and of each view. About 40 kB a view of 288 px.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

WHITE = 4.0
"""Largest scene-linear value that a stored view can hold."""

LIGHT_QUALITY, SOFT_QUALITY, PLACE_QUALITY = 90, 75, 95
"""JPEG qualities: light loses less than the noise that training adds; place less than a pixel."""

Bytes = NDArray[np.uint8]
Numbers = NDArray[np.float32]


@dataclass
class View:
    """One rendered view and its facts.

    Attributes
    ----------
    rgb : float32, shape (h, w, 3)
        Scene-linear Rec. 709 colour.
    label, skin, keep : uint8, shape (h, w)
        Class; share of skin and of kept parts, 255 is all.
    normal : float32, shape (h, w, 3)
        Unit normals in world axes; zero where there is no skin.
    place : float32, shape (h, w, 3)
        Place on the body at rest, metres; zero where there is no skin.
    who : uint8, shape (h, w)
        Number of the person whose skin it is, from 1; 0 for none.
    gloss : float32, shape (h, w)
        Share of the light that is gloss, 0 to 1.
    """

    rgb: Numbers
    label: Bytes
    skin: Bytes
    keep: Bytes
    normal: Numbers
    place: Numbers
    who: Bytes
    gloss: Numbers
    facts: dict[str, Any]


def save_scene(path: Path, views: Sequence[View], record: Mapping[str, Any]) -> None:
    """Write the archive; it appears under its name only when it is whole."""
    part = path.with_suffix(".part")
    facts = []
    with zipfile.ZipFile(part, "w") as archive:
        for k, view in enumerate(views):
            place, bounds = _bounded(_half(view.place), _half(view.who) > 0)
            light = np.sqrt(np.clip(view.rgb, 0, WHITE) / WHITE)
            archive.writestr(f"{k}_light.jpg", _jpeg(_byte(light), LIGHT_QUALITY))
            archive.writestr(f"{k}_label.png", _png(view.label))
            soft = np.concatenate([view.skin, view.keep])
            archive.writestr(f"{k}_soft.jpg", _jpeg(soft, SOFT_QUALITY))
            normal = _byte(_half(view.normal) * 0.5 + 0.5)
            archive.writestr(f"{k}_normal.jpg", _jpeg(normal, SOFT_QUALITY))
            archive.writestr(f"{k}_place.jpg", _jpeg(place, PLACE_QUALITY))
            archive.writestr(f"{k}_who.png", _png(_half(view.who)))
            archive.writestr(f"{k}_gloss.jpg", _jpeg(_byte(_half(view.gloss)), SOFT_QUALITY))
            facts.append({**view.facts, "place_bounds": bounds})
        archive.writestr("record.json", json.dumps({**record, "views": facts}))
    part.rename(path)


def _bounded(place: Numbers, known: NDArray[np.bool_]) -> tuple[Bytes, list[list[float]]]:
    """Places as bytes between their bounds; unknown ones lie in the middle."""
    if not known.any():
        return np.full(place.shape, 128, np.uint8), [[0.0] * 3, [1.0] * 3]
    low, high = place[known].min(0), place[known].max(0) + 1e-3
    share = np.where(known[..., None], (place - low) / (high - low), 0.5)
    return _byte(share), [[round(float(v), 4) for v in bound] for bound in (low, high)]


def _half(image: NDArray[Any]) -> NDArray[Any]:
    return image[::2, ::2]


def _byte(share: NDArray[Any]) -> Bytes:
    return (np.clip(share, 0, 1) * 255 + 0.5).astype(np.uint8)


def _jpeg(image: Bytes, quality: int) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(image).save(stream, "JPEG", quality=quality, subsampling=0)
    return stream.getvalue()


def _png(image: Bytes) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(image).save(stream, "PNG", optimize=True)
    return stream.getvalue()
