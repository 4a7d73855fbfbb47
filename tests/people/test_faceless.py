"""People without a head in the picture are found by their skin; fur, coffee and the like are not.

The people are the invented ones of ``demo_images``, their heads cut off; what is nobody comes with
scikit-image.
"""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage import data

from evenhand import photo, retouch
from evenhand.people import find_people
from evenhand.people.person import Region, ScaleSource
from evenhand.photo.photograph import Photograph

DEMO = Path(__file__).resolve().parents[2] / "demo_images"


def below_the_head(name: str, first_row: int) -> Photograph:
    """A demo portrait from a row below the chin on, at half size."""
    pixels = photo.read(DEMO / name).pixels[first_row::2, ::2]
    return Photograph(np.ascontiguousarray(pixels))


@pytest.mark.parametrize(("name", "first_row"), [("burnt_arm.jpg", 1050), ("bowman.jpg", 1050)])
def test_arms_and_chest_without_a_head_are_somebody(name: str, first_row: int) -> None:
    photograph = below_the_head(name, first_row)
    people = find_people(photograph)
    assert people
    assert all(person.face is None for person in people)
    assert [person.index for person in people] == list(range(len(people)))
    assert any(Region.ARM in person.masks for person in people)
    total = np.sum([person.skin(photograph.frame) for person in people], axis=0)
    assert total.max() < 1.5  # nearly no pixel is two people's
    height, width = total.shape
    chest = total[: height // 8, width // 2 - 40 : width // 2 + 40]
    assert chest.mean() > 0.6
    vest = total[int(0.6 * height) :, int(0.4 * width) : int(0.6 * width)]
    assert vest.max() == 0


def test_scale_comes_from_the_limbs() -> None:
    whole = photo.read(DEMO / "burnt_arm.jpg")
    (known,) = find_people(whole)
    found = find_people(below_the_head("burnt_arm.jpg", 1050))
    assert {person.scale.source for person in found} == {ScaleSource.LIMBS}
    # at half size a pixel covers twice as much
    assert found[0].scale.mm_per_pixel == pytest.approx(2 * known.scale.mm_per_pixel, rel=0.35)


@pytest.mark.parametrize("name", ["chelsea", "retina", "rocket", "hubble_deep_field"])
def test_what_is_nobody_stays_nobody(name: str) -> None:
    pixels = np.ascontiguousarray(getattr(data, name)()[::2, ::2])
    assert find_people(Photograph(pixels)) == []


def test_faces_that_were_not_found_are_left_alone() -> None:
    for person in find_people(below_the_head("burnt_arm.jpg", 900)):
        assert person.face is not None or Region.FACE not in person.masks


def test_report_notes_people_without_a_head(tmp_path: Path) -> None:
    picture = tmp_path / "arms.png"
    Image.fromarray(below_the_head("burnt_arm.jpg", 1050).pixels).save(picture)
    report = retouch(picture, tmp_path / "out", dry_run=True)
    assert report.people
    assert all(person.face is None for person in report.people)
    assert sum("no head is seen" in note for note in report.notes) == len(report.people)
