"""What the commands print: results on standard output, trouble and progress on standard error."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

if TYPE_CHECKING:
    from evenhand.errors import EvenhandError
    from evenhand.report import Report
    from evenhand.retouching.batch import Outcome
    from evenhand.retouching.tone_matching import ToneReport

SOME_FAILED = 1
"""Exit status where at least one file failed; the others are done."""


@contextmanager
def progress(total: int, *, shown: bool) -> Iterator[Callable[[], None]]:
    """Show a progress bar on a terminal while the block runs.

    Parameters
    ----------
    total : int
        Portraits; for fewer than two no bar is shown.
    shown : bool
        False keeps it away.

    Yields
    ------
    callable
        Moves the bar on by one portrait.
    """
    if not shown or total < 2 or not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Portraits", total=total)
        yield lambda: bar.advance(task)


def say_outcome(outcome: Outcome, *, as_json: bool) -> None:
    """Print a line on one file: results on standard output, trouble on standard error.

    Parameters
    ----------
    outcome : Outcome
    as_json : bool
        Print JSON instead, trouble too on standard output.
    """
    if outcome.report is not None and as_json:
        click.echo(outcome.report.model_dump_json())
    elif as_json:
        click.echo(json.dumps({"path": str(outcome.path), "trouble": outcome.trouble}))
    elif outcome.report is not None:
        click.echo(line_of(outcome.path, outcome.report))
    else:
        click.secho(outcome.trouble, err=True, fg="red")


def line_of(path: Path, report: Report) -> str:
    """What a photographer wants to know of one portrait, in a line.

    Parameters
    ----------
    path : path
        The original.
    report : Report

    Returns
    -------
    str
    """
    if report.advice:
        return f"{path.name}: {report.advice}"
    found = len(report.people)
    people = "1 person" if found == 1 else f"{found} people"
    steps = ", ".join(dict.fromkeys(layer.step for layer in report.layers))
    findings = "; ".join(dict.fromkeys(said for layer in report.layers for said in layer.findings))
    found_out = f"{findings}; " if findings else ""
    change = f"mean change {report.total.mean:.1f}, largest {report.total.largest:.1f} CIEDE2000"
    return f"{path.name}: {people}; {steps}; {found_out}{change}; {report.seconds:.1f} s"


def say_tones(report: ToneReport) -> None:
    """Print how far apart skin is over a shoot, and a line for each portrait.

    Parameters
    ----------
    report : ToneReport
    """
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
    """Print what is wrong and what to do, and end.

    Parameters
    ----------
    error : EvenhandError

    Raises
    ------
    SystemExit
        Always, with `SOME_FAILED`.
    """
    click.secho(str(error), err=True, fg="red")
    sys.exit(SOME_FAILED)
