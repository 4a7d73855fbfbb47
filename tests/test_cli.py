"""The command line as a user meets it."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from evenhand.computing import STEPS
from evenhand.people.person import Person, Scale, ScaleSource
from evenhand.report import Report
from evenhand.steps.patch import Change
from tests.command_line import run
from tests.jobs.servers import PATIENCE_S
from tests.pictures import frame_of, pixels_in, write_file

HEIGHT, WIDTH = 96, 128


@pytest.fixture
def portrait(tmp_path: Path) -> Path:
    return write_file(frame_of(HEIGHT, WIDTH), tmp_path / "originals" / "portrait.png")


HEAVY = (
    "cv2", "fastapi", "imagecodecs", "mediapipe", "numba", "numpy", "onnxruntime", "PIL",
    "pydantic", "rich", "scipy", "skimage", "sqlalchemy", "tifffile",
)  # fmt: skip
# Libraries that take 50 ms or more to load, which is what would make the help slow.


def test_help_is_quick_and_loads_nothing_heavy() -> None:
    code = (
        "import sys; from evenhand.cli import main; main(['--help'], standalone_mode=False); "
        f"print(sorted({set(HEAVY)!r} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert "Usage:" in done.stdout
    assert done.stderr.strip() == "[]"


@pytest.mark.parametrize(
    ("arguments", "trouble"),
    [
        (["--strength", "much"], "is no number"),
        (["--strength", "=1"], "say VALUE or STEP=VALUE"),
        (["--strength", "redness=1.5"], "redness.strength: Input should be less than or equal"),
        (
            ["--strength", "glow=0.5"],
            "There is no step 'glow'; there are marks, redness",
        ),
        (["--cap", "8"], "say STEP=VALUE or sum=VALUE"),
        (["--cap", "smoothing=-1"], "smoothing.cap: Input should be greater than"),
        (["--cap", "sum=0"], "cap: Input should be greater than 0"),
        (["--only", "glow"], "unknown step 'glow'"),
        (["--set", "redness.nothing=1"], "redness.nothing: Extra inputs are not permitted"),
        (["--set", "redness"], "say STEP.SETTING=VALUE"),
        (["--skin-at", "12"], "say two whole numbers"),
    ],
)
def test_a_wrong_command_line(portrait: Path, arguments: list[str], trouble: str) -> None:
    done = run("retouch", portrait, "--out", portrait.parent / "out", *arguments)
    assert done.exit_code == 2
    assert trouble in done.output
    assert not (portrait.parent / "out").exists()


def test_a_missing_file(tmp_path: Path) -> None:
    done = run("retouch", tmp_path / "none.jpg", "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert "does not exist" in done.output


@pytest.mark.usefixtures("known_people")
def test_a_missing_file_stops_no_other(portrait: Path, tmp_path: Path) -> None:
    done = run("retouch", portrait, tmp_path / "none.jpg", "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert "none.jpg does not exist" in done.output
    assert (tmp_path / "out" / "portrait.report.json").exists()


@pytest.mark.usefixtures("known_people")
@pytest.mark.parametrize("linked", [False, True])
@pytest.mark.parametrize("named", ["portrait.png", "portrait.before-after.jpg"])
def test_a_named_original_is_never_replaced(
    portrait: Path, tmp_path: Path, named: str, linked: bool
) -> None:
    """Neither by the result of another of the same name, nor through a link, with --overwrite."""
    original = tmp_path / "b" / named
    original.parent.mkdir()
    original.write_bytes(portrait.read_bytes())
    out = original.parent
    if linked:
        out = tmp_path / "out"
        out.mkdir()
        (out / named).hardlink_to(original)
    before = original.read_bytes()
    done = run("retouch", portrait, original, "--out", out, "--overwrite")
    assert done.exit_code == 1
    assert "an original, which is never written to" in done.output
    assert original.read_bytes() == before
    assert not (out / "portrait.report.json").exists()


@pytest.mark.usefixtures("known_people")
def test_the_reference_of_a_match_is_never_replaced(portrait: Path, tmp_path: Path) -> None:
    reference = tmp_path / "b" / "portrait.png"
    reference.parent.mkdir()
    reference.write_bytes(portrait.read_bytes())
    before = reference.read_bytes()
    done = run(
        "tone", reference, portrait, "--out", reference.parent, "--strength", "1", "--overwrite"
    )
    assert done.exit_code == 1
    assert reference.read_bytes() == before


def test_masks_never_replace_their_photograph(portrait: Path) -> None:
    named = portrait.rename(portrait.with_name("skin.png"))
    before = named.read_bytes()
    run("masks", named, "--out", named.parent, "--overwrite")
    assert named.read_bytes() == before


@pytest.mark.usefixtures("known_people")
def test_a_name_that_is_not_utf_8_is_told_and_stops_no_other(
    portrait: Path, tmp_path: Path
) -> None:
    other = os.fsencode(tmp_path) + b"/na\xffme.png"
    with open(other, "wb") as file:
        file.write(portrait.read_bytes())
    done = run("retouch", os.fsdecode(other), portrait, "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert r"na\xffme.png: its name is not in UTF-8. Rename it" in done.output
    assert "unexpected" not in done.output
    assert (tmp_path / "out" / "portrait.report.json").exists()


def test_a_name_too_long_for_its_results_is_told_before_anything_is_computed(
    portrait: Path, tmp_path: Path
) -> None:
    """80 characters of three bytes each; the file itself can just be there."""
    long = portrait.rename(portrait.with_name("\u6f22" * 80 + ".png"))
    done = run("retouch", long, "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert "Shorten its name" in done.output
    assert not (tmp_path / "out").exists()


@pytest.mark.usefixtures("known_people")
def test_retouch_writes_everything(portrait: Path, tmp_path: Path) -> None:
    before = portrait.read_bytes(), portrait.stat()
    done = run("retouch", portrait, "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert "portrait.png: 1 person; redness, smoothing; " in done.output
    assert "belongs before a doctor" in done.output
    assert "guardian" in done.output
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "portrait.before-after.jpg",
        "portrait.layers",
        "portrait.png",
        "portrait.report.json",
    ]
    report = Report.model_validate_json((tmp_path / "out" / "portrait.report.json").read_text())
    assert [layer.step for layer in report.layers] == ["redness", "smoothing"]
    after = portrait.stat()
    assert portrait.read_bytes() == before[0]
    assert (after.st_atime_ns, after.st_mtime_ns) == (before[1].st_atime_ns, before[1].st_mtime_ns)


@pytest.mark.usefixtures("known_people")
def test_an_existing_result_is_not_overwritten(portrait: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert run("retouch", portrait, "--out", out).exit_code == 0
    first = (out / "portrait.png").read_bytes()
    done = run("retouch", portrait, "--out", out, "--strength", "0.1")
    assert done.exit_code == 1
    assert "is already there" in done.output
    assert (out / "portrait.png").read_bytes() == first
    assert run("retouch", portrait, "--out", out, "--strength", "0.1", "--overwrite").exit_code == 0
    assert (out / "portrait.png").read_bytes() != first


@pytest.mark.usefixtures("known_people")
def test_the_original_is_never_the_result(portrait: Path) -> None:
    content = portrait.read_bytes()
    done = run("retouch", portrait, "--out", portrait.parent, "--overwrite")
    assert done.exit_code == 1
    assert "original" in done.output
    assert portrait.read_bytes() == content
    assert [p.name for p in portrait.parent.iterdir()] == ["portrait.png"]


@pytest.mark.usefixtures("known_people")
def test_one_bad_file_never_stops_the_rest(tmp_path: Path) -> None:
    folder = tmp_path / "regatta"
    for name in ("a.png", "c.jpg", "d.tif"):
        write_file(frame_of(HEIGHT, WIDTH), folder / name)
    (folder / "b.jpg").write_bytes(b"")
    (folder / "e.jpg").write_bytes((folder / "c.jpg").read_bytes()[:700])
    (folder / "notes.txt").write_text("no photograph")
    (folder / "empty").mkdir()
    done = run("retouch", folder, folder / "empty", "--out", tmp_path / "out", "--json")
    assert done.exit_code == 1
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    troubles = [line["trouble"] for line in lines if "trouble" in line]
    assert len(troubles) == 3
    assert all(any(name in t for t in troubles) for name in ("b.jpg", "e.jpg", "empty"))
    assert sorted(p.name for p in (tmp_path / "out").glob("*.report.json")) == [
        "a.report.json",
        "c.report.json",
        "d.report.json",
    ]


@pytest.mark.usefixtures("known_people")
def test_results_that_would_share_a_name(tmp_path: Path) -> None:
    one = write_file(frame_of(HEIGHT, WIDTH), tmp_path / "one" / "same.png")
    two = write_file(frame_of(HEIGHT, WIDTH), tmp_path / "two" / "same.png")
    done = run("retouch", one, two, "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert f"names of those of {one}" in done.output
    assert (tmp_path / "out" / "same.png").exists()


@pytest.mark.usefixtures("known_people")
def test_a_dry_run_writes_nothing(portrait: Path, tmp_path: Path) -> None:
    done = run("retouch", portrait, "--out", tmp_path / "out", "--dry-run", "--json")
    assert done.exit_code == 0
    report = Report.model_validate_json(done.stdout)
    assert report.result is None
    assert report.layers[0].at_full_strength.largest > 0
    assert not (tmp_path / "out").exists()


@pytest.mark.usefixtures("known_people")
def test_blend_at_zero_gives_the_original_pixels(portrait: Path, tmp_path: Path) -> None:
    assert run("retouch", portrait, "--out", tmp_path / "out").exit_code == 0
    layers = tmp_path / "out" / "portrait.layers"
    done = run("blend", layers, "--strength", "0", "--out", tmp_path / "zero")
    assert done.exit_code == 0, done.output
    assert (pixels_in(tmp_path / "zero" / "portrait.png") == frame_of(HEIGHT, WIDTH)).all()
    done = run("blend", layers, "--out", tmp_path / "same")
    assert done.exit_code == 0
    same = pixels_in(tmp_path / "same" / "portrait.png")
    assert (same == pixels_in(tmp_path / "out" / "portrait.png")).all()


@pytest.mark.usefixtures("known_people")
def test_blend_refuses_what_does_not_fit(portrait: Path, tmp_path: Path) -> None:
    assert run("retouch", portrait, "--out", tmp_path / "out").exit_code == 0
    layers = tmp_path / "out" / "portrait.layers"
    other = write_file(frame_of(HEIGHT, WIDTH, seed=1), tmp_path / "other.png")
    for arguments, trouble in (
        (["--photograph", other], "same size but other pixels"),
        (["--person", "3"], "no layer of person 3"),
        (["--strength", "glow=1"], "no layer 'glow'"),
    ):
        done = run("blend", layers, "--out", tmp_path / "new", *arguments)
        assert done.exit_code == 1
        assert trouble in done.output
    moved = portrait.rename(tmp_path / "portrait.png")
    done = run("blend", layers, "--out", tmp_path / "new")
    assert done.exit_code == 1
    assert "--photograph" in done.output
    assert not (tmp_path / "new").exists()
    done = run("blend", layers, "--out", tmp_path / "new", "--photograph", moved, "--person", "0")
    assert done.exit_code == 0, done.output


@pytest.mark.usefixtures("known_people")
@pytest.mark.parametrize(("name", "bits"), [("a.png", 8), ("a.tif", 8), ("a.tif", 16)])
def test_revert_gives_the_original_pixels_without_the_original(
    name: str, bits: int, tmp_path: Path
) -> None:
    path = write_file(frame_of(HEIGHT, WIDTH, bits), tmp_path / "originals" / name)
    assert run("retouch", path, "--out", tmp_path / "out").exit_code == 0
    path.unlink()
    done = run("revert", tmp_path / "out" / name, "--out", tmp_path / "back")
    assert done.exit_code == 0, done.output
    back = pixels_in(tmp_path / "back" / name)
    assert (back == frame_of(HEIGHT, WIDTH, bits)).all()
    assert hashlib.sha256(back.tobytes()).hexdigest() in done.output
    done = run("revert", tmp_path / "out" / name, "--out", tmp_path / "no", "--strength", "0.2")
    assert done.exit_code == 1
    assert "not what these layers made" in done.output


@pytest.mark.usefixtures("known_people")
def test_revert_of_a_jpeg_says_that_it_is_nearly(tmp_path: Path) -> None:
    path = write_file(frame_of(HEIGHT, WIDTH), tmp_path / "originals" / "a.jpg")
    assert run("retouch", path, "--out", tmp_path / "out").exit_code == 0
    done = run("revert", tmp_path / "out" / "a.jpg", "--out", tmp_path / "back")
    assert done.exit_code == 0, done.output
    assert "nearly" in done.output
    original, result, back = (
        pixels_in(tmp_path / place / "a.jpg").astype(int) for place in ("originals", "out", "back")
    )
    assert abs(back - original).mean() < 0.5 * abs(result - original).mean()


@pytest.mark.usefixtures("known_people")
def test_masks_are_written_at_full_size(portrait: Path, tmp_path: Path) -> None:
    done = run("masks", portrait, "--out", tmp_path / "masks")
    assert done.exit_code == 0, done.output
    assert sorted(p.name for p in (tmp_path / "masks").iterdir()) == [
        "kept.png",
        "person-0.arm.png",
        "person-0.eye.png",
        "person-0.face-skin.png",
        "skin.png",
    ]


def test_nobody_found_is_no_failure(tmp_path: Path) -> None:
    cloth = frame_of(HEIGHT, WIDTH)[:4, :4].repeat(24, axis=0).repeat(32, axis=1)
    path = write_file(cloth, tmp_path / "cloth.png")
    done = run("retouch", path, "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert "--skin-at" in done.output
    assert not (tmp_path / "out").exists()


def test_steps_are_listed_with_limits() -> None:
    done = run("steps")
    assert done.exit_code == 0
    assert "redness (runs unless" in done.output
    assert re.search(r"smoothing\.strength = 0\.\d+ \[0 to 1\]  [A-Z]", done.output)


@pytest.mark.usefixtures("known_people")
def test_a_folder_that_may_not_be_listed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As root every folder may be listed, so the refusal is put in."""
    good = write_file(frame_of(HEIGHT, WIDTH), tmp_path / "good.png")
    locked = tmp_path / "locked"
    locked.mkdir()
    listed = Path.iterdir

    def refuse(path: Path) -> object:
        if path == locked:
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return listed(path)

    monkeypatch.setattr(Path, "iterdir", refuse)
    done = run("retouch", locked, good, "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert f"{locked}: cannot be listed (Permission denied)" in done.output
    assert (tmp_path / "out" / "good.png").exists()


@pytest.fixture
def full_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of its own with room for a small file only."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = shutil.which("mount") and subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=16k", "none", str(disk)], capture_output=True
    )
    if not mounted or mounted.returncode:
        pytest.skip("mounting a small disk needs root")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


