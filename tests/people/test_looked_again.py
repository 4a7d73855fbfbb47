"""Where skin was painted, burns are looked for once more."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from evenhand import photo
from evenhand.people.finding import find_people, looked_again
from evenhand.people.painting import IN, painted
from evenhand.people.person import Region


def test_burns_are_looked_for_again_on_skin_that_was_painted() -> None:
    """The rendered person's truth says where the burn is."""
    truth = Path(__file__).parents[1] / "scenes" / "burnt_arm_burn.png"
    portrait = Path(__file__).parents[2] / "demo_images" / "burnt_arm.jpg"
    if not (truth.exists() and portrait.exists()):
        pytest.skip("the rendered people are not there")
    photograph = photo.read(portrait)
    (person,) = find_people(photograph)
    assert person.burnt is not None
    assert looked_again(photograph, person) is person
    missed = replace(person, masks={r: m for r, m in person.masks.items() if r is not Region.ARM})
    arm = person.masks[Region.ARM]
    again = looked_again(photograph, painted(missed, [(Region.ARM, IN, arm)]))
    assert again.burnt is not None
    rows, columns = (round(side / 8) for side in photograph.shape)
    burn = np.asarray(Image.open(truth).resize((columns, rows))) / 255
    skin = cv2.resize(person.skin(photograph.frame), (columns, rows), interpolation=cv2.INTER_AREA)
    for seen in (person.burnt, again.burnt):
        belief = seen.on(photograph.frame, (rows, columns))
        burnt, unburnt = (skin > 0.95) & (burn > 0.6), (skin > 0.95) & (burn < 0.05)
        assert belief[burnt].mean() > belief[unburnt].mean() + 0.4
