"""Measure skin before a burn as the reference: ``python -m tests.evaluation.reference``.

`--pairs DIR` is what `demo_images/pairs.py` renders: invented people on two days in two lights,
unburnt, burnt in part and all over. Photographs of unburnt people in other light, beside the
repository, must stay as they are; they are skipped where they are absent.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import imagecodecs
import numpy as np
import numpy.typing as npt

from evenhand import photo
from evenhand.errors import EvenhandError
from evenhand.people import find_people
from evenhand.people.person import Person
from evenhand.photo.photograph import Photograph
from evenhand.steps.patch import SkinPatch, patch_of
from evenhand.steps.redness import RednessSettings, redness
from evenhand.steps.reference import day_skin, matched
from tests.evaluation.masks_sets import PHOTOGRAPHS, halves, photographs_of, read_pixels
from tests.evaluation.steps_harm import reduced
from tests.evaluation.steps_measures import difference, residue
from tests.evaluation.steps_photographs import as_scene
from tests.evaluation.steps_sheet import Sheet
from tests.optics.changes import Dose

Light = npt.NDArray[np.float32]

TONES = ("light", "tan", "brown", "dark")
"""People that are rendered, by their skin."""

STATES = ("clean", "burnt", "all_over")
"""The second day, in the order in which it is told."""

BURNT, UNBURNT = 0.3, 0.02
"""Strength of a rendered burn from which skin counts as burnt, and up to which as unburnt."""

FULL_DOSE = 0.03
"""Blood that a rendered burn of 1 counts as."""

SEEN = 4.0
"""CIEDE2000 from which a change of skin is seen as a patch."""

SITTERS, MOST_TURN = 14, 45
"""People a turn of the labelled photographs, two following ones the same person on two occasions;
and turn of the head, degrees, up to which both eyes are seen."""

CAST = 0.08
"""Deviation of the logarithm of each channel's gain by which another balance is simulated."""


@dataclass(frozen=True)
class Seen:
    """A picture and the person in it."""

    photograph: Photograph
    person: Person

    @property
    def patch(self) -> SkinPatch:
        """The person's skin."""
        return patch_of(self.photograph, self.person)


def seen(pixels: npt.NDArray[np.uint8]) -> Seen | None:
    """The person with the most skin in a picture, None where there is nobody."""
    photograph = Photograph(pixels)
    people = [person for person in find_people(photograph) if person.skin_box.area]
    if not people:
        return None
    return Seen(photograph, max(people, key=lambda person: person.skin_box.area))


def measure_rendered(folder: Path, sheet: Sheet) -> None:
    """A line for each tone and state, and sheets of before, after and clean."""
    for tone in TONES:
        before = seen(imagecodecs.imread(folder / f"{tone}_before.jpg"))
        clean = Photograph(imagecodecs.imread(folder / f"{tone}_clean.jpg"))
        skin = imagecodecs.imread(folder / f"{tone}_skin.png") > 242
        for state in STATES:
            now = seen(imagecodecs.imread(folder / f"{tone}_{state}.jpg"))
            if before is None or now is None:
                print(f"{tone:6s} {state:9s} nobody was found")
                continue
            patch, place = now.patch, now.patch.box.slices
            truth = clean.encoding.to_linear(clean.pixels[place])
            reference = matched(day_skin(patch), day_skin(before.patch))
            change = redness(replace(patch, before=reference), RednessSettings())
            burn = np.zeros(skin.shape)
            if state != "clean":
                burn = imagecodecs.imread(folder / f"{tone}_{state}_burn.png") / 255
            inside = skin[place] & (patch.skin > 0.5)
            print(f"{tone:6s} {state:9s} {_line(patch, change.wanted, truth, burn[place], inside)}")
            sheet.add(state, tone, patch.linear, change.wanted, truth)
    print(f"Before, after and clean: {', '.join(str(path) for path in sheet.write())}")


