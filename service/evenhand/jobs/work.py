"""What the jobs do: find people, compute layers. Each may be begun again at any time.

Results are computed first, put as files named by their hash, and entered in one transaction
that also ends the job; whoever comes second finds it ended and leaves no trace.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import lru_cache
from typing import TYPE_CHECKING

import structlog
from opentelemetry.trace import get_tracer
from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from evenhand.errors import EvenhandError
from evenhand.jobs.as_painted import earlier_as_painted, people_as_painted, strength_strokes
from evenhand.jobs.delivering import make_delivery, make_final
from evenhand.jobs.guarded_reading import READER
from evenhand.jobs.job import Kind, Run, SupersededError, begin
from evenhand.jobs.packing import pack_layer, pack_person
from evenhand.jobs.place import Place
from evenhand.layers.layer import Layer
from evenhand.layers.painted import with_strength
from evenhand.people.person import Person as Found
from evenhand.shoots import record, storage, tables
from evenhand.shoots.errors import NotFoundError
from evenhand.shoots.files import Stored
from evenhand.shoots.inputs import (
    BEFORE_BURN,
    MARKS,
    REDNESS,
    EarlierInputs,
    Inputs,
    inputs_of,
)
from evenhand.shoots.outages import AWAY, outage_of
from evenhand.shoots.sign_offs import is_locked

if TYPE_CHECKING:
    from evenhand.steps.reference import DaySkin
    from evenhand.steps.tone import SkinTone

SHORTEST_PAUSE_S, LONGEST_PAUSE_S = 0.5, 20.0
"""How long a job waits before it tries again what could not be done, seconds; doubled each time."""

NO_MEMORY = "There was not enough memory for this."
"""What a job says where the machine's memory did not suffice."""

UNFORESEEN = "Something went wrong that nobody foresaw."
"""What a job says of an error of the service's own."""

PACKAGE = "application/vnd.evenhand.package+zip"
"""Media type of stored people and layers."""

Strokes = Mapping[tuple[int, str], list[tables.StrengthStroke]]
"""Strokes over layers by person's index and step, in order."""

MOST_ROUNDS = 6
"""How often layers are computed anew because what they depend on changed meanwhile."""

SAME_PLACE = 0.5
"""A mark found anew within this part of its size is the same mark."""

log = structlog.get_logger()
tracer = get_tracer("evenhand")


def do(place: Place, job_id: str) -> None:
    """Do a job from its beginning, unless it is over.

    What keeps it from being done and passes is waited for, however long: records or files that do
    not answer, a disk that is full.

    Parameters
    ----------
    place : Place
    job_id : str
    """
    run, pause_s = None, SHORTEST_PAUSE_S
    while True:
        try:
            run = run or begin(place.database, job_id)
            if run is not None:
                _attempt(place, run)
            return
        except SupersededError:
            break
        except AWAY as error:
            outage = outage_of(error)
            if outage is None:
                raise
            log.warning("a job waits", job=job_id, why=outage.trouble, error=type(error).__name__)
            with suppress(*AWAY, SupersededError):
                if run is not None:
                    run.waiting(f"{outage.trouble} {outage.advice}")
            time.sleep(pause_s)
            pause_s = min(2 * pause_s, LONGEST_PAUSE_S)
    assert run is not None
    _clear(place, run, superseded=True)


def _attempt(place: Place, run: Run) -> None:
    """Do a job once; troubles that do not pass end it."""
    try:
        with tracer.start_as_current_span(f"job {run.kind.value}", attributes={"job": run.job_id}):
            WORK[run.kind](place, run)
    except EvenhandError as error:
        if outage_of(error) is not None:
            raise OSError(str(error)) from error
        _fail(place, run, error)
    except SupersededError:
        raise
    except MemoryError:
        _fail(place, run, EvenhandError(NO_MEMORY, "Close other programs, then try again."))
    except Exception as error:
        if outage_of(error) is not None:
            raise
        log.exception("a job met an error nobody foresaw", job=run.job_id)
        _fail(place, run, EvenhandError(UNFORESEEN, "Look at the worker's log."))
    _clear(place, run)


