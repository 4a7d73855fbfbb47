"""How cost grows with pixels and with skin, as exponents and as a plot."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.frames import Case
from tests.benchmarks.runs import WHOLE

BY_PIXELS = {kind: [Case(mp, kind) for mp in (24, 45, 100)] for kind in ("jpeg", "tiff16")}
"""Cases that differ in size only."""

BY_SKIN = [Case(24, "jpeg", skin=skin) for skin in (5, 15, 40)]
"""Cases that differ in skin only."""


def growth_of(cases: dict[str, Any]) -> dict[str, Any]:
    """Seconds of CPU time over megapixels, and over megapixels that change.

    The exponent is that of the power of size by which cost grows: 1 is linear.
    """
    found: dict[str, Any] = {}
    for kind, those in BY_PIXELS.items():
        sizes = [float(case.megapixels) for case in those]
        found[f"pixels, {kind}"] = _line(sizes, [case.name for case in those], cases)
    names = [case.name for case in BY_SKIN]
    changed = [cases.get(name, {}).get("changed", 0) / 1e6 for name in names]
    found["skin, 24 MP jpeg"] = _line(changed, names, cases)
    return {name: line for name, line in found.items() if line}


def _line(sizes: list[float], names: list[str], cases: dict[str, Any]) -> dict[str, Any] | None:
    if not all(name in cases for name in names):
        return None
    seconds = [cases[name]["stages"][WHOLE]["cpu_median"] for name in names]
    slope = float(np.polyfit(np.log(sizes), np.log(seconds), 1)[0])
    return {"megapixels": sizes, "cpu_seconds": seconds, "exponent": round(slope, 3)}


def plot(growth: dict[str, Any], path: Path) -> None:
    """Draw cost against pixels and against skin."""
    import matplotlib as mpl

    mpl.use("svg")
    mpl.rcParams.update({"svg.hashsalt": "growth", "svg.fonttype": "none"})
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(1, 2, figsize=(9, 3.6), layout="constrained")
    for axis, word in zip(axes, ("pixels", "skin"), strict=True):
        for name, line in growth.items():
            if name.startswith(word):
                label = f"{name.split(', ')[1]}: size to the power of {line['exponent']:.2f}"
                axis.plot(line["megapixels"], line["cpu_seconds"], "o-", label=label)
        axis.set(xlim=0, ylim=0, ylabel="CPU seconds, both cores")
        axis.legend()
    axes[0].set_xlabel("megapixels, 15 % skin")
    axes[1].set_xlabel("megapixels of skin that change, of 24")
    figure.savefig(path, metadata={"Date": None})
    pyplot.close(figure)
