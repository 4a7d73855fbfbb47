"""The floor: decoding a file and encoding it again with the fastest maintained library."""

from __future__ import annotations

from pathlib import Path

import imagecodecs
import tifffile


def decode_and_encode(path: Path, target: Path) -> None:
    """Read the file's pixels and write them again in the same form, nothing else."""
    if path.suffix == ".jpg":
        pixels = imagecodecs.jpeg8_decode(path.read_bytes())
        target.write_bytes(imagecodecs.jpeg8_encode(pixels, level=95, subsampling="422"))
    else:
        tifffile.imwrite(target, tifffile.imread(path), photometric="rgb")
