"""What the command line says, as settings of the engine; a usage error where it is wrong."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenhand.cli.output import fail

if TYPE_CHECKING:
    from pydantic import ValidationError

    from evenhand.computing import RetouchSettings
    from evenhand.photo.credentials import Certificate


def settings_from(
    only: Sequence[str],
    strengths: Sequence[tuple[str, float]],
    caps: Sequence[tuple[str, float]],
    others: Sequence[str],
    skin_at: Sequence[tuple[int, int]],
    burnt_at: Sequence[tuple[int, int]] = (),
    leave_at: Sequence[tuple[int, int]] = (),
) -> RetouchSettings:
    """Settings of a retouch from what the command line says.

    Parameters
    ----------
    only : sequence of str
        Steps to run; those that run by default if empty.
    strengths, caps : sequence of (str, float)
        By step; the empty name stands for all steps, and "sum" for all layers together.
    others : sequence of str
        "STEP.SETTING=VALUE".
    skin_at, burnt_at, leave_at : sequence of (int, int)
        Points, column and row, of the upright photograph.

    Returns
    -------
    RetouchSettings

    Raises
    ------
    click.UsageError
        A step or setting is unknown, or a value outside its limits.
    """
    from pydantic import ValidationError

    from evenhand.computing import DEFAULT_STEPS, STEPS, RetouchSettings

    steps: dict[str, dict[str, Any]] = {name: {} for name in STEPS}
    steps["redness"] = {"burnt_at": tuple(burnt_at), "leave_at": tuple(leave_at)}
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
    """The first thing wrong about settings, in a line.

    Parameters
    ----------
    error : ValidationError

    Returns
    -------
    str
    """
    trouble = error.errors()[0]
    where = ".".join(str(part) for part in trouble["loc"])
    return f"{where}: {trouble['msg']}."


def certificate_from(chain: Path | None, key: Path | None, algorithm: str) -> Certificate | None:
    """What to sign with, None where nothing was given; a file that does not fit ends the program.

    Parameters
    ----------
    chain, key : path or None
        PEM files of the certificates and of the private key.
    algorithm : str
        Of the signature, as C2PA names it.

    Returns
    -------
    Certificate or None

    Raises
    ------
    click.UsageError
        One of the two is missing.
    """
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
    """Strength by step; the empty name stands for all steps that are not named.

    Parameters
    ----------
    strengths : sequence of (str, float)
        The last one named for a step holds.

    Returns
    -------
    dict of str to float

    Raises
    ------
    click.UsageError
        A strength is not in [0, 1].
    """
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
