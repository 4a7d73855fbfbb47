"""The command that compares and matches one person's skin over a shoot."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from evenhand.cli.options import ALGORITHM, CERTIFICATE, EPILOG, KEY, OVERWRITE, PHOTOGRAPHS
from evenhand.cli.output import SOME_FAILED, fail, say_notices, say_outcome, say_tones
from evenhand.cli.settings import certificate_from, wrong_setting


@click.command("tone", epilog=EPILOG)
@click.argument("reference", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@PHOTOGRAPHS
@click.option(
    "--out",
    metavar="DIR",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for matched portraits; without it they are only measured.",
)
@click.option(
    "--strength", type=float, metavar="VALUE", help="How much of the way is gone, 0 to 1."
)
@click.option(
    "--cap",
    type=float,
    metavar="VALUE",
    help="Largest CIEDE2000 that the match makes to any pixel.",
)
@CERTIFICATE
@KEY
@ALGORITHM
@click.option("--json", "as_json", is_flag=True, help="Print the report in JSON.")
@OVERWRITE
def tone_command(
    reference: Path,
    paths: tuple[Path, ...],
    out: Path | None,
    strength: float | None,
    cap: float | None,
    chain: Path | None,
    key: Path | None,
    algorithm: str,
    as_json: bool,
    overwrite: bool,
) -> None:
    """Measure one person's skin in photographs against REFERENCE, a portrait you like.

    Prints how far apart they are now and would be after a match, and the exposure and white
    balance that this takes. With --out and --strength it writes each NAME.ext matched, and the
    change of the whole frame as a layer in NAME.layers. Nobody is recognised: the largest face
    counts, so give portraits of one person.
    """
    if (out is None) != (strength is None):
        raise click.UsageError("To write matched portraits, give both --out and --strength.")
    from pydantic import ValidationError

    from evenhand.errors import EvenhandError
    from evenhand.retouching.batch import portraits_in
    from evenhand.retouching.tone_matching import match_tone
    from evenhand.steps.tone import ToneSettings

    given = {
        name: value for name, value in (("strength", strength), ("cap", cap)) if value is not None
    }
    try:
        settings = ToneSettings.model_validate(given)
    except ValidationError as error:
        raise click.UsageError(wrong_setting(error)) from None
    certificate = certificate_from(chain, key, algorithm)
    portraits, failed = portraits_in(paths, out, [reference])
    for outcome in failed:
        say_outcome(outcome, as_json=False)
    try:
        report = match_tone(
            reference, portraits, out, settings, overwrite=overwrite, certificate=certificate
        )
    except EvenhandError as error:
        fail(error)
    if as_json:
        click.echo(report.model_dump_json())
    else:
        say_tones(report)
        say_notices()
    for trouble in report.troubles.values():
        click.secho(trouble, err=True, fg="red")
    sys.exit(SOME_FAILED if failed or report.troubles else 0)
