"""``python -m tests.benchmarks`` measures; ``compare A B`` compares two sets of figures.

``everything`` measures all that the README tells, in about a quarter of an hour on an idle machine,
and prints its tables.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import platform
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from evenhand.processors import one_thread_for_small_matrices
from tests.benchmarks.comparing import compared
from tests.benchmarks.frames import Case

QUICK = [Case(24, "jpeg"), Case(24, "tiff16")]
"""Cases measured unless all are asked for; the first also in the textbook's version."""

ALL = [
    *QUICK,
    *(Case(mp, kind) for mp in (45, 100) for kind in ("jpeg", "tiff16")),
    *(Case(24, "jpeg", skin=skin) for skin in (5, 40)),
    Case(24, "jpeg", people=4),
]
"""Sizes, depths, shares of skin and numbers of people."""

PORTRAITS, PORTRAIT_MEGAPIXELS = 50, 24
"""Of the folder."""

STARTS = 10
"""Fresh processes whose start is measured."""


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.set_defaults(work=run)
    commands = parser.add_subparsers()
    parser.add_argument("--all", action="store_true", help="every size, depth, skin share")
    parser.add_argument("--no-textbook", action="store_true", help="leave the textbook out")
    everything = commands.add_parser("everything", help="all of it, and the README's tables")
    everything.add_argument("--portraits", type=int, default=PORTRAITS, help="in the folder")
    everything.add_argument("--plot", type=Path, metavar="FILE", help="SVG of cost against size")
    everything.set_defaults(work=run_everything)
    for command in (parser, everything):
        command.add_argument("--runs", type=int, default=5, help="runs after a warm-up")
        command.add_argument("--json", type=Path, metavar="FILE", help="write the figures there")
    compare = commands.add_parser("compare", help="compare two files of figures")
    compare.add_argument("before", type=Path)
    compare.add_argument("after", type=Path)
    compare.set_defaults(work=show_comparison)
    arguments = parser.parse_args()
    one_thread_for_small_matrices()
    arguments.work(arguments)


def run(arguments: argparse.Namespace) -> None:
    """Measure the cases one after the other and print each as soon as it is there."""
    results: dict[str, Any] = {"made": made(), "cases": {}}
    print(json.dumps(results["made"], indent=2))
    cases = ALL if arguments.all else QUICK
    measure_cases(results, cases, arguments, textbook=not arguments.no_textbook)


def run_everything(arguments: argparse.Namespace) -> None:
    """Measure all there is; figures are written as soon as they are there."""
    from tests.benchmarks.folder import folder_figures
    from tests.benchmarks.growth import growth_of, plot
    from tests.benchmarks.preview import preview_figures
    from tests.benchmarks.start import start_figures
    from tests.benchmarks.tables import readme_tables

    results: dict[str, Any] = {"made": made(), "cases": {}}
    results["start"] = start_figures(STARTS)
    measure_cases(results, ALL, arguments, textbook=True)
    results["growth"] = growth_of(results["cases"])
    if arguments.plot:
        plot(results["growth"], arguments.plot)
    results["preview"] = preview_figures(arguments.runs)
    keep(results, arguments)
    results["folder"] = folder_figures(arguments.portraits, PORTRAIT_MEGAPIXELS, 1)
    keep(results, arguments)
    print(f"\n{readme_tables(results)}")


def measure_cases(
    results: dict[str, Any], cases: list[Case], arguments: argparse.Namespace, *, textbook: bool
) -> None:
    """Measure each case in a fresh process, so that none leaves memory to the next."""
    from tests.benchmarks.runs import measure_case
    from tests.benchmarks.tables import case_table

    for case in cases:
        with_textbook = textbook and case == QUICK[0]
        with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as fresh:
            measuring = fresh.submit(
                measure_case, case, arguments.runs, with_textbook=with_textbook
            )
            figures = measuring.result()
        results["cases"][case.name] = figures
        print(case_table(case.name, figures), flush=True)
        keep(results, arguments)


def keep(results: dict[str, Any], arguments: argparse.Namespace) -> None:
    """Write what has been measured so far."""
    if arguments.json:
        arguments.json.write_text(json.dumps(results, indent=1) + "\n")


def show_comparison(arguments: argparse.Namespace) -> None:
    """Print every figure of two files and which differences are real."""
    before, after = (json.loads(p.read_text()) for p in (arguments.before, arguments.after))
    for figure in ("processor", "cores", "python"):
        if before["made"][figure] != after["made"][figure]:
            print(f"not the same {figure}: {before['made'][figure]}, {after['made'][figure]}")
    for comparison in compared(before, after):
        print(comparison)


def made() -> dict[str, Any]:
    """Where, when and with what the figures were made."""
    from evenhand.processors import PROCESSORS
    from evenhand.report.filling import versions

    return {
        "processor": _processor(),
        "cores": PROCESSORS,
        "system": platform.platform(),
        "time": datetime.now(UTC).isoformat(timespec="seconds"),
        "commit": _commit(),
        "load": [round(load, 1) for load in os.getloadavg()],
        "priority": os.nice(0),
        **versions(),
    }


def _processor() -> str:
    for line in Path("/proc/cpuinfo").read_text().splitlines():
        if line.startswith("model name"):
            return line.split(":", 1)[1].strip()
    return platform.processor()


def _commit() -> str:
    done = subprocess.run(
        ["git", "describe", "--always", "--dirty", "--abbrev=12"], capture_output=True, text=True
    )
    return done.stdout.strip() or "unknown"


if __name__ == "__main__":
    sys.exit(main())
