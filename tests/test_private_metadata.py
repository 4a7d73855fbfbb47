"""Location and personal metadata stay in the result and go into nothing else that is shown."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest
from PIL import Image, ImageCms

from tests.command_line import run
from tests.pictures import frame_of
from tests.private import TRACES, assert_nothing_private, metadata_in, private_original

pytestmark = pytest.mark.usefixtures("known_people")


@pytest.mark.parametrize("suffix", [".jpg", ".png"])
def test_pictures_beside_the_result(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"portrait{suffix}"
    path.write_bytes(private_original(frame_of(96, 128), suffix))
    before = metadata_in(path.read_bytes())
    assert before["Exif.GPSInfo.GPSLatitudeRef"] == "N"
    out = tmp_path / "out"
    done = run("retouch", path, "--out", out, "--only", "redness", "--only", "marks")
    assert done.exit_code == 0, done.output
    after = metadata_in((out / path.name).read_bytes())
    assert {key: after.get(key) for key in before} == before
    for name in ("portrait.before-after.jpg", "portrait.marks.jpg"):
        assert_nothing_private(out / name)
        with Image.open(out / name) as picture:
            profile = ImageCms.ImageCmsProfile(io.BytesIO(picture.info["icc_profile"]))
            assert "sRGB" in ImageCms.getProfileDescription(profile)
    report = (out / "portrait.report.json").read_bytes()
    assert not [trace for trace in TRACES if trace in report]
    run("hand-off", out / "portrait.layers", "--out", tmp_path / "others")
    for picture in (tmp_path / "others" / "portrait.tiffs").iterdir():
        assert not [trace for trace in TRACES if trace in picture.read_bytes()]
    with zipfile.ZipFile(tmp_path / "others" / "portrait.ora") as archive:
        for name in archive.namelist():
            assert not [trace for trace in TRACES if trace in archive.read(name)]
