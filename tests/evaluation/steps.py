"""Measure the steps on scenes that nothing was tuned on: ``python -m tests.evaluation.steps``."""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from evenhand.steps.redness import RednessSettings, redness
from evenhand.steps.smoothing import SmoothingSettings, smoothing
from tests.evaluation import steps_measures as measures
from tests.evaluation import steps_photographs as photographs
from tests.evaluation import steps_rendered as rendered
from tests.evaluation import steps_scenes as scenes
from tests.evaluation.pointing import amid_each_piece
from tests.evaluation.steps_harm import measure_harm
from tests.evaluation.steps_marks import MarkTally, tally
from tests.evaluation.steps_pimples import measure_pimples
from tests.evaluation.steps_scenes import Case
from tests.evaluation.steps_sheet import Sheet
from tests.evaluation.steps_textbook import gaussian_separation, global_a_shift
from tests.optics.skin import MELANIN

WAYS = ("nothing", "textbook", "evenhand")
"""What is compared."""

Figures = dict[tuple[str, str, str], list[float]]
"""Values by measure, way and tone."""


@dataclass(frozen=True)
class Row:
    """A line of the table."""

    measure: str
    goal: str
    digits: int
    share: bool = False


ROWS = (
    Row("burn reduced", ">= 0.75", 2, share=True),
    Row("burnt to clean", "< 2.5", 2),
    Row("unburnt moved", "< 0.4", 2),
    Row("residue", "<= 1.5", 2),
    Row("burn reduced, pointed at", ">= 0.88", 2, share=True),
    Row("burnt to clean, pointed at", "< 2.5", 2),
    Row("unburnt moved, pointed at", "< 0.4", 2),
    Row("residue, pointed at", "<= 1.5", 2),
    Row("hue error", "<= 3 deg", 1),
    Row("pictures that show blotch", "", 2),
    Row("texture kept, default", ">= 0.95", 3, share=True),
    Row("texture kept, half size, default", ">= 0.95", 3, share=True),
    Row("texture kept, one pass, default", ">= 0.95", 3, share=True),
    Row("texture kept, full", ">= 0.85", 3, share=True),
    Row("texture kept, half size, full", ">= 0.85", 3, share=True),
    Row("blotch reduced, default", ">= 0.60", 2, share=True),
    Row("added blotch reduced, default", ">= 0.60", 2, share=True),
    Row("passing marks found", ">= 0.85", 2, share=True),
    Row("false proposals a face", "<= 1", 2),
    Row("lasting marks touched", "0", 3),
    Row("mark fill to clean", "< 2", 2),
    Row("mark fill to clean, over 1 mm", "< 2", 2),
    Row("grain of the fill to clean", "near 1", 2),
    Row("mark rim to clean", "no edge", 2),
)
"""Measures with their goals; `share` where more is better."""


def measure_burns(cases: Iterable[Case], figures: Figures, sheet: Sheet) -> None:
    """Redness on burnt skin."""
    settings = RednessSettings()
    for case in cases:
        scene = case.scene
        wanted = redness(scene.patch, settings).wanted
        results = {
            "nothing": scene.changed,
            "textbook": global_a_shift(scene.patch),
            "evenhand": scene.changed + settings.strength * (wanted - scene.changed),
        }
        for way, result in results.items():
            for name, value in measures.burn_measures(scene, result).items():
                figures[name, way, case.tone].append(value)
        burnt = (scene.dose.blood > 0.5 * scene.dose.blood.max()) & (scene.alpha > 0.9)
        box = scene.patch.box
        points = [(column + box.left, row + box.top) for column, row in amid_each_piece(burnt)]
        pointed = redness(scene.patch, RednessSettings(burnt_at=tuple(points))).wanted
        for name, value in measures.burn_measures(scene, pointed).items():
            figures[f"{name}, pointed at", "evenhand", case.tone].append(value)
        sheet.add("redness", case.tone, scene.changed, results["evenhand"], scene.clean)
        sheet.add("redness_pointed", case.tone, scene.changed, pointed, scene.clean)


def measure_blotches(cases: Iterable[Case], figures: Figures, sheet: Sheet) -> None:
    """Smoothing on blotched skin; what is too coarse to show blotch is left alone and counted."""
    settings = SmoothingSettings()
    for case in cases:
        scene = case.scene
        change = smoothing(scene.patch, settings)
        resolved = bool(change.facts["resolved"])
        figures["pictures that show blotch", "evenhand", case.tone].append(float(resolved))
        if not resolved:
            continue
        whole = change.wanted - scene.changed
        clean = replace(scene, changed=scene.clean)
        on_clean = smoothing(clean.patch, settings).wanted - scene.clean
        inside = measures.well_inside(scene.patch)
        for name, strength in (("default", settings.strength), ("full", 1.0)):
            results = {
                "nothing": scene.changed,
                "textbook": gaussian_separation(scene.patch, strength),
                "evenhand": scene.changed + strength * whole,
            }
            cleaned = {
                "nothing": scene.clean,
                "textbook": gaussian_separation(clean.patch, strength),
                "evenhand": scene.clean + strength * on_clean,
            }
            for way, result in results.items():
                given = (scene.changed, result, inside, scene.mm_per_pixel)
                kept = f"texture kept, {name}", f"texture kept, half size, {name}"
                figures[kept[0], way, case.tone].append(measures.texture_kept(*given))
                figures[kept[1], way, case.tone].append(measures.texture_kept_at_half(*given))
                if name == "default":
                    fallen = measures.blotch_reduced(scene, result)
                    figures["blotch reduced, default", way, case.tone].append(fallen)
                    added = measures.added_blotch_reduced(scene, result, cleaned[way])
                    figures["added blotch reduced, default", way, case.tone].append(added)
                    once = measures.texture_kept(*given, times=1)
                    figures["texture kept, one pass, default", way, case.tone].append(once)
                    if way == "evenhand":
                        sheet.add("smoothing", case.tone, scene.changed, result, scene.clean)


