"""``python -m tests.benchmarks`` measures; ``python -m tests.benchmarks compare A B`` compares."""

from __future__ import annotations

import argparse
import json
import platform
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tests.benchmarks.comparing import compared
from tests.benchmarks.frames import Case

QUICK = [Case(24, "jpeg"), Case(24, "tiff16")]
"""Cases measured unless all are asked for."""

ALL = [
    *(Case(mp, kind) for mp in (24, 45, 100) for kind in ("jpeg", "tiff16")),
    *(Case(24, "jpeg", skin=skin) for skin in (5, 40)),
    Case(24, "jpeg", people=4),
]
"""Sizes, depths, shares of skin and numbers of people."""


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.set_defaults(work=run)
    commands = parser.add_subparsers()
    parser.add_argument("--all", action="store_true", help="every size, depth, skin share")
    parser.add_argument("--runs", type=int, default=5, help="runs after a warm-up")
    parser.add_argument("--no-textbook", action="store_true", help="leave the textbook out")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the figures there")
    compare = commands.add_parser("compare", help="compare two files of figures")
    compare.add_argument("before", type=Path)
    compare.add_argument("after", type=Path)
    compare.set_defaults(work=show_comparison)
    arguments = parser.parse_args()
    arguments.work(arguments)


def run(arguments: argparse.Namespace) -> None:
    """Measure the cases one after the other and print each as soon as it is there."""
    from tests.benchmarks.runs import measure_case

    results: dict[str, Any] = {"made": made(), "cases": {}}
    print(json.dumps(results["made"], indent=2))
    for case in ALL if arguments.all else QUICK:
        figures = measure_case(case, arguments.runs, with_textbook=not arguments.no_textbook)
        results["cases"][case.name] = figures
        print(table(case.name, figures), flush=True)
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


def table(name: str, figures: dict[str, Any]) -> str:
    """Figures of a case, each with its ratio to decoding and encoding alone."""
    from tests.benchmarks.runs import FLOOR

    floor = figures[FLOOR]["median"]
    lines = [
        f"\n{name}",
        f"{'stage':28}{'median':>10}{'smallest':>10}{'largest':>10}{'CPU':>10}"
        f"{'peak':>11}{'ratio':>8}",
    ]
    for stage, figure in figures.items():
        times = "".join(
            f"{figure[key] * 1e3:7.1f} ms"
            for key in ("median", "smallest", "largest", "cpu_median")
        )
        lines.append(
            f"{stage:28}{times}{figure['peak_mib']:7.0f} MiB{figure['median'] / floor:8.2f}"
        )
    return "\n".join(lines)


def made() -> dict[str, Any]:
    """Where, when and with what the figures were made."""
    from evenhand.processors import PROCESSORS
    from evenhand.reporting import versions

    return {
        "processor": _processor(),
        "cores": PROCESSORS,
        "system": platform.platform(),
        "time": datetime.now(UTC).isoformat(timespec="seconds"),
        "commit": _commit(),
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
