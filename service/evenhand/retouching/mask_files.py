"""Masks as files, so that anybody can check them."""

from __future__ import annotations

from pathlib import Path

import imagecodecs
import numpy as np

from evenhand import photo
from evenhand.computing import RetouchSettings
from evenhand.people.finding import find_people
from evenhand.people.person import Alpha, mask_arrays, mask_names
from evenhand.photo.delivery import delivery

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
        Only `people` and `skin_at` are heeded.
    overwrite : bool
        Replace what is already there.

    Returns
    -------
    list of path
        The files written; empty where nobody was found.

    Raises
    ------
    UnreadablePhotographError, UnsupportedPhotographError, PhotographTooLargeError
        The file cannot be read.
    NotWrittenError
        A file is already there, or `out` cannot be written.
    WrongSettingError
        A point on skin is outside the photograph.

    Examples
    --------
    >>> import evenhand
    >>> [file.name for file in evenhand.masks(portrait, folder / "masks")][:2]
    ['skin.png', 'kept.png']
    """
    path, out = Path(path), Path(out)
    photograph = photo.read(path)
    settings = settings or RetouchSettings()
    people = find_people(photograph, settings.people, settings.skin_at)
    if not people:
        return []
    names = [f"{name}.png" for name in mask_names(people)]
    with delivery(out, names, overwrite=overwrite, originals=[path]) as beside:
        for name, alpha in mask_arrays(people, photograph.shape):
            _write_mask(alpha, beside / f"{name}.png")
    return [out / name for name in names]


def _write_mask(alpha: Alpha, path: Path) -> None:
    code_values = np.rint(alpha * MASK_WHITE).astype(np.uint16)
    path.write_bytes(imagecodecs.png_encode(code_values, level=1))
