"""Computes a photograph's layers: the steps asked for and agreed to, inside their caps."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from evenhand.computing.settings import STEPS, RetouchSettings
from evenhand.computing.step import Chosen, Step
from evenhand.computing.stopwatch import Stopwatch
from evenhand.layers.layer import Layer
from evenhand.layers.making import layer_from_change
from evenhand.layers.summing import limit_sum
from evenhand.people.person import Person
from evenhand.photo.photograph import Photograph
from evenhand.processors import PROCESSORS
from evenhand.steps.gain import Gain, added
from evenhand.steps.patch import Change, ReferenceSkin, SkinPatch, frame_of, patch_of

MOST_AT_ONCE = 50_000_000
"""Pixels up to which people are retouched, and results written, at the same time; of more, one
after the other, since each takes as much memory as the photograph."""

DARKEST = 1e-6
"""Linear light below which a gain means nothing; the smallest step of 16 bits is 15 times it."""


@dataclass(frozen=True)
class _Asked:
    """A step asked for of a person, with its settings."""

    step: Step
    settings: Chosen


def compute_layers(
    photograph: Photograph,
    people: Sequence[Person],
    settings: RetouchSettings | None = None,
    *,
    permission: Mapping[int, Collection[str]] | None = None,
    references: Mapping[int, ReferenceSkin] = MappingProxyType({}),
    further: Sequence[Step] = (),
    clock: Stopwatch | None = None,
) -> list[Layer]:
    """Compute the layers of every step for every person.

    Parameters
    ----------
    photograph : Photograph
        The original.
    people : sequence of Person
        Who is in it, from `find_people`.
    settings : RetouchSettings, optional
        Steps, strengths, caps; they may differ from person to person.
    permission : mapping of int to collection of str, optional
        Steps that each person, by index, agreed to: no other runs on them, and none on a person who
        is not in it. Without it everything asked for runs, and it is you who has asked.
    references : mapping of int to ReferenceSkin
        Skin from before a burn, in this photograph's light, by person's index
        (`evenhand.retouching.earlier`).
    further : sequence of Step
        Steps of your own, with their settings; they run on everybody, after the others, and need
        permission like them.
    clock : Stopwatch, optional
        What times the stages.

    Returns
    -------
    list of Layer
        By person, in the steps' order; each inside its step's cap, and together inside the sum's,
        whatever the strength of each. A person without skin, and a step without what it works on
        (eyes that are not seen), make none.

    Raises
    ------
    WrongSettingError
        A cap is no positive number.
    ValueError
        A step of your own has no settings, or wants a change of another shape than its patch.

    Examples
    --------
    >>> import evenhand
    >>> layers = evenhand.compute_layers(photo, people)
    >>> [(layer.step, layer.person) for layer in layers]
    [('redness', 0), ('smoothing', 0)]
    >>> evenhand.compute_layers(photo, people, permission={0: {"smoothing"}})[0].step
    'smoothing'
    """
    settings, clock = settings or RetouchSettings(), clock or Stopwatch()
    shown = [person for person in people if person.skin_box.area]
    asked = {person.index: _asked(person, settings, permission, further) for person in shown}
    at_once = PROCESSORS if photograph.frame.area <= MOST_AT_ONCE else 1
    with ThreadPoolExecutor(at_once) as threads:
        found = threads.map(
            lambda person: _layers_of_person(
                photograph, person, asked[person.index], references.get(person.index), clock
            ),
            shown,
        )
        layers = [layer for those in found for layer in those]
    with clock("sum"):
        return limit_sum(photograph, layers, settings.cap, in_place=True)


def strengths_of(layers: Sequence[Layer]) -> list[float]:
    """Strength of each layer that the settings it was computed with ask for.

    Parameters
    ----------
    layers : sequence of Layer
        From `compute_layers`.

    Returns
    -------
    list of float
        In [0, 1].

    Examples
    --------
    >>> import evenhand
    >>> evenhand.strengths_of(evenhand.compute_layers(photo, people))
    [1.0, 0.55]
    """
    return [float(layer.settings["strength"]) for layer in layers]


def _asked(
    person: Person,
    settings: RetouchSettings,
    permission: Mapping[int, Collection[str]] | None,
    further: Sequence[Step],
) -> list[_Asked]:
    """Steps asked for of a person that they agreed to."""
    chosen = settings.of(person.index)
    asked = [_Asked(STEPS[name], chosen.of_step(name)) for name in chosen.steps]
    for step in further:
        if step.settings is None:
            raise ValueError(f"the step {step.name!r} has no settings")
        asked.append(_Asked(step, step.settings))
    if permission is None:
        return asked
    agreed = permission.get(person.index, ())
    return [one for one in asked if one.step.name in agreed]


def _layers_of_person(
    photograph: Photograph,
    person: Person,
    asked: Sequence[_Asked],
    before: ReferenceSkin | None,
    clock: Stopwatch,
) -> list[Layer]:
    """One person's layers; each step sees what the steps before it want, so none acts twice.

    A layer is made of what a step wants while the next step is computed.
    """
    with clock("cut"):
        patch = replace(patch_of(photograph, person), before=before)
    so_far = patch

    def made(one: _Asked, patch: SkinPatch, change: Change | Gain) -> Layer:
        with clock(f"{one.step.name} layer"):
            return _layer(photograph, person, one, patch, change)

    with ThreadPoolExecutor(1) as beside:
        making = []
        for one in asked:
            whole = one.step.whole_frame
            given = frame_of(photograph, person) if whole else so_far
            if one.step.where(given) is None:
                continue
            with clock(one.step.name):
                change = one.step.run(given, one.settings)
            if whole:
                making.append(beside.submit(made, one, given, change))
            else:
                change_of_original = _on_original(patch, so_far, change)
                making.append(beside.submit(made, one, patch, change_of_original))
                so_far = _after(so_far, change)
    return [layer.result() for layer in making]


def _on_original(patch: SkinPatch, so_far: SkinPatch, change: Change | Gain) -> Change | Gain:
    """What a step wants of the patch as the steps before left it, as a change of the original.

    It is carried over in optical density, in which steps add up.
    """
    if isinstance(change, Gain):
        return replace(change, patch=patch)
    if so_far.light is patch.light:
        return change
    gain = np.ones_like(change.wanted)
    lit = (so_far.linear > DARKEST) & (change.wanted != so_far.linear)
    np.divide(change.wanted, so_far.linear, out=gain, where=lit)
    return replace(change, wanted=patch.linear * gain)


def _after(patch: SkinPatch, change: Change | Gain) -> SkinPatch:
    """The patch as the next step shall see it."""
    if isinstance(change, Gain):
        return replace(patch, evened=added(patch.evened, change.log_gain))
    return replace(patch, light=change.wanted)


def _layer(
    photograph: Photograph, person: Person, one: _Asked, patch: SkinPatch, change: Change | Gain
) -> Layer:
    """The layer of a step's change: inside its mask, inside its cap."""
    mask = one.step.where(patch)
    assert mask is not None
    return layer_from_change(
        photograph,
        person.index,
        one.step.name,
        patch.box,
        change,
        mask,
        one.settings.cap,
        one.settings.model_dump(),
    )
