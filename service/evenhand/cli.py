"""The command line. Nothing heavy is loaded before a command needs it."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from evenhand import __version__
from evenhand.processors import one_thread_for_small_matrices
from evenhand.web.commands import commands as service

if TYPE_CHECKING:
    from pydantic import ValidationError

    from evenhand.batch import Outcome
    from evenhand.errors import EvenhandError
    from evenhand.photo.credentials import Certificate
    from evenhand.report import Report
    from evenhand.retouching import RetouchSettings
    from evenhand.tone_matching import ToneReport

SOME_FAILED = 1
"""Exit status where at least one file failed; the others are done."""

EPILOG = (
    "Exit status: 0 all done, 1 at least one file failed and the others are done, "
    "2 wrong command line, 130 interrupted."
)


@click.group(context_settings={"help_option_names": ["-h", "--help"]}, epilog=EPILOG)
@click.version_option(__version__, prog_name="evenhand")
def main() -> None:
    """Give portraits a restrained first-pass skin retouch, every change in a layer.

    The originals are only read. Retouch a person only for what they agreed to.
    """
    one_thread_for_small_matrices()


class PerStep(click.ParamType[tuple[str, float]]):
    """``VALUE`` for all steps or ``STEP=VALUE`` for one."""

    name = "value"

    def __init__(self, metavar: str, *, alone: bool) -> None:
        self.metavar = metavar
        self.alone = alone

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """What the help shows."""
        return self.metavar

    def convert(self, value: Any, param: Any, ctx: Any) -> tuple[str, float]:
        """Step, empty for all of them, and number."""
        if isinstance(value, tuple):
            return value
        step, equals, number = str(value).rpartition("=")
        if (equals and not step) or not (equals or self.alone):
            self.fail(f"{value!r}: say {self.metavar}.", param, ctx)
        try:
            return step.strip(), float(number)
        except ValueError:
            self.fail(f"{value!r}: {number!r} is no number. Say {self.metavar}.", param, ctx)


class Point(click.ParamType[tuple[int, int]]):
    """``X,Y`` in pixels of the upright photograph."""

    name = "X,Y"

    def convert(self, value: Any, param: Any, ctx: Any) -> tuple[int, int]:
        """Column and row."""
        if isinstance(value, tuple):
            return value
        try:
            column, row = (int(part) for part in str(value).split(","))
        except ValueError:
            self.fail(f"{value!r}: say two whole numbers, column and row: 640,480.", param, ctx)
        return column, row


PHOTOGRAPHS = click.argument(
    "paths",
    metavar="FILES_OR_FOLDERS...",
    nargs=-1,
    required=True,
    type=click.Path(exists=True, path_type=Path),
)
OUT = click.option(
    "--out",
    metavar="DIR",
    required=True,
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the results, made if it is not there.",
)
OVERWRITE = click.option("--overwrite", is_flag=True, help="Replace results already there.")
SKIN_AT = click.option(
    "--skin-at",
    multiple=True,
    type=Point(),
    help="A point on bare skin, column and row of the upright photograph, where there is skin "
    "without a face. May be repeated.",
)
STRENGTH = click.option(
    "--strength",
    "strengths",
    multiple=True,
    type=PerStep("VALUE or STEP=VALUE", alone=True),
    help="How much is applied, 0 to 1: of every step, or of one. May be repeated.",
)
PHOTOGRAPH = click.option(
    "--photograph",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="The original, where it is no longer where it was.",
)
CERTIFICATE = click.option(
    "--certificate",
    "chain",
    metavar="FILE",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Sign results with content credentials (C2PA): certificates in PEM form, yours first.",
)
KEY = click.option(
    "--key",
    metavar="FILE",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="The private key that belongs to --certificate, PEM, not encrypted.",
)
ALGORITHM = click.option(
    "--algorithm",
    metavar="NAME",
    default="es256",
    show_default=True,
    help="Signature algorithm of the key: es256 to es512, ps256 to ps512, or ed25519.",
)


@main.command("retouch", epilog=EPILOG)
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
    from evenhand.batch import portraits_in, retouch_many

    settings = settings_from(only, strengths, caps, others, skin_at)
    certificate = certificate_from(chain, key, algorithm)
    portraits, failed = portraits_in(paths)
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
        ):
            advance()
            say_outcome(outcome, as_json=as_json)
            if outcome.trouble:
                failed.append(outcome)
    if not as_json and portraits:
        say_notices()
    sys.exit(SOME_FAILED if failed else 0)


@main.command("blend")
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
    from evenhand.stored_layers import blend

    try:
        written = blend(
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


@main.command("hand-off")
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
    from evenhand.stored_layers import hand_off

    try:
        written = hand_off(
            layers, out, by_step(strengths), photograph=photograph, overwrite=overwrite
        )
    except EvenhandError as error:
        fail(error)
    for path in written:
        click.echo(f"{path}")
    say_notices()


@main.command("revert")
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
    from evenhand.stored_layers import revert

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


@main.command("masks")
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
    from evenhand.errors import EvenhandError
    from evenhand.mask_files import masks
    from evenhand.reporting import NOBODY
    from evenhand.retouching import RetouchSettings

    try:
        written = masks(path, out, RetouchSettings(skin_at=skin_at), overwrite=overwrite)
    except EvenhandError as error:
        fail(error)
    for file in written:
        click.echo(f"{file}")
    if not written:
        click.echo(f"{path}: {NOBODY}")


@main.command("tone", epilog=EPILOG)
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

    from evenhand.batch import portraits_in
    from evenhand.errors import EvenhandError
    from evenhand.steps.tone import ToneSettings
    from evenhand.tone_matching import match_tone

    given = {
        name: value for name, value in (("strength", strength), ("cap", cap)) if value is not None
    }
    try:
        settings = ToneSettings.model_validate(given)
    except ValidationError as error:
        raise click.UsageError(wrong_setting(error)) from None
    certificate = certificate_from(chain, key, algorithm)
    portraits, failed = portraits_in(paths)
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


@main.command("steps")
def steps_command() -> None:
    """List the steps and their settings, with units and limits."""
    from evenhand.retouching import DEFAULT_STEPS, STEPS, RetouchSettings

    for name in STEPS:
        runs = "runs unless --only says otherwise" if name in DEFAULT_STEPS else "runs on request"
        click.echo(f"{name} ({runs})")
        model = RetouchSettings.model_fields[name].annotation
        for setting, schema in model.model_json_schema()["properties"].items():  # type: ignore[union-attr]
            low = schema.get("minimum", schema.get("exclusiveMinimum"))
            high = schema.get("maximum", schema.get("exclusiveMaximum"))
            limits = "" if low is high is None else f" [{low} to {high}]"
            about = schema.get("description", "")
            click.echo(f"  {name}.{setting} = {schema.get('default')}{limits}  {about}")


def settings_from(
    only: Sequence[str],
    strengths: Sequence[tuple[str, float]],
    caps: Sequence[tuple[str, float]],
    others: Sequence[str],
    skin_at: Sequence[tuple[int, int]],
) -> RetouchSettings:
    """Settings of a retouch from what the command line says; ends with a usage error if wrong."""
    from pydantic import ValidationError

    from evenhand.retouching import DEFAULT_STEPS, STEPS, RetouchSettings

    steps: dict[str, dict[str, Any]] = {name: {} for name in STEPS}
    wanted: dict[str, Any] = {"steps": tuple(only) or DEFAULT_STEPS, "skin_at": tuple(skin_at)}
    for step, strength in strengths:
        for name in [_known(step, STEPS)] if step else STEPS:
            steps[name]["strength"] = strength
    for step, cap in caps:
        if step == "sum":
            wanted["cap"] = cap
        else:
            steps[_known(step, STEPS)]["cap"] = cap
    for other in others:
        setting, equals, value = other.partition("=")
        step, dot, name = setting.partition(".")
        if not (equals and dot):
            raise click.UsageError(f"--set {other}: say STEP.SETTING=VALUE.")
        steps[_known(step, STEPS)][name] = _plain(value)
    try:
        return RetouchSettings.model_validate({**steps, **wanted})
    except ValidationError as error:
        raise click.UsageError(wrong_setting(error)) from None


def wrong_setting(error: ValidationError) -> str:
    """The first thing wrong about settings, in a line."""
    trouble = error.errors()[0]
    where = ".".join(str(part) for part in trouble["loc"])
    return f"{where}: {trouble['msg']}."


def certificate_from(chain: Path | None, key: Path | None, algorithm: str) -> Certificate | None:
    """What to sign with, None where nothing was given; ends with an error if it does not fit."""
    if chain is None and key is None:
        return None
    if chain is None or key is None:
        raise click.UsageError("To sign, give both --certificate and --key.")
    from evenhand.errors import EvenhandError
    from evenhand.photo.credentials import read_certificate

    try:
        return read_certificate(chain, key, algorithm)
    except EvenhandError as error:
        fail(error)


def by_step(strengths: Sequence[tuple[str, float]]) -> dict[str, float]:
    """Strength by step; the empty name stands for all steps that are not named."""
    for step, strength in strengths:
        if not 0 <= strength <= 1:
            raise click.UsageError(f"--strength {step or strength}: say a number from 0 to 1.")
    return dict(strengths)


def _plain(value: str) -> Any:
    """A number or a list as JSON writes it, else the text itself."""
    try:
        return json.loads(value)
    except ValueError:
        return value


def _known(step: str, steps: Mapping[str, Any]) -> str:
    if step not in steps:
        raise click.UsageError(f"There is no step {step!r}; there are {', '.join(steps)}.")
    return step


@contextmanager
def progress(total: int, *, shown: bool) -> Iterator[Callable[[], None]]:
    """Show a progress bar on a terminal while the block runs; gives what moves it on by one."""
    if not shown or total < 2 or not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Portraits", total=total)
        yield lambda: bar.advance(task)


def say_outcome(outcome: Outcome, *, as_json: bool) -> None:
    """Print a line on one file: results on standard output, trouble on standard error."""
    if outcome.report is not None and as_json:
        click.echo(outcome.report.model_dump_json())
    elif as_json:
        click.echo(json.dumps({"path": str(outcome.path), "trouble": outcome.trouble}))
    elif outcome.report is not None:
        click.echo(line_of(outcome.path, outcome.report))
    else:
        click.secho(outcome.trouble, err=True, fg="red")


def line_of(path: Path, report: Report) -> str:
    """What a photographer wants to know of one portrait, in a line."""
    if report.advice:
        return f"{path.name}: {report.advice}"
    found = len(report.people)
    people = "1 person" if found == 1 else f"{found} people"
    steps = ", ".join(dict.fromkeys(layer.step for layer in report.layers))
    change = f"mean change {report.total.mean:.1f}, largest {report.total.largest:.1f} CIEDE2000"
    return f"{path.name}: {people}; {steps}; {change}; {report.seconds:.1f} s"


def say_tones(report: ToneReport) -> None:
    """Print how far apart skin is over a shoot, and a line for each portrait."""
    for tone in report.portraits:
        balance = ", ".join(f"{gain:.3f}" for gain in tone.balance)
        click.echo(f"{tone.name}: exposure {tone.exposure:+.2f} stops, balance {balance}")
    after = "after" if report.strength is not None else "after a match at full strength"
    click.echo(
        f"Skin over {1 + len(report.portraits)} portraits lies {report.spread_before:.1f} "
        f"CIEDE2000 around its mean, {report.spread_after:.1f} {after}"
    )


def say_notices() -> None:
    """Print what must be said wherever a result is shown."""
    from evenhand.report import SHORT_NOTICE

    click.echo(SHORT_NOTICE)


def fail(error: EvenhandError) -> NoReturn:
    """Print what is wrong and what to do, and end."""
    click.secho(str(error), err=True, fg="red")
    sys.exit(SOME_FAILED)


for command in service.commands.values():
    main.add_command(command)

if __name__ == "__main__":
    main()
