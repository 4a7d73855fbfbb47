"""Which differences between two sets of figures are real."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from typing import Any

from scipy.stats import mannwhitneyu

LARGEST_CHANCE = 0.05
"""Chance, by the exact rank test of Mann and Whitney (1947), below which a difference is real."""

SMALLEST_CHANGE = 0.03
"""Share of the median below which a difference does not matter, own choice."""


@dataclass(frozen=True)
class Comparison:
    """One figure in both sets.

    Attributes
    ----------
    name : str
        Case and stage.
    before, after : float
        Median seconds.
    real : bool
        Neither chance nor too small to matter.
    """

    name: str
    before: float
    after: float
    real: bool

    @property
    def change(self) -> float:
        """Share by which the median grew; negative for faster."""
        return self.after / self.before - 1

    def __str__(self) -> str:
        verdict = ("slower" if self.change > 0 else "faster") if self.real else "no real difference"
        return (
            f"{self.name:60} {self.before * 1e3:9.1f} ms {self.after * 1e3:9.1f} ms "
            f"{self.change:+7.1%}  {verdict}"
        )


def compared(before: dict[str, Any], after: dict[str, Any]) -> list[Comparison]:
    """Every figure that both sets have, in the order of the first."""
    return [
        _compared(f"{case}: {stage}", figure["wall"], there[stage]["wall"])
        for case, here in before["cases"].items()
        if (there := after["cases"].get(case, {}).get("stages"))
        for stage, figure in here["stages"].items()
        if stage in there
    ]


def _compared(name: str, before: list[float], after: list[float]) -> Comparison:
    middle_before, middle_after = statistics.median(before), statistics.median(after)
    chance = mannwhitneyu(before, after, method="exact").pvalue
    matters = abs(middle_after / middle_before - 1) > SMALLEST_CHANGE
    return Comparison(name, middle_before, middle_after, bool(chance < LARGEST_CHANCE and matters))
