"""The files of a retouched portrait, written at the same time, or in turn where memory is short."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from evenhand import layers as layering
from evenhand.comparison import comparison
from evenhand.layers.layer import Layer
from evenhand.photo.credentials import Certificate
from evenhand.photo.photograph import CodeValues, Photograph
from evenhand.provenance import write_result
from evenhand.report import Report
from evenhand.screen import Screen, on_screen, write_with_notices
from evenhand.steps.marks_picture import marks_picture

Reporting = Callable[[Sequence[Layer], CodeValues], Report]
"""Makes the report from the layers and the retouched code values."""


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
        """Names for the results of a photograph called `stem` plus `suffix`."""
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
    strengths : mapping of step to float
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
    strengths: Mapping[str, float]
    scales: Mapping[int, float]
    results: Results
    home: Path
    beside: Path
    certificate: Certificate | None
    when: datetime | None

    def at_once(self, layers: Sequence[Layer], report: Reporting) -> Report:
        """Blend, and write everything but the report at the same time."""
        with ThreadPoolExecutor() as threads:
            tasks = [threads.submit(self.save_layers, layers)]
            pixels = self.blended(layers)
            tasks.append(threads.submit(self.write_portrait, layers, pixels))
            tasks.append(threads.submit(self.write_pictures, layers, pixels))
            told = report(layers, pixels)
        for task in tasks:
            task.result()
        return told

    def in_turn(self, layers: list[Layer], report: Reporting) -> Report:
        """The same one after the other; the layers are emptied as soon as nothing needs them."""
        self.save_layers(layers)
        pixels = self.blended(layers)
        told = report(layers, pixels)
        layers[:] = [replace(layer, difference=layer.difference[:0].copy()) for layer in layers]
        self.write_portrait(layers, pixels)
        self.write_pictures(layers, pixels)
        return told

    def blended(self, layers: Sequence[Layer]) -> CodeValues:
        """The retouched code values."""
        return layering.blend(self.photograph, layers, self.strengths)

    def save_layers(self, layers: Sequence[Layer]) -> None:
        """Write the layer set."""
        name = self.results.layers
        layering.save(self.beside / name, self.photograph, layers, self.strengths, self.home / name)

    def write_portrait(self, layers: Sequence[Layer], pixels: CodeValues) -> None:
        """Write the portrait itself."""
        path = self.beside / self.results.portrait
        write_result(
            pixels, self.photograph, path, layers, self.strengths, self.certificate, self.when
        )

    def write_pictures(self, layers: Sequence[Layer], pixels: CodeValues) -> None:
        """Write the before/after picture and, where marks were looked for, the numbered one."""
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
