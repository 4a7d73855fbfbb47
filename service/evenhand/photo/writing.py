"""Writing results in the form of the original: same format, depth, profile, metadata, turn."""

from __future__ import annotations

from pathlib import Path

from evenhand.colour.encoding import CodeValues
from evenhand.errors import NotWrittenError
from evenhand.photo.kinds import FileKind
from evenhand.photo.orientation import as_stored
from evenhand.photo.photograph import Photograph
from evenhand.photo.saving import saved
from evenhand.photo.source import Stored
from evenhand.photo.xmp import Edit, with_edit


def write(
    pixels: CodeValues,
    photograph: Photograph,
    path: Path | str,
    *,
    edit: Edit | None = None,
    overwrite: bool = False,
) -> Path:
    """Write retouched pixels as the photograph's file has them.

    Parameters
    ----------
    pixels : ndarray like `photograph.pixels`
        The result, upright.
    photograph : Photograph
        What `read` gave; everything but the pixels is taken from it.
    path : Path or str
        Where to write; the ending must fit the format (see `Photograph.result_suffix`).
    edit : Edit or None
        What was done, to be written into the XMP metadata; None leaves them as they are.
    overwrite : bool
        Replace an existing file. The original itself is never replaced.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    NotWrittenError
        The file exists, is the original, has an ending of another format, or the disk is full or
        not writable. Nothing is left behind.

    Examples
    --------
    >>> import evenhand
    >>> photo = evenhand.read(portrait)
    >>> pixels = evenhand.blend(photo, evenhand.compute_layers(photo, people), [1, 0.5])
    >>> evenhand.write(pixels, photo, folder / "written.png").name
    'written.png'
    """
    path = Path(path)
    source = photograph.source
    if source is None:
        raise NotWrittenError(
            "This photograph was made in memory and has no file form.",
            "Use write_picture to choose one.",
        )
    _check_pixels(pixels, photograph)
    _check_suffix(path, source.kind)
    if edit is not None:
        source = source.with_xmp(with_edit(source.metadata.get("xmp"), edit))
    result = _stored(pixels, photograph, source.orientation)
    original = _stored(photograph.pixels, photograph, source.orientation)
    with saved(path, overwrite=overwrite, original=photograph.path) as file:
        source.write(result, original, file)
    return path


def _check_pixels(pixels: CodeValues, photograph: Photograph) -> None:
    if pixels.shape != photograph.pixels.shape or pixels.dtype != photograph.pixels.dtype:
        raise NotWrittenError(
            f"The result is {pixels.dtype} {pixels.shape}, the photograph "
            f"{photograph.pixels.dtype} {photograph.pixels.shape}.",
            "A result has the photograph's own size and depth.",
        )


def _check_suffix(path: Path, kind: FileKind) -> None:
    if path.suffix.lower() not in kind.result.suffixes:
        raise NotWrittenError(
            f"{path} would hold a {kind.result} picture, since the original is {kind}.",
            f"Let its name end in {kind.result.suffixes[0]}.",
        )


def _stored(pixels: CodeValues, photograph: Photograph, orientation: int) -> Stored:
    """Pixels turned back; views, so that nothing is copied that is not needed."""
    alpha = photograph.alpha
    return Stored(
        as_stored(pixels, orientation),
        None if alpha is None else as_stored(alpha, orientation),
    )
