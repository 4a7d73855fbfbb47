"""What jobs ask of the engine, and the engine behind it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Protocol

from pydantic import BaseModel, ValidationError

from evenhand.colour.encoding import CodeValues
from evenhand.errors import WrongSettingError
from evenhand.layers.layer import Layer
from evenhand.people.person import Mask, Person
from evenhand.photo.photograph import Photograph
from evenhand.shoots.inputs import TONE

if TYPE_CHECKING:
    from evenhand.computing import Step
    from evenhand.pictures.outlines import Points
    from evenhand.steps.redness import Sight
    from evenhand.steps.reference import DaySkin
    from evenhand.steps.tone import SkinTone

Wanted = Mapping[int, Mapping[str, Mapping[str, Any]]]
"""Settings by person's index and step; a step that is not named is not run."""


NOBODY: Mapping[int, DaySkin] = MappingProxyType({})
"""Nobody's skin before a burn."""

NO_TONES: Mapping[int, SkinTone] = MappingProxyType({})
"""Nobody's tone to match."""


class Retoucher(Protocol):
    """Finds people and computes layers; holds nothing between calls."""

    def settings(self) -> Mapping[str, type[BaseModel]]:
        """Settings model of every step, in the order in which they run."""
        ...

    def read(self, path: Path) -> Photograph:
        """The photograph of a file.

        Parameters
        ----------
        path : path

        Returns
        -------
        Photograph

        Raises
        ------
        EvenhandError
            The file cannot be read.
        """
        ...

    def find(self, photograph: Photograph) -> Sequence[Person]:
        """Everybody in a photograph.

        Parameters
        ----------
        photograph : Photograph

        Returns
        -------
        sequence of Person
            In the order of their index.
        """
        ...

    def layers(
        self,
        photograph: Photograph,
        people: Sequence[Person],
        wanted: Wanted,
        before: Mapping[int, DaySkin] = NOBODY,
        tones: Mapping[int, SkinTone] = NO_TONES,
    ) -> list[Layer]:
        """Layers of the wanted steps, each inside its cap and together inside the sum's.

        Parameters
        ----------
        photograph : Photograph
        people : sequence of Person
        wanted : mapping of int to mapping of str to mapping
            Steps by a person's index, and each step's settings.
        before : mapping of int to DaySkin
            People's skin before a burn, by index.
        tones : mapping of int to SkinTone
            People's skin as it should look, by index; the tone step runs for nobody else.

        Returns
        -------
        list of Layer

        Raises
        ------
        EvenhandError
            An earlier portrait shows nothing that is seen here.
        """
        ...

    def skin_before(self, photograph: Photograph, person: Person, name: str) -> DaySkin:
        """Skin of a person in a portrait of that name, taken before a burn.

        Parameters
        ----------
        photograph : Photograph
            The earlier portrait.
        person : Person
            Who is meant.
        name : str
            The portrait's name, for messages.

        Returns
        -------
        DaySkin

        Raises
        ------
        EvenhandError
            Too little skin is seen.
        """
        ...

    def skin_tone(self, photograph: Photograph, person: Person) -> SkinTone | None:
        """Skin of a person in a photograph, to match others to.

        Parameters
        ----------
        photograph : Photograph
        person : Person

        Returns
        -------
        SkinTone or None
            None where too little skin is seen.
        """
        ...

    def skin_under(self, photograph: Photograph, stroke: Mask) -> Mask:
        """The part of a rough stroke that is skin, as far as its middle is.

        Parameters
        ----------
        photograph : Photograph
        stroke : Mask

        Returns
        -------
        Mask
            Nowhere more than the stroke.
        """
        ...

    def look_for_burns(
        self, photograph: Photograph, person: Person, before: DaySkin | None
    ) -> Sight | None:
        """Look at a person's skin once, to be asked about burns as points are given.

        Parameters
        ----------
        photograph : Photograph
        person : Person
        before : DaySkin or None
            Their skin before the burn.

        Returns
        -------
        Sight or None
            None where no skin is seen.

        Raises
        ------
        EvenhandError
            The earlier portrait shows nothing that is seen here.
        """
        ...

    def burn_outlines(self, sight: Sight, settings: Mapping[str, Any]) -> list[Points]:
        """Outlines of what redness would take off or ease, told these points.

        Parameters
        ----------
        sight : Sight
            From `look_for_burns`.
        settings : mapping
            `burnt_at` and `leave_at` of the redness step.

        Returns
        -------
        list of ndarray of float32, shape (points, 2)
            Column and row in the photograph.
        """
        ...

    def blend(
        self, photograph: Photograph, layers: Sequence[Layer], strengths: Sequence[float]
    ) -> CodeValues:
        """The photograph's pixels with every layer at its strength.

        Parameters
        ----------
        photograph : Photograph
        layers : sequence of Layer
        strengths : sequence of float
            Of each layer, in [0, 1].

        Returns
        -------
        ndarray of the photograph's dtype and shape
        """
        ...

    def write(
        self,
        pixels: CodeValues,
        photograph: Photograph,
        folder: Path,
        layers: Sequence[Layer],
        strengths: Sequence[float],
    ) -> Path:
        """Write a result, which says what was done, in the original's format.

        Parameters
        ----------
        pixels : ndarray like `photograph.pixels`
        photograph : Photograph
        folder : path
            Where the file is made.
        layers : sequence of Layer
        strengths : sequence of float
            Of each layer, in [0, 1].

        Returns
        -------
        Path
            The file.

        Raises
        ------
        EvenhandError
            The file cannot be written.
        """
        ...


