"""Measures the skin masks on labelled pictures.

    python -m tests.evaluation.masks [--half even] [--rendered FOLDER]
    python -m tests.evaluation.masks SET [--half odd] [--most N] [--sheet FILE]

The first prints all goals. SET is ``multipose``, ``body`` (labelled photographs beside the
repository) or a folder of rendered views. Prints figures for each picture and in total, and writes
the worst cases as a contact sheet.
"""

from __future__ import annotations

import argparse
import heapq
import json
import math
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from PIL import Image

from tests.evaluation.masks_goals import print_rows, rows
from tests.evaluation.masks_measures import (
    Figures,
    Found,
    by_known_tone,
    by_tone,
    figures_of,
    leaked_share,
    pooled,
    worst_to_best,
)
from tests.evaluation.masks_sets import Sample, halves, samples
from tests.evaluation.masks_sheet import tile, write_sheet

WORST_SHOWN = 18
# Cases on the contact sheet.


def found_by_people(sample: Sample) -> Found:
    """The masks that the steps get."""
    from evenhand import photo
    from evenhand.people import find_people

    photograph = photo.read(sample.path)
    begin = time.perf_counter()
    people = find_people(photograph)
    seconds = time.perf_counter() - begin
    skin = np.zeros(photograph.shape, np.float32)
    for person in people:
        np.maximum(skin, person.skin(photograph.frame), out=skin)
    faces = [
        (box.left, box.top, box.right, box.bottom)
        for box in (person.face.box for person in people if person.face is not None)
    ]
    largest = max(people, key=lambda p: p.skin_box.area, default=None)
    return Found(skin, faces, largest.scale.mm_per_pixel if largest else None, seconds)


def picture_line(figures: Figures) -> str:
    """One picture's figures in a line."""
    counts = figures.counts
    return (
        f"{figures.name:22s} P {counts.precision:.3f} R {counts.recall:.3f} F1 {counts.f1:.3f} "
        f"IoU {counts.iou:.3f} edge {figures.boundary_px:5.1f} px {figures.boundary_mm:5.2f} mm "
        f"heads {figures.heads_found}/{figures.heads} false {figures.false_faces} "
        f"ITA {figures.tone_angle:6.1f} {figures.seconds * 1000:5.0f} ms"
    )


def percent(share: float) -> str:
    """A share as a percentage."""
    return "-" if math.isnan(share) else f"{share * 100:.2f} %"


def totals(pictures: Sequence[Figures]) -> dict[str, object]:
    """Figures over all pictures; every share is of pixels or heads of the whole set."""
    counts, groups, known = pooled(pictures), by_tone(pictures), by_known_tone(pictures)
    parts = list(pictures[0].leakage)
    edges_px = [p.boundary_px for p in pictures if not math.isnan(p.boundary_px)]
    edges_mm = [p.boundary_mm for p in pictures if not math.isnan(p.boundary_mm)]
    return {
        "pictures": len(pictures),
        "precision": counts.precision,
        "recall": counts.recall,
        "f1": counts.f1,
        "iou": counts.iou,
        "f1_mean_of_pictures": float(np.mean([p.counts.f1 for p in pictures])),
        "leakage": {part: leaked_share(pictures, part, False) for part in parts},
        "leakage_inside": {part: leaked_share(pictures, part, True) for part in parts},
        "boundary_median_px": float(np.median(edges_px)) if edges_px else math.nan,
        "boundary_median_mm": float(np.median(edges_mm)) if edges_mm else math.nan,
        "heads": sum(p.heads for p in pictures),
        "heads_found": sum(p.heads_found for p in pictures),
        "large_faces": sum(p.large_faces for p in pictures),
        "large_faces_found": sum(p.large_faces_found for p in pictures),
        "false_faces": sum(p.false_faces for p in pictures),
        "tone_groups": {name: group_figures(group) for name, group in groups.items()},
        "worst_group_to_best": worst_to_best(groups),
        "known_tones": {name: group_figures(group) for name, group in known.items()},
        "worst_known_tone_to_best": worst_to_best(known),
        "median_ms": float(np.median([p.seconds for p in pictures]) * 1000),
    }