@pytest.mark.usefixtures("known_people")
def test_a_full_disk(portrait: Path, full_disk: Path) -> None:
    done = run("retouch", portrait, "--out", full_disk / "out")
    assert done.exit_code == 1
    assert "space" in done.output
    assert not [path for path in full_disk.rglob("*") if path.is_file()]


def test_a_process_that_dies_takes_no_other_file_with_it(tmp_path: Path) -> None:
    """Two workers; the one that meets the marked file is killed as if memory had run out."""
    code = (
        "import os, signal, sys\n"
        "from pathlib import Path\n"
        "import evenhand.retouching.batch as batch\n"
        "def fatal(path, *rest):\n"
        "    if path.name == 'b.png': os.kill(os.getpid(), signal.SIGKILL)\n"
        "    return batch.Outcome(path)\n"
        "batch._retouch_one = fatal\n"
        "batch.available = lambda: 2\n"
        "if __name__ == '__main__':\n"
        "    paths = [Path(f'{letter}.png') for letter in 'abcd']\n"
        "    for done in batch.retouch_many(paths, Path('out'), None):\n"
        "        print(done.path.name, 'bad' if done.trouble else 'good')\n"
    )
    script = tmp_path / "fatal.py"
    script.write_text(code)
    done = subprocess.run([sys.executable, script], capture_output=True, text=True, timeout=300)
    assert sorted(done.stdout.split("\n")[:-1]) == [
        "a.png good",
        "b.png bad",
        "c.png good",
        "d.png good",
    ]


