"""Options that several commands share, and the kinds of values they take."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

EPILOG = (
    "Exit status: 0 all done, 1 at least one file failed and the others are done, "
    "2 wrong command line, 130 interrupted."
)


class PerStep(click.ParamType[tuple[str, float]]):
    """``VALUE`` for all steps or ``STEP=VALUE`` for one."""

    name = "value"

    def __init__(self, metavar: str, *, alone: bool) -> None:
        self.metavar = metavar
        self.alone = alone

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """What the help shows.

        Parameters
        ----------
        param : click.Parameter
        ctx : click.Context, optional

        Returns
        -------
        str
        """
        return self.metavar

    def convert(self, value: Any, param: Any, ctx: Any) -> tuple[str, float]:
        """Step, empty for all of them, and number.

        Parameters
        ----------
        value : str
            "STEP=NUMBER", or "NUMBER" where it may stand for all steps.
        param : click.Parameter or None
        ctx : click.Context or None
            For the message.

        Returns
        -------
        step : str
        number : float
            Of any size: limits are the settings' own.

        Raises
        ------
        click.BadParameter
            The value is written otherwise.
        """
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
        """Column and row.

        Parameters
        ----------
        value : str
            "COLUMN,ROW" in pixels of the upright photograph.
        param : click.Parameter or None
        ctx : click.Context or None
            For the message.

        Returns
        -------
        column, row : int

        Raises
        ------
        click.BadParameter
            The value is written otherwise.
        """
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
    type=click.Path(path_type=Path),  # what is not there, or not readable, is told file by file
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
BURNT_AT = click.option(
    "--burnt-at",
    multiple=True,
    type=Point(),
    help="A point on burnt skin, column and row of the upright photograph: the whole burn it lies "
    "in is taken off. May be repeated.",
)
LEAVE_AT = click.option(
    "--leave-at",
    multiple=True,
    type=Point(),
    help="A point on redness that is no burn and is to be left. May be repeated.",
)
BEFORE_BURN = click.option(
    "--before-burn",
    metavar="PHOTO",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="A portrait of the same person, alone, taken before the burn: skin is compared with that "
    "of then. For one file at a time.",
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
