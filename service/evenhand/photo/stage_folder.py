"""A plain folder of TIFF files: the original, the photograph after each step, and the masks."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import cast

import numpy as np

from evenhand.colour.encoding import CodeValues
from evenhand.errors import NotWrittenError
from evenhand.photo.photograph import Photograph
from evenhand.photo.pictures import write_picture
from evenhand.photo.stages import Stage


def write_stage_folder(
    photograph: Photograph, stages: Sequence[Stage], folder: Path | str, *, overwrite: bool = False
) -> list[Path]:
    """Write ``0-original.tif``, and for each stage ``1-NAME.tif`` with its mask in the alpha.

    Parameters
    ----------
    photograph : Photograph
        The original, upright.
    stages : sequence of Stage
        What each step made, the first step's first.
    folder : Path or str
        Is made where it is missing.
    overwrite : bool
        Replace existing files.

    Returns
    -------
    list of Path
        The files, all of the photograph's size, depth and profile.

    Raises
    ------
    NotWrittenError
        As for `write`, and where the folder cannot be made.
    """
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise NotWrittenError(
            f"The folder {folder} cannot be made ({error.strerror}).", "Choose another place."
        ) from error
    path = folder / "0-original.tif"
    written = [write_picture(photograph.pixels, path, photograph.profile, overwrite=overwrite)]
    for number, stage in enumerate(stages, 1):
        whole = cast(CodeValues, np.zeros((*photograph.shape, 4), photograph.pixels.dtype))
        whole[stage.box.slices] = stage.rgba
        path = folder / f"{number}-{_as_file_name(stage.name)}.tif"
        written.append(write_picture(whole, path, photograph.profile, overwrite=overwrite))
    return written


def _as_file_name(name: str) -> str:
    return re.sub(r"[^\w.-]+", "-", name).strip("-.") or "stage"
