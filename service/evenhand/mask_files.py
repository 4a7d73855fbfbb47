"""Masks as files, so that anybody can check them."""

from __future__ import annotations

from pathlib import Path

import imagecodecs
import numpy as np

from evenhand import photo
from evenhand.delivery import delivery
from evenhand.people.person import KEPT_REGIONS, SKIN_REGIONS, Alpha, Mask, union
from evenhand.retouching import RetouchSettings, people_of

MASK_WHITE = 65535
"""Code value of full membership in a mask file, the largest of 16 bits."""


def masks(
    path: Path | str,
    out: Path | str,
    settings: RetouchSettings | None = None,
    *,
    overwrite: bool = False,
) -> list[Path]:
    """Write the masks of a photograph, one 16-bit greyscale PNG for each person and region.

    Each has the size of the upright photograph, 65535 for full membership: ``skin.png`` and
    ``kept.png`` for everybody together, ``person-0.face-skin.png`` and so on for one.

    Parameters
    ----------
    path : path
        The photograph.
    out : path
        Folder for the masks.
    settings : RetouchSettings, optional
        Only `skin_at` is heeded.
    overwrite : bool
        Replace what is already there.

    Returns
    -------
    list of path
        The files written; empty where nobody was found.
    """
    path, out = Path(path), Path(out)
    photograph = photo.read(path)
    people = people_of(photograph, settings or RetouchSettings())
    if not people:
        return []
    files: dict[str, list[Mask]] = {
        "skin.png": [p.masks[r] for p in people for r in SKIN_REGIONS if r in p.masks],
        "kept.png": [p.masks[r] for p in people for r in KEPT_REGIONS if r in p.masks],
    }
    for person in people:
        for region, mask in person.masks.items():
            files[f"person-{person.index}.{region.value}.png"] = [mask]
    with delivery(out, list(files), overwrite=overwrite, originals=[path]) as beside:
        for name, parts in files.items():
            _write_mask(union(parts, photograph.frame), beside / name)
    return [out / name for name in files]


def _write_mask(alpha: Alpha, path: Path) -> None:
    code_values = np.rint(alpha * MASK_WHITE).astype(np.uint16)
    path.write_bytes(imagecodecs.png_encode(code_values, level=1))