def measure_marks(cases: Iterable[Case], figures: Figures, sheet: Sheet) -> None:
    """Marks found, told apart and filled."""
    counts: dict[str, MarkTally] = defaultdict(MarkTally)
    for case in cases:
        result = tally(case.scene, counts[case.tone])
        sheet.add("marks", case.tone, case.scene.changed, result, case.scene.clean)
    for tone, count in counts.items():
        figures["passing marks found", "evenhand", tone].append(count.recall)
        figures["passing marks found", "nothing", tone].append(0.0)
        figures["false proposals a face", "evenhand", tone].append(count.false_a_face)
        figures["lasting marks touched", "evenhand", tone].append(
            count.lasting_touched / max(1, count.lasting)
        )
        for way, fills, tones, rims, grain in (
            ("nothing", count.untouched, [], [], []),
            (
                "textbook",
                count.textbook_fills,
                count.textbook_tones,
                count.textbook_rims,
                count.textbook_grain,
            ),
            ("evenhand", count.fills, count.tones, count.rims, count.grain),
        ):
            figures["mark fill to clean, over 1 mm", way, tone].extend(tones)
            figures["grain of the fill to clean", way, tone].extend(grain)
            figures["mark fill to clean", way, tone].extend(fills)
            figures["mark rim to clean", way, tone].extend(rims)


def table(figures: Figures) -> str:
    """The figures as text, one line a measure."""
    tones = list(MELANIN)
    lines = [
        " | ".join(
            [f"{'measure':33}", f"{'goal':8}", *(f"{way:>8}" for way in WAYS)]
            + [f"{tone:>12}" for tone in tones]
            + ["worst tone to best"]
        )
    ]
    for row in ROWS:
        values = [_mean(figures[row.measure, "evenhand", tone]) for tone in tones]
        cells = [_shown(_mean(_all(figures, row.measure, way, tones)), row.digits) for way in WAYS]
        lines.append(
            " | ".join(
                [f"{row.measure:33}", f"{row.goal:8}", *(f"{cell:>8}" for cell in cells)]
                + [f"{_shown(value, row.digits):>12}" for value in values]
                + [
                    _shown(np.nanmin(values) / np.nanmax(values), 2)
                    if row.share and not np.isnan(values).all()
                    else ""
                ]
            )
        )
    return "\n".join(lines)


def _all(figures: Figures, measure: str, way: str, tones: Iterable[str]) -> list[float]:
    return [value for tone in tones for value in figures[measure, way, tone]]


def _mean(values: list[float]) -> float:
    known = [value for value in values if not np.isnan(value)]
    return float(np.mean(known)) if known else float("nan")


def _shown(value: float, digits: int) -> str:
    return "" if np.isnan(value) else f"{value:.{digits}f}"


def main() -> None:
    """Measure, print the table, write the sheets."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("build/steps"))
    parser.add_argument("--each", type=int, default=4, help="scenes a tone and step")
    parser.add_argument("--tuning", action="store_true", help="use the scenes for tuning")
    chosen = parser.parse_args()
    seeds = scenes.TUNING_SEEDS if chosen.tuning else scenes.MEASURING_SEEDS
    each = chosen.each
    print("Simulated skin")
    _measure(
        scenes.burnt(seeds, 2 * each),
        scenes.blotched(seeds, max(1, each // 2)),
        scenes.marked(seeds, each),
        chosen.out / "simulated",
    )
    print("\nPhotographed people with simulated changes; what they show counts as clean")
    _measure(
        *(photographs.cases(chosen.tuning, name) for name in ("burnt", "blotched", "marked")),
        chosen.out / "photographed",
    )
    print("\nPhotographed people without a burn")
    measure_harm("odd" if chosen.tuning else "even", chosen.out / "harm.jpg")
    print("\nPimples on rendered faces, masks found")
    measure_pimples(chosen.tuning, chosen.out / "pimples.png")
    print("\nRendered people, masks found; looked at while tuning")
    _measure(rendered.burnt(), (), (), chosen.out / "rendered")


def _measure(
    burnt: Iterable[Case], blotched: Iterable[Case], marked: Iterable[Case], folder: Path
) -> None:
    figures: Figures = defaultdict(list)
    sheet = Sheet(folder)
    measure_burns(burnt, figures, sheet)
    measure_blotches(blotched, figures, sheet)
    measure_marks(marked, figures, sheet)
    print(table(figures))
    print(f"Before, after and truth: {', '.join(str(path) for path in sheet.write())}")


if __name__ == "__main__":
    main()
