"""What the pages blend a portrait from: layers of a tile at once, and how much changed where."""

from __future__ import annotations

import gzip
import json
from typing import Annotated, Any

import numpy as np
import numpy.typing as npt
from fastapi import APIRouter, Response

from evenhand.colour.difference import ciede2000
from evenhand.colour.encoding import encoding_of
from evenhand.colour.lab import lab_of
from evenhand.errors import WrongSettingError
from evenhand.jobs.pictures import png
from evenhand.shoots.errors import NotFoundError, NotReadyError
from evenhand.shoots.renderings import shown
from evenhand.web import models
from evenhand.web.access import Here, Studio
from evenhand.web.display_colours import display_colours
from evenhand.web.image_routes import (
    PNG,
    PRIVATE,
    Strengths,
    frame_shape,
    layers_at,
    parsed_strengths,
    parsed_view,
    read_portrait,
    source_of,
)
from evenhand.web.previews import CODES
from evenhand.web.problems import described

COMPRESSION = 1
"""Level of gzip: the quickest; differences are mostly zeros and small numbers."""

CODES_PER_DIFFERENCE = 20
"""Codes of the picture of change for a CIEDE2000 of 1; white is 12.75 and more."""

Region = Annotated[str, models.StringConstraints(max_length=60)]
Size = Annotated[str, models.StringConstraints(max_length=40)]

NUMBERS: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
        "description": "A 32-bit little-endian length; that many bytes of JSON, filled with spaces "
        "to a multiple of four, a list of layers with id, left, top, width and height in the tile, "
        "and whether the final is dithered; of a photograph of 16 bits first what its codes lie "
        "beside whole ones of 8 bits, without an id, to be added always; "
        "then for each layer signed 16-bit little-endian numbers, row by row, red, green, blue: "
        "what it adds at strength 1, in 1/64 of an 8-bit code.",
    }
}

router = APIRouter(prefix="/v1", tags=["pictures"])


@router.get(
    "/portraits/{portrait_id}/differences/{region}/{size}",
    response_class=Response,
    responses=described(NotFoundError, NotReadyError, WrongSettingError) | NUMBERS,
)
def get_tile_differences(
    portrait_id: models.Id, region: Region, size: Size, service: Here, caller: Studio
) -> Response:
    """All layers that may be shown, in a part of the portrait at a size, as numbers.

    Each layer is trimmed to where it changes something. Region and size are IIIF's.
    """
    with service.place.database.reading() as session:
        portrait = read_portrait(session, portrait_id)
        layers = [(item.layer.id, item.layer.sha256) for item in shown(session, portrait)]
    view = parsed_view(region, size, frame_shape(portrait))
    source = source_of(portrait)
    parts: list[dict[str, Any]] = []
    arrays: list[npt.NDArray[np.int16]] = []

    def add(layer_id: str | None, dithered: bool, whole: npt.NDArray[np.int16]) -> None:
        left, top, part = trimmed(whole)
        height, width = part.shape[:2]
        place = {"left": left, "top": top, "width": width, "height": height}
        parts.append({"id": layer_id, "dithered": dithered, **place})
        arrays.append(part)

    if service.previews.photograph(source).white > CODES:
        add(None, False, service.previews.remainder(source, view))
    for layer_id, sha256 in layers:
        fine = service.previews.layer(portrait.shoot_id, sha256).steps_per_code > 1
        add(layer_id, fine, service.previews.differences(source, view, sha256))
    body = gzip.compress(packed(parts, arrays), COMPRESSION, mtime=0)
    return Response(
        body,
        media_type="application/octet-stream",
        headers=PRIVATE | {"Content-Encoding": "gzip"},
    )


@router.get(
    "/portraits/{portrait_id}/change/{region}/{size}.png",
    response_class=Response,
    responses=described(NotFoundError, NotReadyError, WrongSettingError) | PNG,
)
def get_change(
    portrait_id: models.Id,
    region: Region,
    size: Size,
    service: Here,
    caller: Studio,
    strengths: Strengths = "",
) -> Response:
    """How far colours moved, as a grey PNG: CIEDE2000 (D65) times 20, white from 12.75 on."""
    chosen = parsed_strengths(strengths)
    with service.place.database.reading() as session:
        portrait = read_portrait(session, portrait_id)
        layers = layers_at(session, portrait, chosen)
    view = parsed_view(region, size, frame_shape(portrait))
    source = source_of(portrait)
    before, profile = service.previews.picture(source, view, [])
    after, _ = service.previews.picture(source, view, layers)
    moved = np.zeros(view.shape, np.float32)
    changed = (before != after).any(axis=2)
    if changed.any():
        encoding = encoding_of(profile)
        labs = [lab_of(encoding.to_linear(codes[changed])) for codes in (before, after)]
        moved[changed] = ciede2000(*labs)
    codes = np.clip(np.rint(moved * CODES_PER_DIFFERENCE), 0, 255).astype(np.uint8)
    return Response(png(codes), media_type="image/png", headers=PRIVATE)


@router.get(
    "/portraits/{portrait_id}/display-colours",
    responses=described(NotFoundError, NotReadyError),
)
def get_display_colours(
    portrait_id: models.Id, service: Here, caller: Studio, response: Response
) -> models.DisplayColoursOut:
    """How codes of the file become sRGB on a screen."""
    with service.place.database.reading() as session:
        portrait = read_portrait(session, portrait_id)
    response.headers.update(PRIVATE)
    return display_colours(service.previews.photograph(source_of(portrait)).encoding)


def trimmed(whole: npt.NDArray[np.int16]) -> tuple[int, int, npt.NDArray[np.int16]]:
    """Left, top and content of the smallest box around what is not zero.

    Parameters
    ----------
    whole : ndarray of int16, shape (height, width, 3)

    Returns
    -------
    left, top : int
    content : ndarray of int16, shape (rows, columns, 3)
        A view; without rows and columns where all is zero.
    """
    some = whole.any(axis=2)
    rows, columns = np.flatnonzero(some.any(axis=1)), np.flatnonzero(some.any(axis=0))
    if not rows.size:
        return 0, 0, whole[:0, :0]
    top, left = int(rows[0]), int(columns[0])
    return left, top, whole[top : rows[-1] + 1, left : columns[-1] + 1]


def packed(parts: list[dict[str, Any]], arrays: list[npt.NDArray[np.int16]]) -> bytes:
    """Layers of a tile as one body: length, JSON, numbers.

    Parameters
    ----------
    parts : list of dict
        What is said of each layer, for the JSON.
    arrays : list of ndarray of int16
        Their differences, in the same order.

    Returns
    -------
    bytes
        The length of the JSON in 4 bytes, least first; the JSON, filled up to 4 bytes; the numbers,
        least byte first.
    """
    head = json.dumps(parts).encode()
    head += b" " * (-len(head) % 4)
    return (
        len(head).to_bytes(4, "little") + head + b"".join(a.astype("<i2").tobytes() for a in arrays)
    )