def find(place: Place, run: Run) -> None:
    """Read the portrait, find people, store their masks and geometry with it.

    Parameters
    ----------
    place : Place
    run : Run

    Raises
    ------
    SupersededError
        Another attempt counts by now.
    EvenhandError
        The file is no photograph that can be read.
    """
    with place.database.reading() as session:
        portrait = _portrait(session, run)
    run.doing("reading", 0.1)
    with place.files.as_path(run.shoot_id, portrait.sha256, portrait.name) as path:
        READER.check(path, portrait.name)
        photograph = place.retoucher.read(path)
    run.doing("finding people", 0.3)
    people = place.retoucher.find(photograph)
    run.doing("storing masks", 0.8)
    packages = [pack_person(person) for person in people]
    stored = [place.files.put(run.shoot_id, package) for package in packages]
    with run.committing() as session:
        portrait = _portrait(session, run)
        session.execute(delete(tables.Person).where(tables.Person.portrait_id == portrait.id))
        for person, package, file in zip(people, packages, stored, strict=True):
            storage.enter(session, place.files, run.shoot_id, file, package, PACKAGE)
            session.add(_person_row(portrait.id, person, file.sha256))
        portrait.height, portrait.width = photograph.shape
        portrait.found_at, portrait.trouble = tables.now(), None
        session.flush()
        session.expire(portrait, ["people"])
        inputs = inputs_of(session, portrait, place.steps)
        portrait.layers_key = None if inputs.wanted else inputs.key
        record.append(
            session,
            run.shoot_id,
            "service",
            "people found",
            portrait=portrait.id,
            people=len(people),
        )
        run.end(session, {"people": len(people)})


def compute_layers(place: Place, run: Run) -> None:
    """Compute the layers of every person for the steps they agreed to, and only those.

    Parameters
    ----------
    place : Place
    run : Run

    Raises
    ------
    SupersededError
        Another attempt counts by now.
    """
    for _ in range(MOST_ROUNDS):
        with place.database.reading() as session:
            inputs = inputs_of(session, _portrait(session, run), place.steps)
        layers = _layers(place, run, inputs)
        if _enter_layers(place, run, inputs, layers):
            return
    run.fail("What the layers depend on kept changing.", "Try again when nothing is being changed.")


def _layers(place: Place, run: Run, inputs: Inputs) -> list[Layer]:
    if not inputs.wanted:
        return []
    run.doing("reading", 0.1)
    before, tones = _before_burn(place, run, inputs), _tones(place, run, inputs)
    with place.files.as_path(run.shoot_id, inputs.sha256, inputs.name) as path:
        photograph = place.retoucher.read(path)
    run.doing("computing layers", 0.3)
    people = people_as_painted(place, run.shoot_id, inputs.people)
    wanted = {person.index: person.steps for person in inputs.people}
    return place.retoucher.layers(photograph, people, wanted, before, tones)


def _before_burn(place: Place, run: Run, inputs: Inputs) -> dict[int, DaySkin]:
    """Skin before the burn of the people for whom such a portrait was named, by index."""
    before = {}
    for person in inputs.people:
        earlier = person.before_burn
        if earlier is not None:
            file = earlier.photograph_sha256, earlier.name
            with place.files.as_path(run.shoot_id, *file) as path:
                photograph = place.retoucher.read(path)
            found = earlier_as_painted(place, run.shoot_id, earlier)
            before[person.index] = place.retoucher.skin_before(photograph, found, earlier.name)
    return before


def _tones(place: Place, run: Run, inputs: Inputs) -> dict[int, SkinTone]:
    """Skin as it should look of the people whose portrait is matched to another, by index."""
    tones = {
        person.index: _tone_of(place, run.shoot_id, person.tone_of)
        for person in inputs.people
        if person.tone_of is not None
    }
    return {index: tone for index, tone in tones.items() if tone is not None}


