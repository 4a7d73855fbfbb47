"""A quick answer while burns are pointed at, over HTTP."""

from __future__ import annotations

from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import squares


def test_what_would_go_is_outlined_and_nothing_is_kept(studio: Studio) -> None:
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, 31)
    mara, _ = studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "redness")
    path, box = f"/v1/people/{mara}/burn-outlines", squares((64, 128))[0]
    before = studio.get(f"/v1/portraits/{portrait}/layers")
    jobs = studio.get(f"/v1/shoots/{shoot}/jobs")
    assert studio.post(path, json={}) == {"outlines": []}
    inside = [[box.left + 3, box.top + 3]]
    (line,) = studio.post(path, json={"burnt_at": inside})["outlines"]
    assert line[0] == [box.left, box.top]
    assert studio.post(path, json={"burnt_at": [[0, 0]], "leave_at": inside})["outlines"] == []
    assert studio.get(f"/v1/portraits/{portrait}/layers") == before
    assert studio.get(f"/v1/shoots/{shoot}/jobs") == jobs
    assert studio.get(f"/v1/portraits/{portrait}/people")[0]["settings"] == {}


def test_who_has_not_agreed_is_not_looked_at(studio: Studio) -> None:
    shoot = studio.shoot()
    portrait = studio.portrait(shoot, 32)
    mara, _ = studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "smoothing")
    path = f"/v1/people/{mara}/burn-outlines"
    assert studio.http.post(path, json={"burnt_at": [[20, 20]]}).status_code == 403
    studio.agree(shoot, "Mara", "redness")
    assert studio.http.post(path, json={"burnt_at": [[20, 20]]}).status_code == 200
    for wrong in ([[5000, 3]], [[-1, 3]], [[1]], [["a", 3]], [[1, 1]] * 201):
        assert studio.http.post(path, json={"burnt_at": wrong}).status_code == 422


def test_skin_painted_meanwhile_is_looked_at_as_painted(studio: Studio) -> None:
    import imagecodecs
    import numpy as np

    shoot = studio.shoot()
    portrait = studio.portrait(shoot, 33)
    mara, _ = studio.named(portrait, "Mara", "Jon")
    studio.agree(shoot, "Mara", "redness")
    path = f"/v1/people/{mara}/burn-outlines"
    below = {"burnt_at": [[10, 50]]}
    assert studio.post(path, json=below)["outlines"] == []
    png = bytes(imagecodecs.png_encode(np.full((12, 12), 255, np.uint8)))
    place = "region=arm&paint=in&left=4&top=44"
    studio.post(f"/v1/people/{mara}/mask-edits?{place}", content=png)
    (line,) = studio.post(path, json=below)["outlines"]
    assert max(row for _, row in line) == 56
    studio.settle(shoot)
