"""Pictures over HTTP: previews at any strength, IIIF tiles, layers and masks as images.

Tiles follow the IIIF Image API 3.0 (https://iiif.io/api/image/3.0/), without rotation.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

import numpy as np
import numpy.typing as npt
from fastapi import APIRouter, Query, Response
from fastapi.responses import RedirectResponse
from sqlalchemy.orm import Session

from evenhand.box import Box
from evenhand.errors import WrongSettingError
from evenhand.jobs.as_painted import people_as_painted
from evenhand.jobs.pictures import fitted, jpeg, png, resized
from evenhand.people.person import Mask, Person
from evenhand.pictures.screen import SRGB, on_screen
from evenhand.shoots import permissions, tables
from evenhand.shoots.errors import NoPermissionError, NotFoundError, NotReadyError
from evenhand.shoots.inputs import inputs_of
from evenhand.shoots.renderings import shown
from evenhand.web import models
from evenhand.web.access import Here, Service, Studio
from evenhand.web.previews import Source, View
from evenhand.web.problems import described
from evenhand.web.views import found

TILE = 512
"""Side of the tiles that the description of an image names, pixels."""

LARGEST = 4096
"""Longest side of a picture or tile, pixels."""

STRENGTHS = re.compile(r"(?:([0-9a-f]{32})\.)?([a-z][a-z -]{0,40}):([01](?:\.[0-9]{1,6})?)")
"""One strength in a query: of a step, or of a step of one person."""

Side = Annotated[int, Query(ge=16, le=LARGEST, description="Longer side, pixels.")]
Strengths = Annotated[
    str,
    Query(
        max_length=4000,
        examples=["redness:0.6,smoothing:0.3"],
        description="STEP:VALUE or PERSON.STEP:VALUE, separated by commas; a layer that is not "
        "named keeps the strength chosen for it.",
    ),
]
Which = Literal["original", "retouched"]

PICTURE: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {"image/jpeg": {"schema": {"type": "string", "format": "binary"}}},
        "description": "The picture.",
    }
}
PNG: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {"image/png": {"schema": {"type": "string", "format": "binary"}}},
        "description": "The picture.",
    }
}
TILE_PICTURE: dict[int | str, dict[str, Any]] = {
    200: {"content": PICTURE[200]["content"] | PNG[200]["content"]}
}

router = APIRouter(prefix="/v1", tags=["pictures"])


@router.get(
    "/portraits/{portrait_id}/preview",
    response_class=Response,
    responses=described(NotFoundError, NotReadyError, WrongSettingError) | PICTURE,
)
def get_preview(
    portrait_id: models.Id,
    service: Here,
    caller: Studio,
    side: Side = 1600,
    strengths: Strengths = "",
) -> Response:
    """The portrait at any strengths, JPEG. Layers without permission are not in it."""
    chosen = parsed_strengths(strengths)
    with service.place.database.reading() as session:
        portrait = read_portrait(session, portrait_id)
        layers = layers_at(session, portrait, chosen)
    view = View(frame_of(portrait), fitted(frame_shape(portrait), side))
    return Response(
        picture_bytes(service, portrait, view, layers), media_type="image/jpeg", headers=PRIVATE
    )


@router.get(
    "/portraits/{portrait_id}/iiif/{which}",
    status_code=303,
    response_class=RedirectResponse,
    responses=described(NotFoundError),
)
def get_image(
    portrait_id: models.Id, which: Which, service: Here, caller: Studio
) -> RedirectResponse:
    """Where the description is."""
    return RedirectResponse(f"/v1/portraits/{portrait_id}/iiif/{which}/info.json", 303)


@router.get(
    "/portraits/{portrait_id}/iiif/{which}/info.json",
    responses=described(NotFoundError, NotReadyError),
)
def describe_image(
    portrait_id: models.Id, which: Which, service: Here, caller: Studio
) -> dict[str, Any]:
    """What tiles and sizes there are (IIIF Image API 3.0, section 5)."""
    with service.place.database.reading() as session:
        portrait = read_portrait(session, portrait_id)
    height, width = frame_shape(portrait)
    factors = [2**k for k in range(12) if k == 0 or TILE * 2 ** (k - 1) < max(height, width)]
    sizes = [fitted((height, width), max(height, width) // factor) for factor in factors]
    return {
        "@context": "http://iiif.io/api/image/3/context.json",
        "id": f"/v1/portraits/{portrait_id}/iiif/{which}",
        "type": "ImageService3",
        "protocol": "http://iiif.io/api/image",
        "profile": "level0",
        "width": width,
        "height": height,
        "maxWidth": LARGEST,
        "maxHeight": LARGEST,
        "tiles": [{"width": TILE, "height": TILE, "scaleFactors": factors}],
        "sizes": [{"width": w, "height": h} for h, w in reversed(sizes) if max(h, w) <= LARGEST],
        "extraFormats": ["png"],
        "extraFeatures": [
            "regionByPx",
            "regionSquare",
            "sizeByW",
            "sizeByH",
            "sizeByWh",
            "sizeByConfinedWh",
        ],
    }


@router.get(
    "/portraits/{portrait_id}/iiif/{which}/{region}/{size}/{rotation}/{quality}.{format}",
    response_class=Response,
    responses=described(NotFoundError, NotReadyError, WrongSettingError) | TILE_PICTURE,
)
def get_tile(
    portrait_id: models.Id,
    which: Which,
    region: Annotated[str, models.StringConstraints(max_length=60)],
    size: Annotated[str, models.StringConstraints(max_length=40)],
    rotation: Literal["0"],
    quality: Literal["default", "color"],
    format: Literal["jpg", "png"],
    service: Here,
    caller: Studio,
    strengths: Strengths = "",
) -> Response:
    """A part of the portrait at a size (IIIF Image API 3.0, section 4).

    JPEG is for looking, in sRGB; PNG has the file's own codes, 8 bits of them, without a profile.
    """
    chosen = parsed_strengths(strengths)
    with service.place.database.reading() as session:
        portrait = read_portrait(session, portrait_id)
        layers = layers_at(session, portrait, chosen) if which == "retouched" else []
    view = parsed_view(region, size, frame_shape(portrait))
    codes, profile = service.previews.picture(source_of(portrait), view, layers)
    body = for_screen(codes, profile) if format == "jpg" else png(codes)
    return Response(
        body, media_type=f"image/{'jpeg' if format == 'jpg' else 'png'}", headers=PRIVATE
    )


@router.get(
    "/layers/{layer_id}/differences/{region}/{size}",
    response_class=Response,
    responses=described(NotFoundError, NoPermissionError, NotReadyError, WrongSettingError)
    | {
        200: {
            "content": {
                "application/octet-stream": {"schema": {"type": "string", "format": "binary"}}
            },
            "description": "Signed 16-bit little-endian numbers, row by row, red, green, blue: "
            "what the layer adds at strength 1, in 1/64 of an 8-bit code.",
        }
    },
)
def get_differences(
    layer_id: models.Id,
    region: Annotated[str, models.StringConstraints(max_length=60)],
    size: Annotated[str, models.StringConstraints(max_length=40)],
    service: Here,
    caller: Studio,
) -> Response:
    """A layer as numbers, to blend with the original where it is looked at.

    The picture at strengths s is round(original + sum of s * difference / 64) in 8-bit codes.
    Region and size are IIIF's.
    """
    with service.place.database.reading() as session:
        layer = found(session, tables.Layer, layer_id)
        portrait = read_portrait(session, layer.person.portrait_id)
        permissions.require(session, portrait.shoot_id, layer.person, layer.step)
    view = parsed_view(region, size, frame_shape(portrait))
    differences = service.previews.differences(source_of(portrait), view, layer.sha256)
    height, width = view.shape
    return Response(
        differences.astype("<i2").tobytes(),
        media_type="application/octet-stream",
        headers=PRIVATE | {"Width": str(width), "Height": str(height)},
    )


@router.get(
    "/people/{person_id}/masks/{region}.png",
    response_class=Response,
    responses=described(NotFoundError, NotReadyError) | PNG,
)
def get_mask(
    person_id: models.Id, region: str, service: Here, caller: Studio, side: Side = 1600
) -> Response:
    """A region's mask over the whole portrait with what was painted, 8-bit grey PNG."""
    person, portrait = person_as_painted(service, person_id)
    mask = next((m for r, m in person.masks.items() if r.value == region), None)
    if mask is None:
        raise NotFoundError(f"This person has no region {region!r}.", "See the person's regions.")
    return Response(
        png(_mask_picture(mask, portrait, side)), media_type="image/png", headers=PRIVATE
    )


