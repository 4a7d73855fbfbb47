"""What may be asked of the engine: the steps, their settings, and for whom they hold."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from pydantic import BaseModel, ConfigDict, Field, field_validator

from evenhand.computing.step import Chosen, Step
from evenhand.people.finding import PeopleSettings
from evenhand.people.person import Region
from evenhand.steps.eyes import EyesSettings, eyes
from evenhand.steps.marks import MarksSettings, marks
from evenhand.steps.redness import RednessSettings, redness
from evenhand.steps.smoothing import SmoothingSettings, smoothing

STEPS: Mapping[str, Step] = {
    step.name: step
    for step in (
        Step("marks", marks),
        Step("redness", redness),
        Step("smoothing", smoothing),
        Step("eyes", eyes, lambda patch: patch.masks.get(Region.EYE)),
    )
}
"""Every step by name, in the order in which they run."""

DEFAULT_STEPS = ("redness", "smoothing")
"""Steps that run when none are named."""


class StepSettings(BaseModel):
    """Which steps run, and how.

    Examples
    --------
    >>> StepSettings(steps=("smoothing", "marks")).steps
    ('marks', 'smoothing')
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    steps: tuple[str, ...] = Field(
        DEFAULT_STEPS, description="Steps to run: " + ", ".join(STEPS) + "."
    )
    redness: RednessSettings = Field(default_factory=RednessSettings)
    smoothing: SmoothingSettings = Field(default_factory=SmoothingSettings)
    marks: MarksSettings = Field(default_factory=MarksSettings)
    eyes: EyesSettings = Field(default_factory=EyesSettings)

    @field_validator("steps")
    @classmethod
    def _known_steps(cls, steps: tuple[str, ...]) -> tuple[str, ...]:
        unknown = [step for step in steps if step not in STEPS]
        if unknown:
            raise ValueError(f"unknown step {unknown[0]!r}; there are {', '.join(STEPS)}")
        return tuple(step for step in STEPS if step in steps)

    def of_step(self, name: str) -> Chosen:
        """Settings of the step with a name.

        Parameters
        ----------
        name : str
            One of `STEPS`.

        Returns
        -------
        Chosen
            The step's settings model.

        Raises
        ------
        AttributeError
            There is no such step.
        """
        return cast(Chosen, getattr(self, name))


class RetouchSettings(StepSettings):
    """What to do to a photograph.

    Examples
    --------
    Smoothing for everybody, and for the second person from the left the marks alone; nothing is
    smoothed on the neck:

    >>> settings = RetouchSettings(
    ...     steps=("smoothing",),
    ...     smoothing={"by_region": {"neck": 0}},
    ...     by_person={1: {"steps": ("marks",)}},
    ... )
    >>> settings.of(0).steps, settings.of(1).steps
    (('smoothing',), ('marks',))
    """

    cap: float = Field(
        30.0, gt=0, le=40, description="Largest CIEDE2000 that all layers together may make."
    )
    people: PeopleSettings = Field(default_factory=PeopleSettings)
    skin_at: tuple[tuple[int, int], ...] = Field(
        (),
        description="Points (column, row) on bare skin of the upright photograph, for skin "
        "without a face.",
    )
    by_person: Mapping[int, StepSettings] = Field(
        default_factory=dict,
        description="Steps and settings of single people, by index, instead of the ones above.",
    )

    def of(self, person: int) -> StepSettings:
        """Steps and settings of the person with an index.

        Parameters
        ----------
        person : int
            Index of the person.

        Returns
        -------
        StepSettings
            Their own, or these where they have none.
        """
        return self.by_person.get(person, self)


def settings_models() -> dict[str, type[BaseModel]]:
    """Settings model of every step by name, in the order in which they run."""
    return {
        name: cast(type[BaseModel], StepSettings.model_fields[name].annotation) for name in STEPS
    }
