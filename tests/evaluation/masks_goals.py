"""Masks and belief in burns against their goals, on photographs that nothing was chosen on."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from evenhand import photo
from evenhand.errors import EvenhandError
from evenhand.memory import keep_freed_memory
from evenhand.people import find_people
from tests.benchmarks.frames import Case, make_frame
from tests.benchmarks.measuring import measured as measured_time
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
from tests.evaluation.masks_sets import Sample, halves, photographs_of, samples

UNBURNT = ("multipose", "body", "portraits", "groups")
# Sets of photographs whose people have no burn.

BELIEVED, MOST_OF_A_PICTURE = 0.5, 0.03
# Belief from which skin counts as burnt, and share of a picture's skin at which it is told.

METRICS = Path(__file__).parents[2] / "models" / "burns" / "metrics.json"
# Written when the burn network was trained: figures on rendered scenes held back.

RUNS = 5
# Of finding people, after a warm-up, where time is measured.


@dataclass(frozen=True)
class Row:
    """A line of the table: what it was before, what is wanted, what it is now."""

    measure: str
    before: str
    goal: str
    now: str


def measured(name: str, half: str, found_by: Callable[[Sample], Found]) -> list[Figures]:
    """Figures of a labelled set, none where it is absent."""
    found = samples(name)
    if found is None:
        return []
    return [figures_of(sample, found_by(sample)) for sample in halves(list(found), half)]


def believed(half: str) -> tuple[float, int, int]:
    """Share of skin that is believed burnt, pictures with too much of it, and pictures."""
    burnt = skin = 0.0
    pictures = many = 0
    for path in (path for name in UNBURNT for path in halves(photographs_of(name), half)):
        try:
            photograph = photo.read(path)
        except EvenhandError:
            continue
        mine = hot = 0
        for person in find_people(photograph):
            inside = person.skin(photograph.frame) > 0.5
            mine += int(inside.sum())
            if person.burnt is not None:
                belief = person.burnt.on(photograph.frame, photograph.shape)
                hot += int((inside & (belief > BELIEVED)).sum())
        burnt, skin, pictures = burnt + hot, skin + mine, pictures + 1
        many += hot > MOST_OF_A_PICTURE * max(mine, 1)
    return burnt / max(skin, 1.0), many, pictures


def rows(half: str, rendered: Path | None, found_by: Callable[[Sample], Found]) -> list[Row]:
    """Every line that can be measured here."""
    table: list[Row] = []
    multipose, body = (measured(name, half, found_by) for name in ("multipose", "body"))
    views = measured(str(rendered), "all", found_by) if rendered else []
    for name, pictures, before, goal in (
        ("rendered", views, ".857", ".96"),
        ("multipose", multipose, ".910", ".96"),
        ("body", body, ".798", ".88"),
    ):
        if pictures:
            table.append(Row(f"skin F1: {name}", before, goal, f"{pooled(pictures).f1:.3f}"))
    if multipose:
        heads = sum(p.heads_found for p in multipose), sum(p.heads for p in multipose)
        table.append(Row("heads found: multipose", "100 %", "99 %", f"{heads[0]} of {heads[1]}"))
        for part, before, goal in (("eye", ".23 %", ".5 %"), ("lip", ".30 %", ".5 %"),
                                   ("brow", "2.6 %", "1 %"), ("hair", "1.6 %", "1 %")):  # fmt: skip
            table.append(_leak(f"leak: {part}, multipose", multipose, part, before, goal))
    if body:
        false = sum(p.false_faces for p in body)
        table.append(Row("heads that are none: body", "13 of 70", "2 of 70",
                         f"{false} of {len(body)}"))  # fmt: skip
        table.append(Row("worst tone to best: body", ".865", ".97",
                         f"{worst_to_best(by_tone(body)):.3f}"))  # fmt: skip
    if views:
        for part, before in (("tattoo, paint", "49 %"), ("jewellery", "24 %"), ("nostril", "19 %")):
            table.append(_leak(f"leak: {part}, rendered", views, part, before, "5 %"))
        table.append(Row("worst tone to best: rendered", ".735", ".97",
                         f"{worst_to_best(by_known_tone(views)):.3f}"))  # fmt: skip
    if METRICS.is_file():
        known = json.loads(METRICS.read_text()).get("test", {}).get("burn_iou", {})
        for tone, value in known.items():
            goal = ".60" if tone == "dark" else ".80"
            table.append(Row(f"burn belief, rendered {tone}: IoU", "none", goal, f"{value:.2f}"))
    share, many, pictures = believed(half)
    if pictures:
        table.append(Row("belief over one half, nobody burnt", "none", ".3 %",
                         f"{share * 100:.2f} %"))  # fmt: skip
        table.append(Row("pictures with over 3 % of it", "none", "none", f"{many} of {pictures}"))
    if body:
        seconds = float(np.median([p.seconds for p in body]))
        table.append(Row("people stage, body, median", "-", "-", f"{seconds * 1000:.0f} ms"))
    table.append(Row("people stage, 24 megapixels", "510 ms", "250 ms",
                     f"{people_seconds() * 1000:.0f} ms"))  # fmt: skip
    return table


def people_seconds() -> float:
    """Median wall time in which the one person of the benchmarks' 24 megapixels is found."""
    keep_freed_memory()
    with tempfile.TemporaryDirectory() as folder:
        photograph = photo.read(make_frame(Case(24, "jpeg"), Path(folder)))
    return measured_time(lambda: find_people(photograph), RUNS).median


def _leak(measure: str, pictures: Sequence[Figures], part: str, before: str, goal: str) -> Row:
    return Row(measure, before, goal, f"{leaked_share(pictures, part, False) * 100:.2f} %")


def print_rows(table: Sequence[Row]) -> None:
    """The table in plain text."""
    print(f"{'measure':40s} {'before':>10s} {'goal':>10s} {'now':>12s}")
    for row in table:
        print(f"{row.measure:40s} {row.before:>10s} {row.goal:>10s} {row.now:>12s}")
