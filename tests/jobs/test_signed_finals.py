"""The finals of all that is signed, in one act: names, sizes and formats, and what is left."""

from __future__ import annotations

import io
from typing import Any

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import CHANGES, picture, squares


class Shoot:
    """Three portraits of Mara: two signed, one not."""

    def __init__(self, studio: Studio, seed: int) -> None:
        self.studio, self.seed = studio, seed
        self.id = studio.shoot()
        self.portraits = [
            studio.portrait(self.id, seed=seed + number, name=f"{number}.png")
            for number in range(3)
        ]
        for portrait in self.portraits:
            studio.named(portrait, "Mara", "Jon")
        studio.agree(self.id, "Mara", "redness")
        for portrait in self.portraits:
            layer = studio.get(f"/v1/portraits/{portrait}/layers")[0]["id"]
            studio.put(f"/v1/layers/{layer}/strength", json={"strength": 0.5})
        _, self.link = studio.proof(self.id, *self.portraits)
        for portrait in self.portraits[:2]:
            studio.sign(portrait, self.link)

    def make(self, **body: Any) -> Any:
        asked = self.studio.post(f"/v1/shoots/{self.id}/finals", json=body)
        for job in asked["jobs"]:
            assert self.studio.wait(job["id"]).state == "done"
        return asked

    def finals(self) -> dict[str, bytes]:
        return {
            final["name"]: self.studio.http.get(f"/v1/finals/{final['id']}/file").content
            for final in self.studio.get(f"/v1/shoots/{self.id}/finals")
        }

    def expected(self, number: int) -> np.ndarray[Any, Any]:
        """What the plain retoucher makes of a portrait at the strength that was signed."""
        pixels = np.asarray(imagecodecs.png_decode(picture(self.seed + number))).astype(int)
        pixels[squares(pixels.shape[:2])[0].slices] += np.rint(
            0.5 * np.array(CHANGES["redness"])
        ).astype(int)
        return pixels


def test_all_that_is_signed_is_made_and_what_is_not_is_told(studio: Studio) -> None:
    shoot = Shoot(studio, 300)
    asked = shoot.make(pattern="{shoot}-{number}")
    assert len(asked["jobs"]) == 2
    (left,) = asked["left"]
    assert left["portrait"] == shoot.portraits[2]
    assert "no valid sign-off" in left["why"]
    finals = shoot.finals()
    assert sorted(finals) == ["Summer-regatta-001.png", "Summer-regatta-002.png"]
    for number in range(2):
        made = imagecodecs.png_decode(finals[f"Summer-regatta-00{number + 1}.png"])
        np.testing.assert_array_equal(made, shoot.expected(number))
    listed = studio.get(f"/v1/shoots/{shoot.id}/finals")
    assert {row["strength"] for final in listed for row in final["layers"]} == {0.5}
    entries = studio.get(f"/v1/shoots/{shoot.id}/record")["entries"]
    assert "finals of all signed asked for" in [entry["action"] for entry in entries]


def test_what_is_made_already_is_not_made_twice(studio: Studio) -> None:
    shoot = Shoot(studio, 310)
    shoot.make()
    again = shoot.make()
    assert again["jobs"] == []
    assert set(again["made"]) == set(shoot.portraits[:2])
    assert len(shoot.make(format="jpeg")["jobs"]) == 2


def test_a_change_that_is_asked_for_is_not_passed_over(studio: Studio) -> None:
    shoot = Shoot(studio, 320)
    path = f"/v1/proof/portraits/{shoot.portraits[0]}"
    seen = studio.http.get(f"{path}/picture", headers=shoot.link)
    body = {"rendering": seen.headers["Rendering"], "asked_by": "Mara", "words": "Less."}
    studio.post(f"{path}/changes", headers=shoot.link, json=body)
    asked = shoot.make()
    assert len(asked["jobs"]) == 1
    assert "is asked for" in asked["left"][0]["why"]


def test_small_jpegs_are_in_srgb_and_say_only_what_was_done(studio: Studio) -> None:
    """Read back by Pillow, and the profile by its little-cms."""
    shoot = Shoot(studio, 330)
    shoot.make(format="jpeg", longest_side=96)
    final = studio.get(f"/v1/shoots/{shoot.id}/finals")[0]
    assert (final["format"], final["longest_side"]) == ("jpeg", 96)
    with Image.open(io.BytesIO(shoot.finals()["0.jpg"])) as made:
        assert made.size == (96, 48)
        profile = ImageCms.ImageCmsProfile(io.BytesIO(made.info["icc_profile"]))
        assert "sRGB" in ImageCms.getProfileDescription(profile)
        assert b"algorithmicallyEnhanced" in made.info["xmp"]
        assert not made.getexif()
        shown = np.asarray(made).astype(float)
    # Mean over blocks: 128 x 64 becomes 96 x 48, three new pixels for four old ones.
    wanted = shoot.expected(0).reshape(16, 4, 32, 4, 3).mean((1, 3))
    got = shown.reshape(16, 3, 32, 3, 3).mean((1, 3))
    assert np.abs(wanted - got).mean() < 1.5


def test_tiffs_keep_depth_and_every_code(studio: Studio) -> None:
    shoot = Shoot(studio, 340)
    shoot.make(format="tiff")
    made = tifffile.imread(io.BytesIO(shoot.finals()["1.tif"]))
    np.testing.assert_array_equal(made, shoot.expected(1))


@pytest.mark.parametrize(
    "body", [{"longest_side": 500}, {"pattern": "{name}"}, {"format": "gif"}, {"longest_side": 2}]
)
def test_a_form_that_cannot_be_is_refused(studio: Studio, body: dict[str, Any]) -> None:
    shoot = studio.shoot()
    refused = studio.http.post(f"/v1/shoots/{shoot}/finals", json=body)
    assert refused.status_code == 422
    assert refused.json()["advice"]
