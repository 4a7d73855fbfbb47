"""Commands that work on stored layer sets: blend, revert, hand-off."""

from __future__ import annotations

from pathlib import Path

import click

from evenhand.cli.options import (
    ALGORITHM,
    CERTIFICATE,
    KEY,
    OUT,
    OVERWRITE,
    PHOTOGRAPH,
    STRENGTH,
)
from evenhand.cli.output import fail, say_notices
from evenhand.cli.settings import by_step, certificate_from


@click.command("blend")
@click.argument("layers", type=click.Path(exists=True, path_type=Path))
@OUT
@STRENGTH
@click.option("--person", type=int, metavar="N", help="The strengths are for this person only.")
@PHOTOGRAPH
@CERTIFICATE
@KEY
@ALGORITHM
@OVERWRITE
def blend_command(
    layers: Path,
    out: Path,
    strengths: tuple[tuple[str, float], ...],
    person: int | None,
    photograph: Path | None,
    chain: Path | None,
    key: Path | None,
    algorithm: str,
    overwrite: bool,
) -> None:
    """Make the photograph again from LAYERS at other strengths, computing no step anew.

    A step that is not named keeps its strength. At zero the original's pixels come back, bit for
    bit.
    """
    from evenhand.errors import EvenhandError
    from evenhand.retouching.stored_layers import blend_stored

    try:
        written = blend_stored(
            layers,
            out,
            by_step(strengths),
            person=person,
            photograph=photograph,
            overwrite=overwrite,
            certificate=certificate_from(chain, key, algorithm),
        )
    except EvenhandError as error:
        fail(error)
    click.echo(f"{written}")
    say_notices()


@click.command("hand-off")
@click.argument("layers", type=click.Path(exists=True, path_type=Path))
@OUT
@STRENGTH
@PHOTOGRAPH
@OVERWRITE
def hand_off_command(
    layers: Path,
    out: Path,
    strengths: tuple[tuple[str, float], ...],
    photograph: Path | None,
    overwrite: bool,
) -> None:
    """Write LAYERS and their photograph for other programs.

    NAME.ora is an OpenRaster file, the original at the bottom and a named picture for each layer
    above it; NAME.tiffs is a folder of the same pictures as TIFF files. Masks are in the alpha.
    """
    from evenhand.errors import EvenhandError
    from evenhand.retouching.stored_layers import hand_off

    try:
        written = hand_off(
            layers, out, by_step(strengths), photograph=photograph, overwrite=overwrite
        )
    except EvenhandError as error:
        fail(error)
    for path in written:
        click.echo(f"{path}")
    say_notices()


@click.command("revert")
@click.argument("result", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@OUT
@click.option(
    "--layers",
    type=click.Path(exists=True, path_type=Path),
    help="Its layer set; NAME.layers beside it unless named.",
)
@STRENGTH
@OVERWRITE
def revert_command(
    result: Path,
    out: Path,
    layers: Path | None,
    strengths: tuple[tuple[str, float], ...],
    overwrite: bool,
) -> None:
    """Take the layers off RESULT again, without the original.

    A lossless file gives back the original's pixels, bit for bit; a JPEG nearly, where a layer
    lay. --strength says what it was blended with, if not with the strengths in its layer set.
    """
    from evenhand.errors import EvenhandError
    from evenhand.retouching.stored_layers import revert

    try:
        reverted = revert(result, out, layers, by_step(strengths), overwrite=overwrite)
    except EvenhandError as error:
        fail(error)
    if reverted.whole:
        click.echo(f"{reverted.path}: the original's pixels, SHA-256 {reverted.pixels_sha256}")
    else:
        click.echo(
            f"{reverted.path}: nearly the original's pixels; a JPEG loses what its compression "
            "took where a layer lay, and is untouched elsewhere"
        )
