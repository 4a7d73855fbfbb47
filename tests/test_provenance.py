"""Results say what was done: read back by Exiv2 and by the reader of C2PA's own library."""

from __future__ import annotations

import hashlib
import io
import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import c2pa
import exiv2
import pytest

import evenhand
from evenhand.photo.xmp import ENHANCED
from tests.command_line import run
from tests.photo.certificates import made_certificate
from tests.pictures import frame_of, pixels_in, write_file

HEIGHT, WIDTH = 96, 128
WHEN = datetime(2026, 7, 19, 20, 30, tzinfo=UTC)
EVENT = "Xmp.xmpMM.History[{}]/stEvt:"
SOURCE_TYPE = "Xmp.iptcExt.DigitalSourceType"

pytestmark = pytest.mark.usefixtures("known_people")


def xmp_of(path: Path) -> dict[str, str]:
    image = exiv2.ImageFactory.open(str(path))
    image.readMetadata()
    return {datum.key(): datum.toString() for datum in image.xmpData()}


def portrait(folder: Path, suffix: str = ".png") -> Path:
    return write_file(frame_of(HEIGHT, WIDTH), folder / "originals" / f"portrait{suffix}")


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
def test_a_retouch_says_what_was_done(suffix: str, tmp_path: Path) -> None:
    path = portrait(tmp_path, suffix)
    assert not xmp_of(path)
    before = datetime.now(UTC).replace(microsecond=0)
    strengths = "--strength", "redness=0.8", "--strength", "smoothing=0.25"
    assert run("retouch", path, "--out", tmp_path / "out", *strengths).exit_code == 0
    found = xmp_of(tmp_path / "out" / path.name)
    assert found[SOURCE_TYPE] == ENHANCED
    assert found[EVENT.format(1) + "action"] == "edited"
    assert found[EVENT.format(1) + "softwareAgent"] == f"Evenhand {evenhand.__version__}"
    assert found[EVENT.format(1) + "parameters"] == "redness 0.8, smoothing 0.25"
    assert before <= datetime.fromisoformat(found[EVENT.format(1) + "when"]) <= datetime.now(UTC)


def test_the_same_time_gives_the_same_file(tmp_path: Path) -> None:
    path = portrait(tmp_path)
    for name in ("one", "two"):
        evenhand.retouch(path, tmp_path / name, when=WHEN)
    one, two = ((tmp_path / name / path.name).read_bytes() for name in ("one", "two"))
    assert one == two
    assert xmp_of(tmp_path / "one" / path.name)["Xmp.xmp.ModifyDate"] == "2026-07-19T20:30:00+00:00"


def test_a_blend_says_its_own_strengths_and_nothing_where_nothing_was_done(tmp_path: Path) -> None:
    path = portrait(tmp_path)
    evenhand.retouch(path, tmp_path / "out")
    layers = tmp_path / "out" / "portrait.layers"
    softer = evenhand.blend_stored(layers, tmp_path / "softer", {"redness": 0.5, "smoothing": 0})
    assert xmp_of(softer)[EVENT.format(1) + "parameters"] == "redness 0.5"
    assert not xmp_of(evenhand.blend_stored(layers, tmp_path / "none", {"": 0.0}))


def test_a_reverted_file_says_so_and_is_enhanced_no_more(tmp_path: Path) -> None:
    path = portrait(tmp_path)
    evenhand.retouch(path, tmp_path / "out")
    back = evenhand.revert(tmp_path / "out" / path.name, tmp_path / "back")
    assert back.whole
    assert (pixels_in(back.path) == frame_of(HEIGHT, WIDTH)).all()
    found = xmp_of(back.path)
    assert found[EVENT.format(2) + "parameters"] == "layers taken off: redness, smoothing"
    assert SOURCE_TYPE not in found


@pytest.fixture(scope="module")
def signing(tmp_path_factory: pytest.TempPathFactory) -> tuple[object, ...]:
    """Options that sign with a made-up certificate."""
    folder, made = tmp_path_factory.mktemp("studio"), made_certificate()
    (folder / "chain.pem").write_bytes(made.chain)
    (folder / "key.pem").write_bytes(made.private_key)
    return "--certificate", folder / "chain.pem", "--key", folder / "key.pem"


def actions_in(path: Path, media_type: str) -> list[str]:
    """Actions of a valid manifest; fails if anything but the invented authority is wrong."""
    with c2pa.Reader(media_type, io.BytesIO(path.read_bytes())) as reader:
        report: dict[str, Any] = json.loads(reader.json())
    failures = report["validation_results"]["activeManifest"]["failure"]
    assert {failure["code"] for failure in failures} <= {"signingCredential.untrusted"}
    manifest = report["manifests"][report["active_manifest"]]
    (found,) = (a for a in manifest["assertions"] if a["label"].startswith("c2pa.actions"))
    return [action["action"] for action in found["data"]["actions"]]


def test_signed_results(signing: tuple[object, ...], tmp_path: Path) -> None:
    path = portrait(tmp_path)
    assert run("retouch", path, "--out", tmp_path / "out", *signing).exit_code == 0
    assert run("retouch", path, "--out", tmp_path / "plain").exit_code == 0
    result = tmp_path / "out" / path.name
    adjusted, filtered = "c2pa.adjustedColor", "c2pa.filtered"
    assert actions_in(result, "image/png") == ["c2pa.opened", adjusted, filtered]
    assert (pixels_in(result) == pixels_in(tmp_path / "plain" / path.name)).all()
    report = json.loads((tmp_path / "out" / "portrait.report.json").read_text())
    assert report["result"]["sha256"] == hashlib.sha256(result.read_bytes()).hexdigest()
    layers = tmp_path / "out" / "portrait.layers"
    done = run("blend", layers, "--out", tmp_path / "new", "--strength", "smoothing=0", *signing)
    assert done.exit_code == 0, done.output
    assert actions_in(tmp_path / "new" / path.name, "image/png") == ["c2pa.opened", adjusted]
    back = run("revert", result, "--out", tmp_path / "back")
    assert back.exit_code == 0, back.output
    assert (pixels_in(tmp_path / "back" / path.name) == frame_of(HEIGHT, WIDTH)).all()


def test_what_cannot_sign_is_told_before_anything_is_done(
    signing: tuple[object, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = portrait(tmp_path)
    command = "retouch", path, "--out", tmp_path / "out"
    done = run(*command, *signing[:2])
    assert done.exit_code == 2
    assert "both --certificate and --key" in done.output
    done = run(*command, *signing[:2], "--key", path)
    assert done.exit_code == 1
    assert "no private key in PEM form" in done.output
    done = run(*command, *signing, "--algorithm", "md5")
    assert done.exit_code == 1
    assert "Use one of es256" in done.output
    monkeypatch.setitem(sys.modules, "c2pa", None)
    done = run(*command, *signing)
    assert done.exit_code == 1
    assert "evenhand[credentials]" in done.output
    assert not (tmp_path / "out").exists()


def test_a_key_of_somebody_else_leaves_nothing(signing: tuple[object, ...], tmp_path: Path) -> None:
    other = tmp_path / "other.pem"
    other.write_bytes(made_certificate().private_key)
    path = portrait(tmp_path)
    done = run("retouch", path, "--out", tmp_path / "out", *signing[:2], "--key", other)
    assert done.exit_code == 1
    assert "not signed" in done.output
    assert not list((tmp_path / "out").iterdir())