@router.get(
    "/people/{person_id}/skin.png",
    response_class=Response,
    responses=described(NotFoundError, NotReadyError) | PNG,
)
def get_skin(person_id: models.Id, service: Here, caller: Studio, side: Side = 1600) -> Response:
    """All skin of a person over the whole portrait with what was painted, 8-bit grey PNG."""
    person, portrait = person_as_painted(service, person_id)
    box = person.skin_box
    codes = _mask_picture(Mask(box, person.skin(box)), portrait, side)
    return Response(png(codes), media_type="image/png", headers=PRIVATE)


PRIVATE = {"Cache-Control": "private, no-store"}
"""Pictures of people stay out of caches."""


def parsed_strengths(text: str) -> dict[tuple[str | None, str], float]:
    """Strengths by person, None for everybody, and step.

    Parameters
    ----------
    text : str
        "STEP:VALUE" or "PERSON.STEP:VALUE", separated by commas; may be empty.

    Returns
    -------
    dict of (str or None, str) to float

    Raises
    ------
    WrongSettingError
        One cannot be read, or is outside 0 to 1.
    """
    strengths = {}
    for part in filter(None, (part.strip() for part in text.split(","))):
        match = STRENGTHS.fullmatch(part)
        if match is None or float(match[3]) > 1:
            raise WrongSettingError(
                f"The strength {part[:60]!r} cannot be read.",
                "Say STEP:VALUE or PERSON.STEP:VALUE, the value from 0 to 1.",
            )
        strengths[match[1], match[2]] = float(match[3])
    return strengths


