"""Plain pictures to look at or to check: previews, comparisons, masks."""

from __future__ import annotations

import io
from pathlib import Path

import imagecodecs
import numpy as np
import numpy.typing as npt

from evenhand.errors import NotWrittenError
from evenhand.photo import png
from evenhand.photo.saving import saved

PREVIEW_QUALITY = 90
"""JPEG quality of pictures to look at."""


def write_picture(
    pixels: npt.NDArray[np.uint8] | npt.NDArray[np.uint16],
    path: Path | str,
    profile: bytes | None = None,
    *,
    overwrite: bool = False,
) -> Path:
    """Write an array as a picture of its own, without anybody's metadata.

    Parameters
    ----------
    pixels : ndarray of uint8 or uint16, shape (height, width, 3 or 4) or (height, width)
        RGB code values, with opacity as a fourth channel (not for JPEG), or grey ones.
    path : Path or str
        Ending in .jpg (8 bit), .png or .tif.
    profile : bytes or None
        ICC profile to embed.
    overwrite : bool
        Replace an existing file.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    NotWrittenError
        As for `write`, and for endings other than those named.

    Examples
    --------
    >>> import evenhand
    >>> masks = dict(evenhand.mask_arrays(people, photo.shape))
    >>> grey = (255 * masks["skin"]).astype("uint8")
    >>> evenhand.write_picture(grey, folder / "skin.png").name
    'skin.png'
    """
    path = Path(path)
    encoded = _encoded(pixels, path, profile)
    with saved(path, overwrite=overwrite) as file:
        file.write(encoded)
    return path


def _encoded(pixels: npt.NDArray[np.generic], path: Path, profile: bytes | None) -> bytes:
    match path.suffix.lower():
        case ".png":
            return png.with_profile(
                bytes(imagecodecs.png_encode(pixels, level=png.COMPRESSION_LEVEL)), profile
            )
        case ".jpg" | ".jpeg" if pixels.dtype == np.uint8:
            from PIL import Image

            buffer = io.BytesIO()
            picture = Image.fromarray(np.ascontiguousarray(pixels))
            picture.save(buffer, "JPEG", quality=PREVIEW_QUALITY, icc_profile=profile)
            return buffer.getvalue()
        case ".tif" | ".tiff":
            import tifffile

            buffer = io.BytesIO()
            tifffile.imwrite(
                buffer,
                pixels,
                photometric="rgb" if pixels.ndim == 3 else "minisblack",
                compression="zlib",
                predictor=True,
                extrasamples=["unassalpha"] if pixels.shape[2:] == (4,) else None,
                iccprofile=profile,
                software=False,
                metadata=None,
            )
            return buffer.getvalue()
    raise NotWrittenError(
        f"{path} has an ending that pictures of {pixels.dtype} are not written to.",
        "Use .png or .tif, or .jpg for 8 bits.",
    )