@lru_cache(maxsize=16)
def _tone_of(place: Place, shoot_id: str, reference: EarlierInputs) -> SkinTone | None:
    """Skin of a reference: one portrait after the other of a shoot asks for the same."""
    file = reference.photograph_sha256, reference.name
    with place.files.as_path(shoot_id, *file) as path:
        photograph = place.retoucher.read(path)
    return place.retoucher.skin_tone(photograph, earlier_as_painted(place, shoot_id, reference))


def _enter_layers(place: Place, run: Run, inputs: Inputs, layers: list[Layer]) -> bool:
    """Enter layers if they still are what is wanted; gives whether the work is done.

    Nothing is entered where the portrait was signed and locked.
    """
    run.doing("storing layers", 0.8)
    with place.database.reading() as session:
        strokes = _strokes(_portrait(session, run))
    packages = [pack_layer(layer) for layer in layers]
    stored = [place.files.put(run.shoot_id, package) for package in packages]
    painted = _painted(place, run, layers, strokes)
    with run.committing() as session:
        portrait = _portrait(session, run)
        if is_locked(session, portrait):
            run.end(session, {"layers": 0})
            return True
        if inputs_of(session, portrait, place.steps).key != inputs.key:
            return False
        if _ids(_strokes(portrait)) != _ids(strokes):
            return False
        rows = {person.index: person for person in portrait.people}
        compared = {person.person_id for person in inputs.people if person.before_burn is not None}
        keep = set()
        for layer_at, (layer, package, file) in enumerate(
            zip(layers, packages, stored, strict=True)
        ):
            storage.enter(session, place.files, run.shoot_id, file, package, PACKAGE)
            row = _layer_row(place, rows[layer.person], layer, file.sha256)
            if layer.step == REDNESS and row.person_id in compared:
                earlier = rows[layer.person].settings[REDNESS][BEFORE_BURN]
                row.settings = {**row.settings, BEFORE_BURN: earlier}
            if layer_at in painted:
                package, file = painted[layer_at]
                storage.enter(session, place.files, run.shoot_id, file, package, PACKAGE)
                row.plain_sha256, row.sha256 = row.sha256, file.sha256
            session.add(row)
            session.flush()
            keep.add(row.id)
        for person in portrait.people:
            for row in person.layers:
                if row.id not in keep:
                    session.delete(row)
            _enter_marks(session, person, layers)
        session.flush()
        session.expire_all()
        if inputs_of(session, portrait, place.steps).key != inputs.key:
            return False  # marks were found anew under other numbers
        portrait.layers_key = inputs.key
        record.append(
            session,
            run.shoot_id,
            "service",
            "layers computed",
            portrait=portrait.id,
            layers=[
                [layer.person, layer.step, file.sha256]
                for layer, file in zip(layers, stored, strict=True)
            ],
        )
        run.end(session, {"layers": len(layers)})
    return True


def _strokes(portrait: tables.Portrait) -> Strokes:
    """Strokes over layers by person's index and step."""
    found: dict[tuple[int, str], list[tables.StrengthStroke]] = {}
    for person in portrait.people:
        for stroke in person.strokes:
            found.setdefault((person.index, stroke.step), []).append(stroke)
    return found


def _ids(strokes: Strokes) -> list[str]:
    return sorted(stroke.id for those in strokes.values() for stroke in those)


def _painted(
    place: Place, run: Run, layers: list[Layer], strokes: Strokes
) -> dict[int, tuple[bytes, Stored]]:
    """Layers whose strength was painted in places, packed and put, by their place in the list."""
    painted = {}
    for at, layer in enumerate(layers):
        mine = strokes.get((layer.person, layer.step))
        if mine:
            read = strength_strokes(place, run.shoot_id, mine)
            package = pack_layer(with_strength(layer, read))
            painted[at] = package, place.files.put(run.shoot_id, package)
    return painted