def layers_at(
    session: Session, portrait: tables.Portrait, chosen: dict[tuple[str | None, str], float]
) -> list[tuple[str, float]]:
    """File and strength of every layer that may be shown.

    Parameters
    ----------
    session : Session
    portrait : Portrait
    chosen : dict of (str or None, str) to float
        Strengths by person, None for everybody, and step; else the records' own holds.

    Returns
    -------
    list of (str, float)
        SHA-256 of each file, and the strength in [0, 1].
    """
    return [
        (
            item.layer.sha256,
            chosen.get(
                (item.person.id, item.layer.step),
                chosen.get((None, item.layer.step), item.strength),
            ),
        )
        for item in shown(session, portrait)
    ]


def picture_bytes(
    service: Service, portrait: tables.Portrait, view: View, layers: list[tuple[str, float]]
) -> bytes:
    """A picture of a portrait as JPEG.

    Parameters
    ----------
    service : Service
    portrait : Portrait
    view : View
    layers : list of (str, float)
        As `layers_at` gives them.

    Returns
    -------
    bytes
        In sRGB.
    """
    return for_screen(*service.previews.picture(source_of(portrait), view, layers))


def for_screen(codes: npt.NDArray[np.uint8], profile: bytes | None) -> bytes:
    """Codes of a file as a JPEG in sRGB, with its profile.

    Parameters
    ----------
    codes : ndarray of uint8, shape (height, width, 3)
    profile : bytes or None
        Theirs; None where they are sRGB.

    Returns
    -------
    bytes
    """
    return jpeg(on_screen(codes, profile), SRGB)


def source_of(portrait: tables.Portrait) -> Source:
    """The file of a portrait.

    Parameters
    ----------
    portrait : Portrait

    Returns
    -------
    Source
    """
    return Source(portrait.shoot_id, portrait.sha256, portrait.name)


def frame_shape(portrait: tables.Portrait) -> tuple[int, int]:
    """Height and width of a portrait that has been read.

    Parameters
    ----------
    portrait : Portrait

    Returns
    -------
    height, width : int
    """
    assert portrait.height is not None
    assert portrait.width is not None
    return portrait.height, portrait.width


def frame_of(portrait: tables.Portrait) -> Box:
    """The whole portrait.

    Parameters
    ----------
    portrait : Portrait
        One that has been read.

    Returns
    -------
    Box
    """
    return Box(0, 0, *frame_shape(portrait))


