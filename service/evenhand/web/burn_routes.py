"""A quick answer while burns are pointed at: which skin would go, before anything is computed."""

from __future__ import annotations

from fastapi import APIRouter

from evenhand.errors import WrongSettingError
from evenhand.shoots import permissions, tables
from evenhand.shoots.errors import NoPermissionError, NotFoundError, NotReadyError
from evenhand.shoots.inputs import REDNESS, inputs_of
from evenhand.web import models
from evenhand.web.access import Here, Studio
from evenhand.web.image_routes import read_portrait
from evenhand.web.pointing import require_on_photograph
from evenhand.web.problems import described
from evenhand.web.views import found

router = APIRouter(prefix="/v1", tags=["portraits"])


@router.post(
    "/people/{person_id}/burn-outlines",
    responses=described(NotFoundError, NoPermissionError, NotReadyError, WrongSettingError),
)
def outline_burns(
    person_id: models.Id, body: models.BurnPointsIn, service: Here, caller: Studio
) -> models.BurnOutlinesOut:
    """Outline what redness would take off or ease, told these points; nothing is kept or changed.

    The first answer for a person takes a moment, further ones about a tenth of a second.
    """
    points = body.model_dump()
    with service.place.database.reading() as session:
        person = found(session, tables.Person, person_id)
        portrait = read_portrait(session, person.portrait_id)
        permissions.require(session, portrait.shoot_id, person, REDNESS)
        require_on_photograph(points, portrait)
        inputs = inputs_of(session, portrait, service.place.steps)
    sight = service.previews.sight(inputs, person_id)
    lines = service.place.retoucher.burn_outlines(sight, points) if sight is not None else []
    return models.BurnOutlinesOut(outlines=[line.tolist() for line in lines])
