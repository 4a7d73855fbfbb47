"""Sheets of before, after and truth at 100 %, one a step, one line a skin tone."""

from __future__ import annotations

from pathlib import Path

import colour
import cv2
import numpy as np
import numpy.typing as npt

Light = npt.NDArray[np.floating]
Codes = npt.NDArray[np.uint8]


def codes_of(linear: Light) -> Codes:
    """8-bit sRGB of linear Rec. 2020."""
    values = colour.RGB_to_RGB(linear, "ITU-R BT.2020", "sRGB", apply_cctf_encoding=True)
    return np.asarray(np.rint(255 * np.clip(values, 0, 1)), np.uint8)


class Sheet:
    """Collects the first scene of each step and tone and writes one picture a step."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lines: dict[str, dict[str, Codes]] = {}

    def add(self, step: str, tone: str, before: Light, after: Light, truth: Light) -> None:
        """Put a scene on the step's sheet unless the tone is there already."""
        lines = self._lines.setdefault(step, {})
        if tone not in lines:
            lines[tone] = np.hstack([codes_of(linear) for linear in (before, after, truth)])

    def write(self) -> list[Path]:
        """Write the sheets and return their paths."""
        self.folder.mkdir(parents=True, exist_ok=True)
        paths = []
        for step, lines in self._lines.items():
            path = self.folder / f"{step}.png"
            widest = max(line.shape[1] for line in lines.values())
            padded = [
                np.pad(line, ((0, 0), (0, widest - line.shape[1]), (0, 0)))
                for line in lines.values()
            ]
            cv2.imwrite(str(path), np.vstack(padded)[..., ::-1])
            paths.append(path)
        return paths
