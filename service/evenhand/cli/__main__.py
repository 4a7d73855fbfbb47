"""Run the command line as ``python -m evenhand.cli``."""

from evenhand.cli import main

main()
