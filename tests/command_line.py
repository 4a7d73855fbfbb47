"""The command line, run inside the tests."""

from __future__ import annotations

from click.testing import CliRunner, Result

from evenhand.cli import main


def run(*arguments: object) -> Result:
    """What a command prints and how it ends."""
    return CliRunner().invoke(main, [str(argument) for argument in arguments])
