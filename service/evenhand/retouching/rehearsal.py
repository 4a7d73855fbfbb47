"""Compiles loops of a retouch's end in a second process, while the first one looks for people.

Before the first photograph on a machine the loops have to be compiled, most of the time of that run
and all of it on one processor. The second process goes through the way's end with a few pixels,
last things first: it meets the first process somewhere in the middle, and each takes what the other
has kept on disk (`evenhand.compiling`). Where it fails, or is ended, nothing changes but the time.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from evenhand.compiling import is_kept
from evenhand.photo.kinds import FileKind
from evenhand.processors import available

SIDE = 64
"""Pixels of the picture: a few blocks of a JPEG file."""

DEEP = (*FileKind.TIFF.suffixes, *FileKind.RAW.suffixes)
"""Files that mostly have 16 bits; of others, and where one has not, the loops of 8 are compiled."""


@contextmanager
def rehearsal(portraits: Sequence[Path]) -> Iterator[None]:
    """Compile beside the block what a retouch needs, where nothing is kept and a processor is free.

    Parameters
    ----------
    portraits : sequence of path
        What will be retouched: more than one keep all processors busy by themselves.

    Yields
    ------
    None
    """
    from evenhand.layers.blending import _move

    if len(portraits) != 1 or portraits[0].is_dir() or available() < 2 or is_kept(_move):
        yield
        return
    bits = 16 if portraits[0].suffix.lower() in DEEP else 8
    command = [sys.executable, "-m", __name__, str(bits)]
    try:
        beside = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
    except OSError:
        yield
        return
    try:
        yield
    finally:
        beside.kill()
        beside.wait()


def rehearse(bits: int) -> None:
    """Retouch a few pixels, in the other order.

    Parameters
    ----------
    bits : int
        8 for a JPEG file, 16 for a TIFF file.
    """
    import numpy as np
    from PIL import Image

    from evenhand import photo
    from evenhand.box import Box
    from evenhand.layers import blend, layer_from_change
    from evenhand.layers.layer import Layer
    from evenhand.layers.summing import limit_sum
    from evenhand.people.person import Region
    from evenhand.report.filling import layer_report, total_difference
    from evenhand.steps.gain import Gain
    from evenhand.steps.patch import CodedLight, SkinPatch

    random = np.random.default_rng(0)
    codes = random.integers(90, 160, (SIDE, SIDE, 3)).astype(np.uint8)
    picture = photo.from_array(codes if bits == 8 else codes * np.uint16(257))
    steps_per_code = 64 if bits == 8 else 1
    shifts = random.integers(-900, 900, codes.shape).astype(np.int16)
    layers = [
        Layer(step, 0, box, shifts[box.slices], steps_per_code, 9.0, {"strength": 1.0})
        for step, box in (("redness", Box(2, 2, 60, 60)), ("smoothing", Box(1, 4, 50, 50)))
    ]
    result = blend(picture, layers, [1, 0.5])
    total_difference(picture, result, layers)
    if bits == 8:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "picture.jpg"
            Image.fromarray(codes).save(path)
            read = photo.read(path)
            photo.write(result, read, Path(folder) / "result.jpg")
    layer_report(picture, {}, layers[0])
    limit_sum(picture, layers, 1.0)
    skin = np.zeros((SIDE, SIDE), np.float32)
    skin[9:50, 9:50] = 0.9
    patch = SkinPatch(
        picture.frame, CodedLight(picture.pixels, picture.encoding), {Region.FACE: skin}, 1.0
    )
    gain = Gain(patch, random.normal(0, 0.2, (4, 4, 3)).astype(np.float32))
    layer_from_change(picture, 0, "redness", picture.frame, gain, skin, 1.0)


if __name__ == "__main__":
    rehearse(int(sys.argv[1]))