@pytest.mark.usefixtures("known_people")
def test_an_interrupted_run(
    portrait: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("evenhand.retouching.batch.retouch", interrupted)
    done = run("retouch", portrait, "--out", tmp_path / "out")
    assert done.exit_code == 130
    assert "Interrupted" in done.output
    assert not list(tmp_path.glob("out/*"))


def test_a_killed_run_leaves_no_process(tmp_path: Path) -> None:
    """The processes of a batch hold the output open as long as one of them lives."""
    code = (
        "import os, signal, time\n"
        "from pathlib import Path\n"
        "import evenhand.retouching.batch as batch\n"
        "def endless(path, *rest):\n"
        "    Path('begun').touch()\n"
        "    time.sleep(3600)\n"
        "batch._retouch_one = endless\n"
        "batch.available = lambda: 2\n"
        "if __name__ == '__main__':\n"
        "    list(batch.retouch_many([Path('a.png'), Path('b.png')], Path('out'), None))\n"
    )
    script = tmp_path / "endless.py"
    script.write_text(code)
    process = subprocess.Popen(
        [sys.executable, script],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(map(os.path.abspath, sys.path))},
        stdout=subprocess.PIPE,
    )
    deadline = time.monotonic() + PATIENCE_S
    while not (tmp_path / "begun").exists():
        assert time.monotonic() < deadline
        time.sleep(0.05)
    process.kill()
    process.communicate(timeout=PATIENCE_S)