def group_figures(group: Sequence[Figures]) -> dict[str, float]:
    """Figures of one skin-tone group."""
    counts = pooled(group)
    edges = [p.boundary_px for p in group if not math.isnan(p.boundary_px)]
    return {
        "pictures": len(group),
        "precision": counts.precision,
        "recall": counts.recall,
        "f1": counts.f1,
        "iou": counts.iou,
        "boundary_median_px": float(np.median(edges)) if edges else math.nan,
        "heads_found": sum(p.heads_found for p in group) / max(1, sum(p.heads for p in group)),
    }


def print_groups(groups: dict[str, dict[str, float]]) -> None:
    """Figures of the skin-tone groups, one a line."""
    for name, group in groups.items():
        print(
            f"    {name:14s} {group['pictures']:4d} pictures  P {group['precision']:.3f} "
            f"R {group['recall']:.3f} F1 {group['f1']:.3f} IoU {group['iou']:.3f} "
            f"edge {group['boundary_median_px']:.1f} px heads {group['heads_found']:.2f}"
        )


def print_totals(total: dict) -> None:  # type: ignore[type-arg]
    """The totals as a table."""
    print(f"\n{total['pictures']} pictures, pixels pooled")
    for name in ("precision", "recall", "f1", "iou", "f1_mean_of_pictures"):
        print(f"  {name:24s} {total[name]:.4f}")
    print("  leakage (and away from skin edges by 3 px)")
    for part, share in total["leakage"].items():
        print(f"    {part:22s} {percent(share):>9s}  ({percent(total['leakage_inside'][part])})")
    px, mm = total["boundary_median_px"], total["boundary_median_mm"]
    print(f"  boundary, median         {px:.2f} px, {mm:.2f} mm")
    print(f"  heads found              {total['heads_found']} of {total['heads']}")
    print(f"  faces of 100 px and more {total['large_faces_found']} of {total['large_faces']}")
    print(f"  faces that are none      {total['false_faces']}")
    print("  by skin tone (ITA of the face)")
    print_groups(total["tone_groups"])
    print(f"  worst group / best       {total['worst_group_to_best']:.3f}")
    if total["known_tones"]:
        print("  by the tone the person was rendered with")
        print_groups(total["known_tones"])
        print(f"  worst group / best       {total['worst_known_tone_to_best']:.3f}")
    print(f"  median time              {total['median_ms']:.0f} ms")


def measure(name: str, half: str, most: int | None, sheet: Path | None) -> dict[str, object]:
    """Measures the masks of a set, prints, writes the contact sheet; empty if the set is absent."""
    found_samples = samples(name)
    if found_samples is None:
        print(f"skipped: there is no set '{name}' here")
        return {}
    pictures: list[Figures] = []
    worst: list[tuple[float, int, Image.Image]] = []
    every = halves(list(found_samples), half)
    every = every if most is None else spread(every, most)
    for number, sample in enumerate(every):
        found = found_by_people(sample)
        figures = figures_of(sample, found)
        pictures.append(figures)
        print(picture_line(figures), flush=True)
        case = (-figures.counts.f1, number, tile(sample, figures, found))
        if len(worst) < WORST_SHOWN:
            heapq.heappush(worst, case)
        else:
            heapq.heappushpop(worst, case)
    total = totals(pictures)
    print_totals(total)
    if sheet is not None:
        write_sheet([image for _, _, image in sorted(worst, reverse=True)], sheet)
        print(f"worst cases: {sheet}")
    return total


def spread(every: list[Sample], most: int) -> list[Sample]:
    """At most so many samples, always the same ones, drawn by chance."""
    chosen = np.random.default_rng(0).permutation(len(every))[:most]
    return [every[index] for index in sorted(chosen)]


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.evaluation.masks", description=__doc__)
    parser.add_argument("set", nargs="?", help="multipose, body, or a folder of rendered views")
    parser.add_argument("--half", choices=("odd", "even", "all"), help="default: even for goals")
    parser.add_argument("--rendered", type=Path, help="folder of rendered views, for the goals")
    parser.add_argument("--most", type=int, help="pictures at most, evenly picked")
    parser.add_argument("--sheet", type=Path, help="contact sheet (default: build/masks_SET.jpg)")
    parser.add_argument("--json", type=Path, help="also write the totals here")
    options = parser.parse_args()
    if options.set is None:
        print_rows(rows(options.half or "even", options.rendered, found_by_people))
        return
    sheet = options.sheet or Path("build") / f"masks_{Path(options.set).name}.jpg"
    total = measure(options.set, options.half or "all", options.most, sheet)
    if options.json and total:
        options.json.write_text(json.dumps(total, indent=1))


if __name__ == "__main__":
    main()
