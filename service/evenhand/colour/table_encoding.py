"""Encodings of profiles that hold tables: through little-cms, with its inverse made exact."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from evenhand.colour.primaries import D50_TO_D65, XYZ_TO_WORKING

Lights = npt.NDArray[np.float32]

RELATIVE_COLORIMETRIC = 1
# Rendering intent: colours relative to the medium's white (ICC.1:2022, 7.2.15).

NEWTON_STEPS = 20
# Most corrections of the profile's own inverse table, which is only near the inverse.

STEP_LENGTHS = (1.0, 0.5, 0.2, 0.05)
# Parts of a Newton step that are tried in turn.

NEWTON_PROBE = 1.0 / 1024.0
# Device step of the numerical derivative; half the cell of a 512-entry curve.

CLOSE_ENOUGH = 2e-7
# Largest error in working light at which a pixel needs no further correction.


class TableEncoding:
    """An encoding by a profile's tables.

    The tables are evaluated in 16 bits, so that code values come back to within 0.2 of an 8-bit
    code in deep shadows and 0.02 elsewhere.

    Parameters
    ----------
    profile : bytes
        ICC profile of RGB data.

    Raises
    ------
    ValueError
        little-cms cannot use the profile.
    """

    def __init__(self, profile: bytes) -> None:
        self._profile = profile
        self._to_working = XYZ_TO_WORKING @ D50_TO_D65
        corners = np.array([[0, 0, 0], [1, 1, 1]], np.float32)
        try:
            black, white = self._working(corners)
            self._device(corners)
        except RuntimeError as fault:
            raise ValueError(str(fault)) from fault
        if not (np.isfinite(black).all() and np.isfinite(white).all() and white[1] > black[1]):
            raise ValueError("white is not lighter than black")

    def to_linear(self, code_values: npt.NDArray[np.uint8] | npt.NDArray[np.uint16]) -> Lights:
        """Linear light of uint8 or uint16 code values, shape (..., 3).

        Parameters
        ----------
        code_values : ndarray of uint8 or uint16, shape (..., 3)

        Returns
        -------
        ndarray of float32, shape (..., 3)
            Rec. 2020, D65, 1.0 for the file's white.

        Raises
        ------
        TypeError
            The code values are of another type.
        """
        if code_values.dtype not in (np.uint8, np.uint16):
            raise TypeError(f"code values must be uint8 or uint16, not {code_values.dtype}")
        white = np.float32(np.iinfo(code_values.dtype).max)
        device = code_values.reshape(-1, 3).astype(np.float32) / white
        return self._working(device).reshape(code_values.shape)

    def from_linear(self, linear: Lights, white: int) -> Lights:
        """Real-valued code values in [0, white] nearest to `linear`, not rounded, (..., 3).

        Parameters
        ----------
        linear : ndarray of float32, shape (..., 3)
            Working light; what the profile cannot hold comes to its nearest edge.
        white : int
            Largest code value: 255 or 65535.

        Returns
        -------
        ndarray of float32, shape (..., 3)
        """
        goal = linear.reshape(-1, 3)
        device = np.clip(self._device(goal), 0.0, 1.0)
        self._correct(device, goal)
        return (device * np.float32(white)).reshape(linear.shape)

    def _correct(self, device: Lights, goal: Lights) -> None:
        """Newton steps on the forward table until `device` gives `goal`, in place."""
        pixels = np.arange(len(goal))
        for _ in range(NEWTON_STEPS):
            trial = device[pixels]
            error = goal[pixels] - self._working(trial)
            far = np.abs(error).max(axis=1) > CLOSE_ENOUGH
            pixels, trial, error = pixels[far], trial[far], error[far]
            if not pixels.size:
                return
            moved = self._improved(trial, error, goal[pixels])
            better = (moved != trial).any(axis=1)
            pixels = pixels[better]
            device[pixels] = moved[better]

    def _improved(self, device: Lights, error: Lights, goal: Lights) -> Lights:
        """Device values a Newton step nearer to `goal`, or the same where none is nearer.

        A table has edges, past which a whole step can lead astray: then shorter ones are tried.
        """
        step, size = self._newton_step(device, error), np.abs(error).max(axis=1)
        result, tried = device.copy(), np.arange(len(device))
        for length in STEP_LENGTHS:
            moved = np.clip(device[tried] + np.float32(length) * step[tried], 0.0, 1.0)
            nearer = np.abs(goal[tried] - self._working(moved)).max(axis=1) < size[tried]
            result[tried[nearer]] = moved[nearer]
            tried = tried[~nearer]
            if not tried.size:
                break
        return result

    def _newton_step(self, device: Lights, error: Lights) -> Lights:
        """Device steps that would remove `error` were the table straight around `device`."""
        slopes = np.empty((len(device), 3, 3))
        for channel in range(3):
            probe = device.copy()
            sign = np.where(device[:, channel] > 0.5, -1.0, 1.0).astype(np.float32)
            probe[:, channel] += sign * np.float32(NEWTON_PROBE)
            there = self._working(probe).astype(np.float64)
            here = self._working(device)
            slopes[:, :, channel] = (there - here) * (sign / NEWTON_PROBE)[:, None]
        slopes += 1e-9 * np.eye(3)
        steps: Lights = np.linalg.solve(slopes, error[..., None])[..., 0].astype(np.float32)
        return steps

    def _working(self, device: Lights) -> Lights:
        """Working light of device values in [0, 1], shape (n, 3)."""
        xyz = self._transformed(device, self._profile, _xyz_profile(), "rgb", "xyz")
        working: Lights = (xyz @ self._to_working.T).astype(np.float32)
        return working

    def _device(self, linear: Lights) -> Lights:
        """The profile's own device values of working light, shape (n, 3)."""
        xyz = (linear @ np.linalg.inv(self._to_working).T).astype(np.float32)
        return self._transformed(xyz, _xyz_profile(), self._profile, "xyz", "rgb")

    @staticmethod
    def _transformed(values: Lights, source: bytes, target: bytes, come: str, go: str) -> Lights:
        from imagecodecs import cms_transform

        row = np.ascontiguousarray(values, np.float32)[None]
        moved: Lights = cms_transform(
            row, source, target, colorspace=come, outcolorspace=go, outdtype="f4",
            intent=RELATIVE_COLORIMETRIC,
        )[0]  # fmt: skip
        return moved


def _xyz_profile() -> bytes:
    from imagecodecs import cms_profile

    profile: bytes = cms_profile("xyz")
    return profile
