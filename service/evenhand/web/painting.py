"""Mask edits: what the photographer paints, checked and kept."""

from __future__ import annotations

import struct
from dataclasses import asdict
from enum import StrEnum

import imagecodecs
import numpy as np

from evenhand.box import Box
from evenhand.errors import UnreadablePhotographError, WrongSettingError
from evenhand.jobs.as_painted import SKIN
from evenhand.jobs.packing import mask_codes, pack
from evenhand.jobs.work import PACKAGE
from evenhand.people.person import Mask, Region
from evenhand.shoots import record, sign_offs, storage, tables
from evenhand.web import models
from evenhand.web.access import Service
from evenhand.web.changes import follow, follow_name
from evenhand.web.views import edit_out, found

PNG = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR"
"""Beginning of a PNG (ISO/IEC 15948, 5.2 and 11.2.2)."""


class Paint(StrEnum):
    """Into a mask or out of it."""

    IN = "in"
    OUT = "out"


def painted_mask(data: bytes, region: str, left: int, top: int, portrait: tables.Portrait) -> Mask:
    """What was painted, from a grey PNG.

    Parameters
    ----------
    data : bytes
    region : str
        Name of the region that it is painted for.
    left, top : int
        Where it begins in the upright photograph, pixels, 0 or more.
    portrait : Portrait
        One that has been read.

    Returns
    -------
    Mask

    Raises
    ------
    UnreadablePhotographError
        It is no grey PNG.
    WrongSettingError
        It reaches out of the portrait, or there is no such region.
    """
    if region not in [*Region, SKIN]:
        raise WrongSettingError(
            f"There is no region {region!r}.", f"The regions are {', '.join(Region)}."
        )
    return painted_png(data, left, top, portrait)


def painted_png(data: bytes, left: int, top: int, portrait: tables.Portrait) -> Mask:
    """What was painted, from a grey PNG, whatever it is for.

    Parameters
    ----------
    data : bytes
    left, top : int
        Where it begins in the upright photograph, pixels, 0 or more.
    portrait : Portrait
        One that has been read.

    Returns
    -------
    Mask

    Raises
    ------
    UnreadablePhotographError
        It is no grey PNG.
    WrongSettingError
        It reaches out of the portrait.
    """
    if data[:16] != PNG or len(data) < 33:
        raise UnreadablePhotographError("The mask is no PNG.", "Send a grey PNG.")
    width, height, _, colour = struct.unpack(">IIBB", data[16:26])
    if not (
        0 < width <= (portrait.width or 0) - left and 0 < height <= (portrait.height or 0) - top
    ):
        raise WrongSettingError(
            "The painted mask reaches out of the portrait.",
            f"The portrait has {portrait.width} x {portrait.height} pixels.",
        )
    if colour != 0:
        raise UnreadablePhotographError("The mask is not grey.", "Send a PNG of colour type 0.")
    try:
        codes = imagecodecs.png_decode(data)
    except (imagecodecs.PngError, ValueError, RuntimeError):
        raise UnreadablePhotographError("The mask is a broken PNG.", "Send it again.") from None
    white = np.iinfo(codes.dtype).max if codes.dtype != bool else 1
    alpha = (codes.astype(np.float32) / np.float32(white)).reshape(height, width)
    return Mask(Box(top, left, top + height, left + width), alpha)


def store_edit(
    service: Service, person_id: str, region: str, paint: Paint, mask: Mask, actor: str
) -> models.MaskEditOut:
    """Keep an edit and have the layers computed anew.

    Parameters
    ----------
    service : Service
    person_id : str
    region : str
    paint : Paint
        In or out.
    mask : Mask
    actor : str
        Who painted it, for the record.

    Returns
    -------
    MaskEditOut

    Raises
    ------
    NotFoundError
        There is no such person.
    LockedError
        The portrait is signed and locked.
    """
    place = service.place
    package = pack({"box": asdict(mask.box)}, {"painted": mask_codes(mask.alpha)})
    with place.database.reading() as session:
        portrait = found(session, tables.Person, person_id).portrait
        sign_offs.require_unlocked(session, portrait)
        shoot_id = portrait.shoot_id
    stored = place.files.put(shoot_id, package)
    with place.database.writing() as session:
        person = found(session, tables.Person, person_id)
        storage.enter(session, place.files, shoot_id, stored, package, PACKAGE)
        sign_offs.require_unlocked(session, person.portrait)
        edit = tables.MaskEdit(
            person_id=person_id,
            region=region,
            paint=paint.value,
            box=asdict(mask.box),
            sha256=stored.sha256,
        )
        session.add(edit)
        session.flush()
        entry = record.append(
            session,
            shoot_id,
            actor,
            "mask painted",
            person=person_id,
            edit=edit.id,
            region=region,
            paint=paint.value,
        )
        edit.number = entry.number
        session.flush()
        session.expire(person)
        follow(session, service, person.portrait)
        if person.name:
            follow_name(session, service, shoot_id, person.name)
        return edit_out(edit)