@pytest.mark.usefixtures("known_people")
def test_marks_are_shown_numbered_with_what_to_heed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A mark is put in by hand: the made-up skin has none, and detection is tested elsewhere."""
    path = write_file(frame_of(HEIGHT, WIDTH), tmp_path / "originals" / "portrait.png")
    out = tmp_path / "out"
    assert run("retouch", path, "--out", out).exit_code == 0
    assert not (out / "portrait.marks.jpg").exists()
    mark = {"number": 1, "kind": "passing", "row": 34.0, "column": 64.0, "size_mm": 8.0}
    step = STEPS["marks"]
    found = replace(step, run=lambda patch, _: Change(patch.linear, {"marks": [mark]}))
    monkeypatch.setattr("evenhand.computing.computing.STEPS", {**STEPS, "marks": found})
    assert run("retouch", path, "--out", out, "--only", "marks", "--overwrite").exit_code == 0
    with Image.open(out / "portrait.marks.jpg") as picture:
        assert picture.width == WIDTH
        assert picture.height > HEIGHT, "no notice stands below"
        shown = np.asarray(picture).astype(int)
    change = np.abs(shown[:HEIGHT] - frame_of(HEIGHT, WIDTH)).max(axis=2)
    assert (change[20:50, 50:80] > 100).any(), "the mark is not outlined"
    assert change[70:, :30].max() < 60
    assert (shown[HEIGHT:].mean(axis=2) < 128).any()
    # A later run without the step leaves no picture of marks that it did not look for.
    assert run("retouch", path, "--out", out, "--overwrite").exit_code == 0
    assert not (out / "portrait.marks.jpg").exists()


@pytest.mark.usefixtures("known_people")
def test_people_without_skin_are_no_nobody(
    portrait: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clothed = Person(0, None, Scale(0.6, ScaleSource.GIVEN), {})
    monkeypatch.setattr("evenhand.retouching.portrait.find_people", lambda *_, **__: [clothed])
    done = run("retouch", portrait, "--out", tmp_path / "out")
    assert done.exit_code == 0
    assert "1 person was found, but no bare skin" in done.output
    assert "--skin-at" in done.output
    assert not (tmp_path / "out").exists()
    monkeypatch.setattr("evenhand.retouching.portrait.find_people", lambda *_, **__: [])
    assert "nobody was found" in run("retouch", portrait, "--out", tmp_path / "out").output
