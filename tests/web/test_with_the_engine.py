"""The service with the engine itself, on a photograph in the public domain.

The portrait is NASA's of astronaut Eileen Collins, which scikit-image carries
(`skimage.data.astronaut`, public domain).
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import exiv2
import imagecodecs
import numpy as np
import numpy.typing as npt
import pytest
from fastapi.testclient import TestClient
from skimage import data
from sqlalchemy import select

from evenhand import photo
from evenhand.jobs.place import Place, addresses_in
from evenhand.jobs.work import do
from evenhand.shoots import tables, tokens
from evenhand.web.app import create_app
from evenhand.web.settings import ServiceSettings

STEPS = ["redness", "smoothing", "marks"]


class Desk:
    """The service, its jobs done on the spot."""

    def __init__(self, http: TestClient, place: Place) -> None:
        self.http, self.place = http, place

    def work_off(self) -> None:
        """Do every waiting job."""
        with self.place.database.reading() as session:
            waiting = select(tables.Job.id).where(tables.Job.state == "waiting")
            jobs = session.scalars(waiting).all()
        for job in jobs:
            do(self.place, job)
            with self.place.database.reading() as session:
                row = session.get_one(tables.Job, job)
            assert row.state == "done", f"{row.kind}: {row.trouble}"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """The service with the engine."""
    place = Place.at(*addresses_in(tmp_path_factory.mktemp("engine")))
    with place.database.writing() as session:
        _, secret = tokens.make(session, tokens.Scope.STUDIO, "test")
    app = create_app(place, ServiceSettings())
    with TestClient(app, headers={"Authorization": f"Bearer {secret}"}) as http:
        yield Desk(http, place)


@pytest.fixture(scope="module")
def portrait(desk: Desk) -> dict[str, str]:
    """A portrait with layers: its identifier, its shoot's and its person's."""
    shoot = desk.http.post("/v1/shoots", json={"name": "Regatta"}).json()["id"]
    picture = bytes(imagecodecs.png_encode(data.astronaut()))
    added = desk.http.post(f"/v1/shoots/{shoot}/portraits?name=a.png", content=picture).json()
    desk.work_off()
    portrait = added["portrait"]["id"]
    people = desk.http.get(f"/v1/portraits/{portrait}/people").json()
    assert len(people) == 1
    desk.http.put(f"/v1/people/{people[0]['id']}", json={"name": "Mara"})
    said = {"name": "Mara", "steps": STEPS}
    assert desk.http.post(f"/v1/shoots/{shoot}/permissions", json=said).status_code == 201
    desk.work_off()
    return {"id": portrait, "shoot": shoot, "person": people[0]["id"]}


@pytest.fixture(scope="module")
def final(desk: Desk, portrait: dict[str, str]) -> dict[str, Any]:
    """A final of the portrait."""
    desk.http.post(f"/v1/portraits/{portrait['id']}/final", json={"override": "a test"})
    desk.work_off()
    made: dict[str, Any] = desk.http.get(f"/v1/shoots/{portrait['shoot']}/finals").json()[0]
    return made


def codes(response: Any) -> npt.NDArray[np.int64]:
    """Pixels of a picture that was answered."""
    assert response.status_code == 200, response.text
    return np.asarray(imagecodecs.imread(io.BytesIO(response.content))).astype(np.int64)


def test_layers_of_the_steps_agreed_to(desk: Desk, portrait: dict[str, str]) -> None:
    layers = desk.http.get(f"/v1/portraits/{portrait['id']}/layers").json()
    assert {layer["step"] for layer in layers} == set(STEPS)


def test_pictures_are_the_final_within_one_code(
    desk: Desk, portrait: dict[str, str], final: dict[str, Any]
) -> None:
    delivered = codes(desk.http.get(f"/v1/finals/{final['id']}/file"))
    path = f"/v1/portraits/{portrait['id']}/iiif/retouched/full/max/0/default.png"
    assert np.abs(codes(desk.http.get(path)) - delivered).max() <= 1
    original = data.astronaut().astype(np.int64)
    assert (delivered != original).any()


def test_a_browser_can_blend_it_from_original_and_differences(
    desk: Desk, portrait: dict[str, str]
) -> None:
    total = data.astronaut().astype(np.float64)
    for layer in desk.http.get(f"/v1/portraits/{portrait['id']}/layers").json():
        answer = desk.http.get(f"/v1/layers/{layer['id']}/differences/full/max")
        assert (answer.headers["Width"], answer.headers["Height"]) == ("512", "512")
        total += 0.5 * np.frombuffer(answer.content, "<i2").reshape(512, 512, 3) / 64
    blended = np.clip(np.rint(total), 0, 255)
    strengths = ",".join(f"{step}:0.5" for step in STEPS)
    path = f"/v1/portraits/{portrait['id']}/iiif/retouched/full/max/0/default.png"
    shown = codes(desk.http.get(path, params={"strengths": strengths}))
    assert np.abs(blended - shown).max() <= 1


def test_strength_zero_shows_the_original(desk: Desk, portrait: dict[str, str]) -> None:
    path = f"/v1/portraits/{portrait['id']}/iiif/retouched/100,50,200,200/max/0/default.png"
    strengths = ",".join(f"{step}:0" for step in STEPS)
    shown = codes(desk.http.get(path, params={"strengths": strengths}))
    np.testing.assert_array_equal(shown, data.astronaut()[50:250, 100:300])


def test_a_smaller_preview_is_the_smaller_final(desk: Desk, portrait: dict[str, str]) -> None:
    path = f"/v1/portraits/{portrait['id']}/iiif/retouched"
    large = codes(desk.http.get(f"{path}/full/max/0/default.png"))
    small = codes(desk.http.get(f"{path}/full/128,/0/default.png"))
    mean = large.reshape(128, 4, 128, 4, 3).mean((1, 3))
    assert np.abs(small - mean).max() <= 1


def test_masks_are_pictures_and_can_be_painted(desk: Desk, portrait: dict[str, str]) -> None:
    path = f"/v1/people/{portrait['person']}/masks/face-skin.png?side=512"
    before = codes(desk.http.get(path))
    assert before.shape == (512, 512)
    rows, columns = np.nonzero(before == 255)
    row, column = int(rows[len(rows) // 2]), int(columns[len(rows) // 2])
    paint = bytes(imagecodecs.png_encode(np.full((9, 9), 255, np.uint8)))
    edits = f"/v1/people/{portrait['person']}/mask-edits"
    place = {"region": "face-skin", "paint": "out", "left": column - 4, "top": row - 4}
    made = desk.http.post(edits, params=place, content=paint)
    assert made.status_code == 201, made.text
    after = codes(desk.http.get(path))
    assert after[row - 4 : row + 5, column - 4 : column + 5].max() == 0
    desk.work_off()
    for layer in desk.http.get(f"/v1/portraits/{portrait['id']}/layers").json():
        answer = desk.http.get(f"/v1/layers/{layer['id']}/differences/full/max")
        difference = np.frombuffer(answer.content, "<i2").reshape(512, 512, 3)
        assert not difference[row - 4 : row + 5, column - 4 : column + 5].any()
    assert desk.http.delete(f"/v1/mask-edits/{made.json()['id']}").status_code == 204
    np.testing.assert_array_equal(codes(desk.http.get(path)), before)
    desk.work_off()


def test_a_final_keeps_format_and_profile_and_says_what_was_done(
    desk: Desk, final: dict[str, Any], tmp_path: Path
) -> None:
    """The metadata are read by Exiv2."""
    out = tmp_path / final["name"]
    out.write_bytes(desk.http.get(f"/v1/finals/{final['id']}/file").content)
    read = photo.read(out)
    assert read.shape == (512, 512)
    assert read.source is not None
    assert read.source.kind == photo.FileKind.PNG
    image = exiv2.ImageFactory.open(str(out))
    image.readMetadata()
    xmp = {datum.key(): datum.toString() for datum in image.xmpData()}
    assert xmp["Xmp.iptcExt.DigitalSourceType"].endswith("algorithmicallyEnhanced")
    done = xmp["Xmp.xmpMM.History[1]/stEvt:parameters"]
    applied = {row["step"] for row in final["layers"] if row["strength"] > 0}
    assert applied
    assert {entry.split()[0] for entry in done.split(", ")} <= applied


@pytest.mark.parametrize(
    ("region", "size", "shape"),
    [
        ("full", "max", (512, 512)),
        ("square", "128,", (128, 128)),
        ("0,0,256,128", ",64", (64, 128)),
        ("384,384,512,512", "max", (128, 128)),
        ("0,0,512,256", "100,40", (40, 100)),
        ("0,0,512,256", "!100,100", (50, 100)),
    ],
)
def test_regions_and_sizes_of_the_iiif_image_api(
    desk: Desk, portrait: dict[str, str], region: str, size: str, shape: tuple[int, int]
) -> None:
    """IIIF Image API 3.0, sections 4.1 and 4.2."""
    path = f"/v1/portraits/{portrait['id']}/iiif/original/{region}/{size}/0/default.jpg"
    assert codes(desk.http.get(path)).shape[:2] == shape


@pytest.mark.parametrize(
    ("region", "size"), [("600,0,10,10", "max"), ("full", "1024,"), ("full", "0,"), ("a", "max")]
)
def test_what_is_not_there_is_refused(
    desk: Desk, portrait: dict[str, str], region: str, size: str
) -> None:
    path = f"/v1/portraits/{portrait['id']}/iiif/original/{region}/{size}/0/default.jpg"
    assert desk.http.get(path).status_code == 422