def parsed_view(region: str, size: str, shape: tuple[int, int]) -> View:
    """Region and size of IIIF's Image API, sections 4.1 and 4.2.

    Parameters
    ----------
    region : str
        "full", "square" or "x,y,w,h" in pixels.
    size : str
        "max", "w,", ",h", "w,h" or "!w,h" in pixels; nothing is enlarged.
    shape : tuple of int
        Height and width of the photograph.

    Returns
    -------
    View

    Raises
    ------
    WrongSettingError
        They are malformed, outside the picture, or larger than what is there.
    """
    box = _region(region, shape)
    return View(box, _size(size, box))


def _region(region: str, shape: tuple[int, int]) -> Box:
    height, width = shape
    if region == "full":
        return Box(0, 0, height, width)
    if region == "square":
        side = min(shape)
        top, left = (height - side) // 2, (width - side) // 2
        return Box(top, left, top + side, left + side)
    match = re.fullmatch(r"(\d{1,7}),(\d{1,7}),(\d{1,7}),(\d{1,7})", region)
    if match:
        left, top, across, down = map(int, match.groups())
        box = Box(top, left, min(top + down, height), min(left + across, width))
        if box.area:
            return box
    raise WrongSettingError(
        f"The region {region[:60]!r} is not in the portrait.",
        "Say full, square, or LEFT,TOP,WIDTH,HEIGHT in pixels.",
    )


def _size(size: str, box: Box) -> tuple[int, int]:
    if size == "max":
        return fitted((box.height, box.width), LARGEST)
    match = re.fullmatch(r"(!?)([1-9]\d{0,5})?,([1-9]\d{0,5})?", size)
    if match and (match[2] or match[3]) and (not match[1] or (match[2] and match[3])):
        confined, across, down = match[1], int(match[2] or 0), int(match[3] or 0)
        if confined:
            scale = min(across / box.width, down / box.height, 1.0)
            across, down = round(box.width * scale), round(box.height * scale)
        across = across or round(box.width * down / box.height)
        down = down or round(box.height * across / box.width)
        across, down = max(1, across), max(1, down)
        if across <= min(box.width, LARGEST) and down <= min(box.height, LARGEST):
            return down, across
    raise WrongSettingError(
        f"The size {size[:40]!r} cannot be given.",
        f"Say max, WIDTH, or ,HEIGHT or WIDTH,HEIGHT, no larger than the region and {LARGEST}.",
    )


def read_portrait(session: Session, portrait_id: str) -> tables.Portrait:
    """A portrait that has been read.

    Parameters
    ----------
    session : Session
    portrait_id : str

    Returns
    -------
    Portrait

    Raises
    ------
    NotFoundError
        There is none, or it was removed.
    NotReadyError
        It has not been read yet, or cannot be.
    """
    portrait = found(session, tables.Portrait, portrait_id)
    if portrait.width is None:
        raise NotReadyError(
            portrait.trouble or "The portrait has not been read yet.",
            "Send another file." if portrait.trouble else "Wait for its job.",
        )
    return portrait


def person_as_painted(service: Service, person_id: str) -> tuple[Person, tables.Portrait]:
    """A person with masks as painted, and their portrait.

    Parameters
    ----------
    service : Service
    person_id : str

    Returns
    -------
    person : evenhand.people.person.Person
    portrait : tables.Portrait

    Raises
    ------
    NotFoundError
        There is no such person.
    NotReadyError
        The portrait has not been read.
    """
    with service.place.database.reading() as session:
        row = found(session, tables.Person, person_id)
        portrait, index = read_portrait(session, row.portrait_id), row.index
        inputs = inputs_of(session, portrait, ())
    everybody = people_as_painted(
        service.place,
        portrait.shoot_id,
        inputs.people,
        lambda sha256: service.previews.person(portrait.shoot_id, sha256),
    )
    return next(one for one in everybody if one.index == index), portrait


def _mask_picture(mask: Mask, portrait: tables.Portrait, side: int) -> npt.NDArray[np.uint8]:
    whole = np.zeros(frame_shape(portrait), np.float32)
    whole[mask.box.slices] = mask.alpha
    small = resized(whole, fitted(frame_shape(portrait), side))
    codes: npt.NDArray[np.uint8] = np.rint(np.clip(small, 0, 1) * 255).astype(np.uint8)
    return codes
