"""The files of a retouched portrait, written at the same time, or in turn where memory is short."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from evenhand import layers as layering
from evenhand.colour.encoding import CodeValues
from evenhand.layers.layer import Layer
from evenhand.memory import give_freed_memory_back
from evenhand.photo.credentials import Certificate
from evenhand.photo.photograph import Photograph
from evenhand.pictures.comparison import comparison
from evenhand.pictures.marks import marks_picture
from evenhand.pictures.screen import Screen, on_screen, write_with_notices
from evenhand.report import LayerReport
from evenhand.report.filling import Changes, total_difference
from evenhand.retouching.provenance import write_result

Measuring = Callable[[Sequence[Layer]], list[LayerReport]]
"""Measures what each layer does."""


@dataclass(frozen=True)
class Results:
    """Names of a portrait's results in the folder they go to."""

    portrait: str
    layers: str
    comparison: str
    marks: str
    report: str

    @classmethod
    def of(cls, stem: str, suffix: str) -> Results:
        """Names for the results of a photograph called `stem` plus `suffix`.

        Parameters
        ----------
        stem, suffix : str
            "portrait" and ".jpg".

        Returns
        -------
        Results
        """
        return cls(
            portrait=stem + suffix,
            layers=f"{stem}.layers",
            comparison=f"{stem}.before-after.jpg",
            marks=f"{stem}.marks.jpg",
            report=f"{stem}.report.json",
        )

    @property
    def in_order(self) -> list[str]:
        """The report comes last: where it is, everything is."""
        return [self.layers, self.comparison, self.marks, self.portrait, self.report]


@dataclass(frozen=True)
class Writing:
    """What the files of a portrait are made of, but its layers.

    Attributes
    ----------
    photograph : Photograph
        The original.
    strengths : sequence of float
        Of each layer.
    scales : mapping of int to float
        Millimetres per pixel of each person.
    results : Results
        Names.
    home, beside : Path
        Folder that the files are for, and the one that they are written into.
    certificate : Certificate or None
        Who signs.
    when : datetime or None
        Time that the metadata give; now where there is none.
    """

    photograph: Photograph
    strengths: Sequence[float]
    scales: Mapping[int, float]
    results: Results
    home: Path
    beside: Path
    certificate: Certificate | None
    when: datetime | None

    def at_once(self, layers: Sequence[Layer], measured: Measuring) -> Changes:
        """Blend, write everything but the report, and measure, at the same time.

        Parameters
        ----------
        layers : sequence of Layer
        measured : callable
            Gives the report of each layer.

        Returns
        -------
        Changes

        Raises
        ------
        NotWrittenError, OSError
            A file cannot be written.
        """
        with ThreadPoolExecutor() as threads:
            tasks = [threads.submit(self.save_layers, layers)]
            pixels = layering.blend(self.photograph, layers, self.strengths)
            tasks.append(threads.submit(self.write_portrait, layers, pixels))
            tasks.append(threads.submit(self.write_pictures, layers, pixels))
            each = measured(layers)
            total = total_difference(self.photograph, pixels, layers)
        for task in tasks:
            task.result()
        return Changes(each, total)

    def in_turn(self, layers: list[Layer], measured: Measuring) -> Changes:
        """The same one after the other.

        The layers are emptied once they are saved and measured; blending reads the saved ones.

        Parameters
        ----------
        layers : list of Layer
            Emptied in place.
        measured : callable
            Gives the report of each layer.

        Returns
        -------
        Changes

        Raises
        ------
        NotWrittenError, OSError
            A file cannot be written.
        """
        self.save_layers(layers)
        each = measured(layers)
        layers[:] = [replace(layer, difference=layer.difference[:0].copy()) for layer in layers]
        give_freed_memory_back()
        saved = layering.SavedDifferences(self.beside / self.results.layers, layers)
        pixels = layering.blend(self.photograph, layers, self.strengths, saved.read)
        del saved
        give_freed_memory_back()
        total = total_difference(self.photograph, pixels, layers)
        self.write_portrait(layers, pixels)
        self.write_pictures(layers, pixels)
        return Changes(each, total)

    def save_layers(self, layers: Sequence[Layer]) -> None:
        """Write the layer set.

        Parameters
        ----------
        layers : sequence of Layer
        """
        name = self.results.layers
        layering.save(self.beside / name, self.photograph, layers, self.strengths, self.home / name)

    def write_portrait(self, layers: Sequence[Layer], pixels: CodeValues) -> None:
        """Write the portrait itself.

        Parameters
        ----------
        layers : sequence of Layer
            What was blended, for the file's history.
        pixels : ndarray of uint8 or uint16, shape (height, width, 3)
            The result.
        """
        path = self.beside / self.results.portrait
        write_result(
            pixels, self.photograph, path, layers, self.strengths, self.certificate, self.when
        )

    def write_pictures(self, layers: Sequence[Layer], pixels: CodeValues) -> None:
        """Write the before/after picture and, where marks were looked for, the numbered one.

        Parameters
        ----------
        layers : sequence of Layer
            At least one; the before/after picture shows the largest in full size.
        pixels : ndarray of uint8 or uint16, shape (height, width, 3)
            The result.
        """
        largest = max(layers, key=lambda layer: layer.box.area).box
        picture = comparison(self.photograph, pixels, largest)
        write_with_notices(picture, self.beside / self.results.comparison)
        if any(layer.step == "marks" for layer in layers):
            write_with_notices(self._numbered(layers), self.beside / self.results.marks)

    def _numbered(self, layers: Sequence[Layer]) -> Screen:
        """The photograph with every mark outlined and numbered; each person's count from 1."""
        picture = on_screen(self.photograph.pixels, self.photograph.profile)
        for layer in layers:
            if layer.step == "marks":
                scale = self.scales[layer.person]
                picture = marks_picture(picture, layer.facts["marks"], scale)
        return picture
