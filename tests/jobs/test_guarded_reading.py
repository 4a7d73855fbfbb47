"""Files that ask for much are given up on, by limits that end the process that reads them."""

from __future__ import annotations

import io
import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from evenhand.errors import UnreadablePhotographError, UnsupportedPhotographError
from evenhand.jobs import guarded_reading
from evenhand.jobs.guarded_reading import GuardedReader
from tests.jobs.fixtures import Studio
from tests.jobs.plain_retoucher import picture


@pytest.fixture
def reader() -> Iterator[GuardedReader]:
    """A reader of its own."""
    reader = GuardedReader()
    yield reader
    reader.close()


def progressive(side: int) -> bytes:
    """A small progressive JPEG of many pixels, written by Pillow."""
    out = io.BytesIO()
    Image.new("RGB", (side, side), (180, 120, 100)).save(out, "JPEG", progressive=True)
    return out.getvalue()


def test_what_is_sound_passes_and_what_is_not_says_why(
    reader: GuardedReader, tmp_path: Path
) -> None:
    good, bad, gif = (tmp_path / name for name in ("good.png", "bad.png", "picture.gif"))
    good.write_bytes(picture(1))
    bad.write_bytes(picture(1)[:2000])
    gif.write_bytes(b"GIF89a" + bytes(100))
    reader.check(good, "good.png")
    with pytest.raises(UnreadablePhotographError):
        reader.check(bad, "bad.png")
    with pytest.raises(UnsupportedPhotographError):
        reader.check(gif, "picture.gif")
    reader.check(good, "good.png")


def test_a_file_that_takes_too_long_is_given_up_on(
    reader: GuardedReader, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """12,000 x 12,000 pixels in less than 3 MB; other files are read afterwards as before."""
    slow, good = tmp_path / "slow.jpg", tmp_path / "good.png"
    slow.write_bytes(progressive(12_000))
    good.write_bytes(picture(1))
    assert slow.stat().st_size < 3_000_000
    reader.check(good, "good.png")
    monkeypatch.setattr(guarded_reading, "CPU_S", 0.3)
    began = time.monotonic()
    with pytest.raises(UnreadablePhotographError, match=r"more than 0.3 s of computing"):
        reader.check(slow, "slow.jpg")
    assert time.monotonic() - began < 30
    monkeypatch.setattr(guarded_reading, "CPU_S", 30.0)
    reader.check(good, "good.png")


def test_a_file_that_takes_too_much_memory_is_given_up_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    large, good = tmp_path / "large.jpg", tmp_path / "good.png"
    large.write_bytes(progressive(14_000))
    good.write_bytes(picture(1))
    monkeypatch.setattr(guarded_reading, "MEMORY", 500 * 2**20)
    reader = GuardedReader()
    reader.check(good, "good.png")
    with pytest.raises(UnreadablePhotographError):
        reader.check(large, "large.jpg")
    reader.check(good, "good.png")
    reader.close()


def test_a_file_that_ends_the_reading_process_is_told(
    reader: GuardedReader, tmp_path: Path
) -> None:
    """A killed process stands for a decoder that crashes; the next file is read all the same."""
    good = tmp_path / "good.png"
    good.write_bytes(picture(1))
    reader.check(good, "good.png")
    assert reader.process is not None
    pid = reader.process.pid
    assert pid is not None
    os.kill(pid, signal.SIGSEGV)
    time.sleep(0.5)
    reader.check(good, "good.png")
    assert reader.process.pid != pid


def test_a_portrait_that_takes_too_long_says_so_and_is_not_read_again(
    studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guarded_reading, "CPU_S", 0.3)
    shoot = studio.shoot()
    added = studio.post(f"/v1/shoots/{shoot}/portraits?name=slow.jpg", content=progressive(12_000))
    job = studio.wait(added["job"])
    assert job.state == "failed"
    portrait = studio.get(f"/v1/portraits/{added['portrait']['id']}")
    assert portrait["state"] == "unreadable"
    assert "s of computing" in portrait["trouble"]
    picture_of = studio.http.get(f"/v1/portraits/{portrait['id']}/preview")
    assert picture_of.status_code == 409


@pytest.mark.parametrize("kind", ["AVIF", "TIFF", "PNG", "JPEG"])
def test_what_the_command_line_reads_the_service_reads(studio: Studio, kind: str) -> None:
    out = io.BytesIO()
    pixels = np.random.default_rng(7).integers(0, 256, (64, 128, 3), np.uint8)
    Image.fromarray(pixels).save(out, kind)
    shoot = studio.shoot()
    added = studio.post(f"/v1/shoots/{shoot}/portraits?name=a.{kind}", content=out.getvalue())
    assert studio.wait(added["job"]).state == "done"
    portrait = added["portrait"]["id"]
    job = studio.wait(studio.post(f"/v1/portraits/{portrait}/final", json={"override": "x"})["id"])
    assert job.state == "done", job.trouble
    final = studio.get(f"/v1/shoots/{shoot}/finals")[0]
    expected = "image/tiff" if kind == "AVIF" else f"image/{kind.lower()}"
    assert final["media_type"] == expected
    file = studio.http.get(f"/v1/finals/{final['id']}/file").content
    assert Image.open(io.BytesIO(file)).get_format_mimetype() == expected