def _layer_row(place: Place, person: tables.Person, layer: Layer, sha256: str) -> tables.Layer:
    """The row of a layer: the one there is with new content, so that its strength stays."""
    row = next((row for row in person.layers if row.step == layer.step), None)
    if row is None:
        model = place.retoucher.settings()[layer.step]
        given = person.settings.get(layer.step, {})
        strength = given.get("strength", model().model_dump().get("strength", 1.0))
        row = tables.Layer(person_id=person.id, step=layer.step, strength=float(strength))
    row.box = vars(layer.box)
    row.cap, row.sha256, row.plain_sha256 = layer.cap, sha256, None
    row.settings, row.facts = dict(layer.settings), dict(layer.facts)
    return row


def _enter_marks(session: Session, person: tables.Person, layers: list[Layer]) -> None:
    """Enter the marks that were found, each with the decision made on it before."""
    layer = next((one for one in layers if (one.person, one.step) == (person.index, MARKS)), None)
    before = list(person.marks)
    session.execute(delete(tables.Mark).where(tables.Mark.person_id == person.id))
    session.flush()
    for found in layer.facts.get("marks", []) if layer else []:
        same = _same_mark(before, found, person.mm_per_pixel)
        session.add(
            tables.Mark(
                person_id=person.id,
                number=found["number"],
                kind=found["kind"],
                region=found["region"],
                size_mm=found["size_mm"],
                row=found["row"],
                column=found["column"],
                confidence=found["confidence"],
                proposed="remove" if found["decision"] == "filled" else "keep",
                decision=same.decision if same else None,
                wish=same.wish if same else None,
            )
        )


def _same_mark(
    before: list[tables.Mark], found: Mapping[str, float], mm_per_pixel: float
) -> tables.Mark | None:
    for mark in before:
        reach = SAME_PLACE * max(mark.size_mm, found["size_mm"]) / mm_per_pixel
        if abs(mark.row - found["row"]) <= reach and abs(mark.column - found["column"]) <= reach:
            return mark
    return None


def _person_row(portrait_id: str, person: Found, sha256: str) -> tables.Person:
    face = person.face
    return tables.Person(
        portrait_id=portrait_id,
        index=person.index,
        face=None if face is None else vars(face.box),
        confidence=None if face is None else float(face.confidence),
        mm_per_pixel=float(person.scale.mm_per_pixel),
        regions=[
            {"region": region.value, "box": vars(mask.box)} for region, mask in person.masks.items()
        ],
        sha256=sha256,
    )


def _portrait(session: Session, run: Run) -> tables.Portrait:
    portrait = session.scalars(
        select(tables.Portrait).where(tables.Portrait.id == run.portrait_id)
    ).first()
    if portrait is None:
        raise SupersededError(run.job_id)
    return portrait


def _clear(place: Place, run: Run, *, superseded: bool = False) -> None:
    """Delete files that nothing names; all of them where the shoot was deleted meanwhile.

    What a superseded run put and did not enter goes too.
    """
    with place.database.reading() as session:
        stands = session.get(tables.Shoot, run.shoot_id) is not None
    if stands:
        storage.sweep(place.database, place.files, run.shoot_id)
        if superseded:
            storage.sweep_unentered(place.database, place.files, shoot_id=run.shoot_id)
    else:
        place.files.delete_shoot(run.shoot_id)


def _fail(place: Place, run: Run, error: EvenhandError) -> None:
    """End the job as failed; a portrait that could not be read says why."""
    with suppress(NotFoundError):
        if run.kind is Kind.FIND:
            with run.committing() as session:
                _portrait(session, run).trouble = f"{error.trouble} {error.advice}"
        run.fail(error.trouble, error.advice)


WORK: Mapping[Kind, Callable[[Place, Run], None]] = {
    Kind.FIND: find,
    Kind.LAYERS: compute_layers,
    Kind.FINAL: make_final,
    Kind.DELIVERY: make_delivery,
}
"""What is done for each kind of job."""
