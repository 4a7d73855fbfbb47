"""Results are whole or not there; nothing is replaced unasked; the original never."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from evenhand import photo
from evenhand.errors import NotWrittenError
from evenhand.photo.saving import saved
from tests.photo.pictures import scene, write_with_pillow


@pytest.fixture
def portrait(tmp_path: Path) -> photo.Photograph:
    path = tmp_path / "portrait.png"
    write_with_pillow(path, scene(8), None, 6)
    return photo.read(path)


def only_the_original_is_left(folder: Path) -> bool:
    return [path.name for path in folder.iterdir()] == ["portrait.png"]


def test_an_existing_file_is_not_replaced_unless_told(
    portrait: photo.Photograph, tmp_path: Path
) -> None:
    path = tmp_path / "result.png"
    path.write_bytes(b"precious")
    with pytest.raises(NotWrittenError, match="already exists"):
        photo.write(portrait.pixels, portrait, path)
    assert path.read_bytes() == b"precious"
    photo.write(portrait.pixels, portrait, path, overwrite=True)
    assert path.read_bytes()[:4] == b"\x89PNG"


@pytest.mark.parametrize("link", [None, os.symlink, os.link])
def test_the_original_is_never_written_to(link, portrait: photo.Photograph, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    assert portrait.path is not None
    path = portrait.path
    content = path.read_bytes()
    if link is not None:
        path = tmp_path / "other.png"
        link(portrait.path, path)
    with pytest.raises(NotWrittenError, match="original"):
        photo.write(portrait.pixels ^ 1, portrait, path, overwrite=True)
    assert portrait.path.read_bytes() == content


def test_a_file_that_appears_meanwhile_wins(tmp_path: Path) -> None:
    path = tmp_path / "result.bin"
    saving = saved(path)
    saving.__enter__().write(b"ours")
    path.write_bytes(b"theirs")
    with pytest.raises(NotWrittenError, match="already exists"):
        saving.__exit__(None, None, None)
    assert path.read_bytes() == b"theirs"
    assert [entry.name for entry in tmp_path.iterdir()] == ["result.bin"]


def test_an_ending_of_another_format_is_refused(portrait: photo.Photograph, tmp_path: Path) -> None:
    with pytest.raises(NotWrittenError, match=r"\.png"):
        photo.write(portrait.pixels, portrait, tmp_path / "result.jpg")
    assert only_the_original_is_left(tmp_path)


def test_a_missing_folder(portrait: photo.Photograph, tmp_path: Path) -> None:
    with pytest.raises(NotWrittenError, match="does not exist"):
        photo.write(portrait.pixels, portrait, tmp_path / "nowhere" / "result.png")


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write everywhere")
def test_a_folder_that_may_not_be_written(portrait: photo.Photograph, tmp_path: Path) -> None:
    (tmp_path / "locked").mkdir(mode=0o500)
    with pytest.raises(NotWrittenError, match="may not be written"):
        photo.write(portrait.pixels, portrait, tmp_path / "locked" / "result.png")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_disk_leaves_nothing_behind(
    portrait: photo.Photograph, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real_open = open
    monkeypatch.setattr(
        "builtins.open",
        lambda path, mode="r", *rest, **more: (
            real_open("/dev/full", "r+b", *rest, **more)
            if str(path).endswith(".unfinished")
            else real_open(path, mode, *rest, **more)
        ),
    )
    with pytest.raises(NotWrittenError, match="disk is full"):
        photo.write(portrait.pixels, portrait, tmp_path / "result.png")
    assert only_the_original_is_left(tmp_path)


def test_a_file_size_limit_leaves_nothing_behind(tmp_path: Path) -> None:
    """A real limit of the system, in a process of its own."""
    write_with_pillow(tmp_path / "portrait.png", scene(8), None, 1)
    script = (
        "import sys, signal\nfrom evenhand import photo\n"
        "from evenhand.errors import NotWrittenError\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "portrait = photo.read(sys.argv[1])\n"
        "try:\n    photo.write(portrait.pixels, portrait, sys.argv[2])\n"
        "except NotWrittenError as error:\n    sys.exit('disk is full' not in str(error))\n"
        "sys.exit(2)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", script, tmp_path / "portrait.png", tmp_path / "result.png"],
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000)),
        timeout=300,
        check=False,
    )
    assert run.returncode == 0
    assert only_the_original_is_left(tmp_path)


def test_an_interrupted_run_leaves_no_result(tmp_path: Path) -> None:
    saving = saved(tmp_path / "result.bin")
    saving.__enter__().write(b"half")
    stop = KeyboardInterrupt()
    assert not saving.__exit__(KeyboardInterrupt, stop, None)  # the interrupt goes on
    assert not list(tmp_path.iterdir())


def test_a_tiff_changed_since_it_was_read_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "portrait.tif"
    write_with_pillow(path, scene(8), None, 1)
    photograph = photo.read(path)
    write_with_pillow(path, scene(8, seed=2), None, 1)
    with pytest.raises(NotWrittenError, match="changed"):
        photo.write(photograph.pixels, photograph, tmp_path / "result.tif")
    assert not (tmp_path / "result.tif").exists()


def test_a_killed_run_leaves_no_result(tmp_path: Path) -> None:
    script = (
        "import os, signal, sys\nfrom pathlib import Path\n"
        "from evenhand.photo.saving import saved\n"
        "with saved(Path(sys.argv[1])) as file:\n"
        "    file.write(b'half')\n    file.flush()\n    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    path = tmp_path / "result.png"
    run = subprocess.run([sys.executable, "-c", script, path], timeout=300, check=False)
    assert run.returncode == -9
    assert not path.exists()
    (left,) = tmp_path.iterdir()
    assert left.name.endswith(".unfinished")
