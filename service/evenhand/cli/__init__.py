"""The command line. Nothing heavy is loaded before a command needs it."""

from __future__ import annotations

import atexit
import gc
from typing import Any

import click

from evenhand import __version__
from evenhand.cli.layer_sets import blend_command, hand_off_command, revert_command
from evenhand.cli.options import EPILOG
from evenhand.cli.photographs import masks_command, retouch_command, steps_command
from evenhand.cli.tones import tone_command
from evenhand.processors import one_thread_for_small_matrices
from evenhand.web.commands import commands as service

INTERRUPTED = 130
"""Exit status after an interrupt, as shells give it: 128 and the number of the signal."""


class Commands(click.Group):
    """Commands that end quietly where they are interrupted."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; an interrupt ends it with `INTERRUPTED` and a line instead of a traceback.

        Parameters
        ----------
        ctx : click.Context

        Returns
        -------
        object
            What the command returned.
        """
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            click.echo("Interrupted. Results that are there are whole.", err=True)
            ctx.exit(INTERRUPTED)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]}, epilog=EPILOG)
@click.version_option(__version__, prog_name="evenhand")
def main() -> None:
    """Give portraits a restrained first-pass skin retouch, every change in a layer.

    The originals are only read. Retouch a person only for what they agreed to.
    """
    one_thread_for_small_matrices()
    atexit.register(gc.freeze)  # else all that is left is searched for cycles before the end


for command in (
    retouch_command,
    blend_command,
    hand_off_command,
    revert_command,
    masks_command,
    tone_command,
    steps_command,
    *service.commands.values(),
):
    main.add_command(command)
