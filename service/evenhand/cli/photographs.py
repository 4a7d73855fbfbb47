"""Commands that work on photographs: retouch, masks, and the list of steps."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from evenhand.cli.options import (
    ALGORITHM,
    BEFORE_BURN,
    BURNT_AT,
    CERTIFICATE,
    EPILOG,
    KEY,
    LEAVE_AT,
    OUT,
    OVERWRITE,
    PHOTOGRAPHS,
    SKIN_AT,
    STRENGTH,
    PerStep,
)
from evenhand.cli.output import SOME_FAILED, fail, progress, say_notices, say_outcome
from evenhand.cli.settings import certificate_from, settings_from


@click.command("retouch", epilog=EPILOG)
@PHOTOGRAPHS
@OUT
@STRENGTH
@click.option(
    "--cap",
    "caps",
    multiple=True,
    type=PerStep("STEP=VALUE or sum=VALUE", alone=False),
    help="Largest CIEDE2000 that a step, or all together, may make to any pixel.",
)
@click.option(
    "--set",
    "others",
    multiple=True,
    metavar="STEP.SETTING=VALUE",
    help="Any other setting of a step, lists as [1, 2]; `evenhand steps` lists them.",
)
@click.option(
    "--only", "only", multiple=True, metavar="STEP", help="Run only this step. May be repeated."
)
@SKIN_AT
@BURNT_AT
@LEAVE_AT
@BEFORE_BURN
@CERTIFICATE
@KEY
@ALGORITHM
@click.option("--dry-run", is_flag=True, help="Compute and report, write nothing.")
@click.option("--json", "as_json", is_flag=True, help="Print one report in JSON a line.")
@OVERWRITE
def retouch_command(
    paths: tuple[Path, ...],
    out: Path,
    strengths: tuple[tuple[str, float], ...],
    caps: tuple[tuple[str, float], ...],
    others: tuple[str, ...],
    only: tuple[str, ...],
    skin_at: tuple[tuple[int, int], ...],
    burnt_at: tuple[tuple[int, int], ...],
    leave_at: tuple[tuple[int, int], ...],
    before_burn: Path | None,
    chain: Path | None,
    key: Path | None,
    algorithm: str,
    dry_run: bool,
    as_json: bool,
    overwrite: bool,
) -> None:
    """Retouch photographs, or those directly inside folders, into a folder.

    For each NAME.ext it writes the retouched NAME.ext, its layers in NAME.layers,
    NAME.before-after.jpg to look at, NAME.marks.jpg where the marks step ran, and
    NAME.report.json. The result's metadata say what was done.
    """
    from evenhand.retouching.rehearsal import rehearsal

    click.get_current_context().with_resource(rehearsal(paths))
    from evenhand.retouching.batch import portraits_in, retouch_many

    settings = settings_from(only, strengths, caps, others, skin_at, burnt_at, leave_at)
    certificate = certificate_from(chain, key, algorithm)
    portraits, failed = portraits_in(paths, out, [before_burn] if before_burn else [])
    if before_burn is not None and len(portraits) + len(failed) != 1:
        raise click.UsageError("--before-burn is for one file: name the portrait it belongs to.")
    for outcome in failed:
        say_outcome(outcome, as_json=as_json)
    with progress(len(portraits), shown=not as_json) as advance:
        for outcome in retouch_many(
            portraits,
            out,
            settings,
            overwrite=overwrite,
            dry_run=dry_run,
            certificate=certificate,
            before_burn=before_burn,
        ):
            advance()
            say_outcome(outcome, as_json=as_json)
            if outcome.trouble:
                failed.append(outcome)
    if not as_json and portraits:
        say_notices()
    sys.exit(SOME_FAILED if failed else 0)


@click.command("masks")
@click.argument("path", metavar="FILE", type=click.Path(exists=True, path_type=Path))
@OUT
@SKIN_AT
@OVERWRITE
def masks_command(
    path: Path, out: Path, skin_at: tuple[tuple[int, int], ...], overwrite: bool
) -> None:
    """Write the masks of a photograph to look at.

    One 16-bit greyscale PNG for each person and region at full size: person-0.face-skin.png,
    person-0.arm.png, ..., and skin.png and kept.png for everybody together.
    """
    from evenhand.computing import RetouchSettings
    from evenhand.errors import EvenhandError
    from evenhand.report.filling import NOBODY
    from evenhand.retouching.mask_files import masks

    try:
        written = masks(path, out, RetouchSettings(skin_at=skin_at), overwrite=overwrite)
    except EvenhandError as error:
        fail(error)
    for file in written:
        click.echo(f"{file}")
    if not written:
        click.echo(f"{path}: {NOBODY}")


@click.command("steps")
def steps_command() -> None:
    """List the steps and their settings, with units and limits."""
    from evenhand.computing import DEFAULT_STEPS, settings_models

    for name, model in settings_models().items():
        runs = "runs unless --only says otherwise" if name in DEFAULT_STEPS else "runs on request"
        click.echo(f"{name} ({runs})")
        for setting, schema in model.model_json_schema()["properties"].items():
            low = schema.get("minimum", schema.get("exclusiveMinimum"))
            high = schema.get("maximum", schema.get("exclusiveMaximum"))
            limits = "" if low is high is None else f" [{low} to {high}]"
            about = schema.get("description", "")
            click.echo(f"  {name}.{setting} = {schema.get('default')}{limits}  {about}")