class Engine:
    """The retoucher that Evenhand is; loads what it needs when it is first asked."""

    def settings(self) -> Mapping[str, type[BaseModel]]:
        """Settings model of every step, the match over a shoot too."""
        from evenhand.computing import settings_models
        from evenhand.steps.tone import ToneSettings

        return {**settings_models(), TONE: ToneSettings}

    def read(self, path: Path) -> Photograph:
        """The photograph of a file.

        Parameters
        ----------
        path : path

        Returns
        -------
        Photograph

        Raises
        ------
        EvenhandError
            As `evenhand.photo.read` raises.
        """
        from evenhand import photo

        return photo.read(path)

    def find(self, photograph: Photograph) -> Sequence[Person]:
        """Everybody in a photograph.

        Parameters
        ----------
        photograph : Photograph

        Returns
        -------
        sequence of Person
        """
        from evenhand.people.finding import find_people

        return find_people(photograph)

    def skin_before(self, photograph: Photograph, person: Person, name: str) -> DaySkin:
        """Skin of a person in a portrait taken before a burn.

        Parameters
        ----------
        photograph : Photograph
        person : Person
        name : str

        Returns
        -------
        DaySkin

        Raises
        ------
        WrongPhotographError
            Too little of the person's skin is seen in it, or it is blown out.
        """
        from evenhand.retouching.earlier import measured

        return measured(photograph, person, name)

    def layers(
        self,
        photograph: Photograph,
        people: Sequence[Person],
        wanted: Wanted,
        before: Mapping[int, DaySkin] = NOBODY,
        tones: Mapping[int, SkinTone] = NO_TONES,
    ) -> list[Layer]:
        """Layers of the wanted steps.

        Parameters
        ----------
        photograph : Photograph
        people : sequence of Person
        wanted : mapping of int to mapping of str to mapping
        before : mapping of int to DaySkin
        tones : mapping of int to SkinTone

        Returns
        -------
        list of Layer

        Raises
        ------
        WrongPhotographError
            An earlier portrait shows nothing that is seen here.
        """
        from evenhand.computing import RetouchSettings, compute_layers
        from evenhand.people.finding import looked_again
        from evenhand.retouching.earlier import reference_of

        matching = [
            step
            for person in people
            if TONE in wanted.get(person.index, {}) and person.index in tones
            for step in self._matching(
                photograph, person, tones[person.index], wanted[person.index][TONE]
            )
        ]
        on_skin = {
            index: {step: of[step] for step in of if step != TONE} for index, of in wanted.items()
        }
        settings = RetouchSettings.model_validate(
            {"by_person": {index: {"steps": tuple(of), **of} for index, of in on_skin.items()}}
        )
        people = [looked_again(photograph, one) if wanted.get(one.index) else one for one in people]
        name = _name_of(photograph)
        references = {
            person.index: reference_of(photograph, person, before[person.index], name)
            for person in people
            if person.index in before and wanted.get(person.index)
        }
        return compute_layers(
            photograph,
            people,
            settings,
            permission=wanted,
            references=references,
            further=matching,
        )

    def skin_tone(self, photograph: Photograph, person: Person) -> SkinTone | None:
        """Skin of a person in a photograph, to match others to.

        Parameters
        ----------
        photograph : Photograph
        person : Person

        Returns
        -------
        SkinTone or None
        """
        from evenhand.retouching.tone_matching import measured_tone

        return measured_tone(photograph, person)

    def _matching(
        self,
        photograph: Photograph,
        person: Person,
        reference: SkinTone,
        settings: Mapping[str, Any],
    ) -> list[Step]:
        """The step that matches a portrait to a reference; none where too little skin is seen."""
        from evenhand.retouching.tone_matching import tone_step
        from evenhand.steps.tone import ToneSettings

        tone = self.skin_tone(photograph, person)
        chosen = ToneSettings.model_validate(dict(settings))
        return [] if tone is None else [tone_step(tone, reference, chosen)]

    def skin_under(self, photograph: Photograph, stroke: Mask) -> Mask:
        """The part of a rough stroke that is skin.

        Parameters
        ----------
        photograph : Photograph
        stroke : Mask

        Returns
        -------
        Mask
        """
        from evenhand.people.stroked import skin_under

        return skin_under(photograph, stroke)

    def look_for_burns(
        self, photograph: Photograph, person: Person, before: DaySkin | None
    ) -> Sight | None:
        """Look at a person's skin once.

        Parameters
        ----------
        photograph : Photograph
        person : Person
        before : DaySkin or None

        Returns
        -------
        Sight or None

        Raises
        ------
        WrongPhotographError
            The earlier portrait shows nothing that is seen here.
        """
        from evenhand.people.finding import looked_again
        from evenhand.retouching.earlier import reference_of
        from evenhand.steps.patch import patch_of
        from evenhand.steps.redness import seen_in

        if not person.skin_box.area:
            return None
        patch = patch_of(photograph, looked_again(photograph, person))
        if before is not None:
            reference = reference_of(photograph, person, before, _name_of(photograph))
            patch = replace(patch, before=reference)
        sight = seen_in(patch)
        # the regions hold on to the photograph
        return sight and replace(sight, skin=replace(sight.skin, regions={}))

    def burn_outlines(self, sight: Sight, settings: Mapping[str, Any]) -> list[Points]:
        """Outlines of what redness would take off or ease.

        Parameters
        ----------
        sight : Sight
        settings : mapping

        Returns
        -------
        list of ndarray of float32, shape (points, 2)
        """
        from evenhand.pictures.outlines import outlines
        from evenhand.steps.redness import RednessSettings, burns_in

        return outlines(burns_in(sight, RednessSettings.model_validate(dict(settings))), sight.box)

    def blend(
        self, photograph: Photograph, layers: Sequence[Layer], strengths: Sequence[float]
    ) -> CodeValues:
        """The photograph's pixels with every layer at its strength.

        Parameters
        ----------
        photograph : Photograph
        layers : sequence of Layer
        strengths : sequence of float

        Returns
        -------
        ndarray of the photograph's dtype and shape
        """
        from evenhand import layers as layering

        return layering.blend(photograph, layers, strengths)

    def write(
        self,
        pixels: CodeValues,
        photograph: Photograph,
        folder: Path,
        layers: Sequence[Layer],
        strengths: Sequence[float],
    ) -> Path:
        """Write a result in the original's format into a folder.

        Parameters
        ----------
        pixels : ndarray like `photograph.pixels`
        photograph : Photograph
        folder : path
        layers : sequence of Layer
        strengths : sequence of float

        Returns
        -------
        Path

        Raises
        ------
        NotWrittenError
            As `evenhand.photo.write` raises.
        """
        from evenhand.retouching.provenance import write_result

        out = folder / f"final{photograph.result_suffix}"
        write_result(pixels, photograph, out, layers, strengths)
        return out


def _name_of(photograph: Photograph) -> str:
    return photograph.path.name if photograph.path else "The photograph"


def checked(retoucher: Retoucher, step: str, settings: Mapping[str, Any]) -> dict[str, Any]:
    """Settings of a step that were given, as its model reads them.

    Parameters
    ----------
    retoucher : Retoucher
        Whose steps there are.
    step : str
    settings : mapping
        Plain values, as they came.

    Returns
    -------
    dict
        Plain values of what was given, without defaults.

    Raises
    ------
    WrongSettingError
        There is no such step, or a setting is unknown or outside its limits.
    """
    models = retoucher.settings()
    if step not in models:
        raise WrongSettingError(
            f"There is no step {step!r}.", f"The steps are {', '.join(models)}."
        )
    try:
        taken = models[step].model_validate(dict(settings))
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"])) or step
        raise WrongSettingError(
            f"{step}.{where}: {first['msg']}.", "List the steps to see their settings' limits."
        ) from None
    return taken.model_dump(mode="json", exclude_unset=True)
