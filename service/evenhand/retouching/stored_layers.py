"""What a stored layer set is for: blend it anew, take it off, hand it to other programs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from evenhand import layers as layering
from evenhand import photo
from evenhand.colour.encoding import CodeValues
from evenhand.errors import WrongPhotographError, WrongSettingError
from evenhand.photo.credentials import Certificate
from evenhand.photo.delivery import delivery, refuse_original
from evenhand.photo.photograph import Photograph
from evenhand.retouching.provenance import taking_off, write_result

FIND_RESULT = "Name its own layers with --layers, and the strengths if it was blended anew."
"""What to do where a result and its layers do not belong together."""


def blend_stored(
    layers: Path | str,
    out: Path | str,
    strengths: Mapping[str, float] | None = None,
    *,
    person: int | None = None,
    photograph: Path | str | None = None,
    overwrite: bool = False,
    certificate: Certificate | None = None,
    when: datetime | None = None,
) -> Path:
    """Make the photograph again from its layers at other strengths, computing no step anew.

    Parameters
    ----------
    layers : path
        Layer set that `retouch` wrote.
    out : path
        Folder for the photograph.
    strengths : mapping of step to float, optional
        0 to 1 for each step, under "" for every step not named; without that a step that is not
        named keeps the strength it was made with.
    person : int, optional
        The strengths given are for this person only.
    photograph : path, optional
        The original, where it is no longer where it was.
    overwrite : bool
        Replace what is already there.
    certificate : Certificate, optional
        Signs the result with content credentials; see `evenhand.photo.credentials`.
    when : datetime, optional
        Time that the result's metadata give; now unless given.

    Returns
    -------
    path
        The file written. At strength zero its pixels are the original's, bit for bit.

    Raises
    ------
    WrongPhotographError
        The original is not where it was, or another.
    BrokenLayersError
        The layer set is incomplete or changed.
    WrongSettingError
        There is no such step or person in it, or a strength is not between 0 and 1.
    NotWrittenError
        The result is already there, or `out` cannot be written.

    Examples
    --------
    >>> import evenhand
    >>> report = evenhand.retouch(portrait, folder, overwrite=True)
    >>> layers = folder / "portrait.layers"
    >>> evenhand.blend_stored(layers, folder / "softer", {"redness": 0.6}).name
    'portrait.png'
    """
    out = Path(out)
    layer_set, original, read = _opened(Path(layers), photograph)
    weighed = _weighed(layer_set, strengths or {}, person)
    pixels = layering.blend(read, layer_set.layers, weighed)
    name = original.stem + read.result_suffix
    refuse_original(original, out / name)
    with delivery(out, [name], overwrite=overwrite) as beside:
        write_result(pixels, read, beside / name, layer_set.layers, weighed, certificate, when)
    return out / name


def hand_off(
    layers: Path | str,
    out: Path | str,
    strengths: Mapping[str, float] | None = None,
    *,
    photograph: Path | str | None = None,
    overwrite: bool = False,
) -> list[Path]:
    """Write a photograph and its layers for programs that know layers of pixels only.

    Writes ``NAME.ora``, an OpenRaster file with the original at the bottom and a picture for each
    layer above it, named and switchable, its mask in the alpha; and ``NAME.tiffs``, a plain folder
    of the same pictures as TIFF files. All of them shown, both show the result exactly.

    Parameters
    ----------
    layers, out, strengths, photograph, overwrite
        As for `blend_stored`.

    Returns
    -------
    list of path
        The file and the folder.

    Raises
    ------
    WrongPhotographError, BrokenLayersError, WrongSettingError, NotWrittenError
        As for `blend_stored`.

    Examples
    --------
    >>> import evenhand
    >>> report = evenhand.retouch(portrait, folder, overwrite=True)
    >>> handed = evenhand.hand_off(folder / "portrait.layers", folder / "for-others")
    >>> [path.name for path in handed]
    ['portrait.ora', 'portrait.tiffs']
    """
    out = Path(out)
    layer_set, original, read = _opened(Path(layers), photograph)
    weighed = _weighed(layer_set, strengths or {}, None)
    stages = photo.stages_of(read.pixels, _one_by_one(read, layer_set, weighed))
    result = layering.blend(read, layer_set.layers, weighed)
    names = [f"{original.stem}.ora", f"{original.stem}.tiffs"]
    with delivery(out, names, overwrite=overwrite) as beside:
        photo.write_openraster(read, stages, result, beside / names[0])
        photo.write_stage_folder(read, stages, beside / names[1])
    return [out / name for name in names]


def _opened(
    layers: Path, photograph: Path | str | None
) -> tuple[layering.LayerSet, Path, Photograph]:
    """A layer set, and the path and content of the very photograph that it was made for."""
    layer_set = layering.load(layers)
    original = _original_of(layer_set, layers, photograph)
    read = photo.read(original)
    layer_set.check(read)
    return layer_set, original, read


def _one_by_one(
    photograph: Photograph, layer_set: layering.LayerSet, strengths: list[float]
) -> Iterator[tuple[str, CodeValues]]:
    """Name of each layer, and the photograph with it and all before it."""
    people = {layer.person for layer in layer_set.layers}
    for count, layer in enumerate(layer_set.layers, 1):
        whose = f" person {layer.person}" if len(people) > 1 else ""
        shown = layering.blend(photograph, layer_set.layers[:count], strengths[:count])
        yield f"{layer.step}{whose}", shown


@dataclass(frozen=True)
class Reverted:
    """What came back from a result.

    Attributes
    ----------
    path : Path
        The file written.
    whole : bool
        Whether its pixels are the original's, bit for bit.
    pixels_sha256 : str
        SHA-256 of its upright pixels, hexadecimal; the layer set holds the original's.

    Examples
    --------
    >>> from pathlib import Path
    >>> Reverted(Path("original/portrait.png"), whole=True, pixels_sha256="").whole
    True
    """

    path: Path
    whole: bool
    pixels_sha256: str


def revert(
    result: Path | str,
    out: Path | str,
    layers: Path | str | None = None,
    strengths: Mapping[str, float] | None = None,
    *,
    overwrite: bool = False,
) -> Reverted:
    """Take the layers off a result again, without the original.

    Parameters
    ----------
    result : path
        A retouched photograph.
    out : path
        Folder for what comes back.
    layers : path, optional
        Its layer set; ``NAME.layers`` beside it unless named.
    strengths : mapping of step to float, optional
        What it was blended with, as for `blend_stored`.
    overwrite : bool
        Replace what is already there.

    Returns
    -------
    Reverted
        Of a lossless file the original's pixels; of a JPEG nearly them, where a layer lay.

    Raises
    ------
    WrongPhotographError
        The file is lossless and is not the result of these layers at these strengths.
    BrokenLayersError, WrongSettingError, NotWrittenError
        As for `blend_stored`.

    Examples
    --------
    >>> import evenhand
    >>> report = evenhand.retouch(portrait, folder, overwrite=True)
    >>> evenhand.revert(folder / "portrait.png", folder / "original").whole
    True
    """
    result, out = Path(result), Path(out)
    layer_set = layering.load(Path(layers or result.with_name(f"{result.stem}.layers")))
    read = photo.read(result)
    made_with = _weighed(layer_set, strengths or {}, None)
    if read.shape != (layer_set.original.height, layer_set.original.width):
        raise WrongPhotographError(f"{result} has another size than its layers.", FIND_RESULT)
    pixels = layering.unblend(read.pixels, layer_set.layers, made_with)
    found = layering.pixels_sha256(replace(read, pixels=pixels))
    whole = found == layer_set.original.pixels_sha256
    if not whole and read.source is not None and read.source.kind is not photo.FileKind.JPEG:
        raise WrongPhotographError(f"{result} is not what these layers made.", FIND_RESULT)
    name = result.stem + read.result_suffix
    refuse_original(result, out / name)
    with delivery(out, [name], overwrite=overwrite) as beside:
        photo.write(pixels, read, beside / name, edit=taking_off(layer_set.layers, whole=whole))
    return Reverted(out / name, whole, found)


def _original_of(layer_set: layering.LayerSet, folder: Path, photograph: Path | str | None) -> Path:
    """The file that a layer set was made from."""
    if photograph is not None:
        return Path(photograph)
    original = folder / layer_set.original.place
    if not original.is_file():
        raise WrongPhotographError(
            f"{layer_set.original.name}, which these layers were made from, is not at {original}.",
            "Say where it is with --photograph.",
        )
    return original


def _weighed(
    layer_set: layering.LayerSet, strengths: Mapping[str, float], person: int | None
) -> list[float]:
    """Strength of every layer: as given for its step or for all, else as it was made with."""
    known = {layer.step for layer in layer_set.layers} | {""}
    people = {layer.person for layer in layer_set.layers}
    unknown = sorted(set(strengths) - known)
    if unknown:
        raise WrongSettingError(
            f"There is no layer {unknown[0]!r}.", f"There are {', '.join(sorted(known - {''}))}."
        )
    if person is not None and person not in people:
        raise WrongSettingError(
            f"There is no layer of person {person}.",
            f"There are those of {', '.join(map(str, sorted(people)))}.",
        )
    return [
        made
        if person not in (None, layer.person)
        else strengths.get(layer.step, strengths.get("", made))
        for layer, made in zip(layer_set.layers, layer_set.strengths, strict=True)
    ]