def _line(
    patch: SkinPatch,
    result: Light,
    clean: Light,
    burn: npt.NDArray[np.float64],
    inside: npt.NDArray[np.bool_],
) -> str:
    said = []
    before, after = difference(patch.linear, clean), difference(result, clean)
    moved = difference(result, patch.linear)
    burnt, unburnt = inside & (burn > BURNT), inside & (burn < UNBURNT)
    if burnt.any():
        was, left = before[burnt].mean(), after[burnt].mean()
        said.append(f"burnt to clean {was:.2f}, {left:.2f}: {100 * (1 - left / was):.0f} % less")
        shape = burn.shape
        scene = replace(as_scene(patch), clean=clean, dose=Dose(FULL_DOSE * burn, np.zeros(shape)))
        edges = residue(scene, patch.linear), residue(scene, result)
        if not np.isnan(edges).any():
            said.append(f"residue {edges[0]:.1f}, {edges[1]:.1f} (goal 1.5)")
    if unburnt.any():
        said.append(
            f"unburnt to clean {before[unburnt].mean():.2f}, {after[unburnt].mean():.2f}, moves "
            f"{moved[unburnt].mean():.2f} (goal .4), {100 * (moved[unburnt] > SEEN).mean():.2f} % "
            f"over {SEEN:.0f}"
        )
    return "; ".join(said)


def photographs(half: str) -> Iterator[tuple[int, int, Seen]]:
    """Sitter, turn and person of the labelled photographs of a half that show both eyes."""
    paths = sorted((PHOTOGRAPHS / "multipose" / "photos").glob("*.jpg"))
    for index, path in enumerate(paths):
        turn = int(path.stem.split("yaw")[1])
        if abs(turn) <= MOST_TURN and (index % 2 == 0) == (half == "odd"):
            now = seen(read_pixels(path))
            if now is not None:
                yield index % SITTERS, turn, now


def measure_photographs(half: str) -> None:
    """How far unburnt people move against themselves, the light's colour simulated."""
    mine = list(photographs(half))
    if not mine:
        print("skipped: there are no photographs here")
        return
    turned = {(sitter, turn): one for sitter, turn, one in mine}
    pairs = [(now, turned.get((sitter, 0 if turn else 15))) for sitter, turn, now in mine]
    print(f"at another turn: {_harm(pairs)}", flush=True)
    if half == "even":
        earlier = {sitter + 1: one for sitter, turn, one in photographs("odd") if turn == 0}
        pairs = [(now, earlier.get(sitter)) for sitter, _, now in mine]
        print(f"on another occasion: {_harm(pairs)}", flush=True)
    pairs = [(now, now) for now in everybody(half)]
    print(f"head to foot, portraits, groups, in the same picture: {_harm(pairs)}")


def everybody(half: str) -> Iterator[Seen]:
    """People of the other sets, reduced as for the measure of harm."""
    for name in ("body", "portraits", "groups"):
        for path in halves(photographs_of(name), half):
            try:
                photograph = reduced(photo.read(path))
            except EvenhandError:
                continue
            for person in find_people(photograph):
                if person.skin_box.area:
                    yield Seen(photograph, person)


def _harm(pairs: Iterable[tuple[Seen, Seen | None]]) -> str:
    rng = np.random.default_rng(1)
    found = [_moved(now.patch, one.patch, rng) for now, one in pairs if one is not None]
    mean, over = np.transpose(found)
    return (
        f"{len(found)} people, skin moves {mean.mean():.2f} (goal .4), at most {mean.max():.2f}; "
        f"{100 * over.mean():.2f} % of it by over {SEEN:.0f} (goal 0), at most "
        f"{100 * over.max():.1f} %, of {int((over > 0).sum())}"
    )


def _moved(now: SkinPatch, before: SkinPatch, rng: np.random.Generator) -> tuple[float, float]:
    """Mean CIEDE2000 of unburnt skin, and share over `SEEN`, against an earlier portrait."""
    gains = np.exp(rng.normal(0, CAST, 3))
    light = np.minimum(now.linear * (gains / gains[1]).astype(np.float32), 1)
    patch = replace(now, light=light)
    reference = matched(day_skin(patch), day_skin(before))
    wanted = redness(replace(patch, before=reference), RednessSettings()).wanted
    moved = difference(wanted, light)[now.skin > 0.5]
    return float(moved.mean()), float((moved > SEEN).mean())


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=Path, help="what demo_images/pairs.py rendered")
    parser.add_argument("--half", choices=["odd", "even"], default="even", help="of photographs")
    parser.add_argument("--out", type=Path, default=Path("build/reference"))
    chosen = parser.parse_args()
    if chosen.pairs is not None:
        print("Rendered people, compared with themselves the day before in another light")
        measure_rendered(chosen.pairs, Sheet(chosen.out))
    print("\nPhotographed people without a burn, compared with themselves")
    measure_photographs(chosen.half)


if __name__ == "__main__":
    main()
