"""ICC profiles written from the numbers of the standards: matrix ones and one of tables."""

from __future__ import annotations

import struct

import colour
import numpy as np
import numpy.typing as npt

Reals = npt.NDArray[np.float64]

D50 = np.array([0.9642, 1.0, 0.8249])
"""White of the ICC connection space."""

ROMM_CURVE = (3, (1.8, 1.0, 0.0, 1 / 16, 16 * 0.001953125))
"""ISO 22028-2: E = 16 I below I = 0.001953125, else I^(1/1.8)."""

SRGB_CURVE = (3, (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
"""IEC 61966-2-1."""

REC_2020_CURVE = (3, (1 / 0.45, 1 / 1.0993, 0.0993 / 1.0993, 1 / 4.5, 4.5 * 0.0181))
"""ITU-R BT.2020-2, table 4, 12 bits: below E = 0.0181 E' = 4.5 E, else 1.0993 E^0.45 - 0.0993."""


def adobe_rgb() -> bytes:
    """Adobe RGB (1998): gamma 563/256."""
    return matrix_profile("Adobe RGB (1998)", _curv([round(563 / 256 * 256)]))


def display_p3() -> bytes:
    return matrix_profile("Display P3", _para(*SRGB_CURVE))


def rec_2020() -> bytes:
    return matrix_profile("ITU-R BT.2020", _para(*REC_2020_CURVE))


def romm() -> bytes:
    return matrix_profile("ROMM RGB", _para(*ROMM_CURVE))


def srgb_of_samples(count: int = 1024) -> bytes:
    """sRGB with a curve of rounded samples, as the oldest profiles have it."""
    device = np.linspace(0, 1, count)
    samples = np.where(device <= 0.04045, device / 12.92, ((device + 0.055) / 1.055) ** 2.4)
    return matrix_profile("sRGB", _curv(np.rint(samples * 65535).astype(int).tolist()))


def parametric(function: int, parameters: tuple[float, ...]) -> bytes:
    """sRGB's colorants with any parametric curve."""
    return matrix_profile("sRGB", _para(function, parameters))


def matrix_profile(space: str, curve: bytes) -> bytes:
    """Profile of a colour-science RGB space, its colorants carried to D50 by Bradford."""
    rgb = colour.RGB_COLOURSPACES[space]
    white = colour.xy_to_XYZ(rgb.whitepoint)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(white, D50, "Bradford")
    colorants = adapt @ colour.normalised_primary_matrix(rgb.primaries, rgb.whitepoint)
    tags = {b"wtpt": _xyz(D50)}
    for channel, name in enumerate((b"r", b"g", b"b")):
        tags[name + b"XYZ"] = _xyz(colorants[:, channel])
        tags[name + b"TRC"] = curve
    return profile(tags, b"XYZ ")


def table_profile() -> bytes:
    """A profile of tables both ways, in L*a*b*, of a device that mixes its channels a little.

    The tables back are coarse, as those of real profiles are.
    """
    to_xyz = colour.normalised_primary_matrix(
        colour.RGB_COLOURSPACES["sRGB"].primaries, colour.RGB_COLOURSPACES["sRGB"].whitepoint
    )
    to_xyz *= (D50 / to_xyz.sum(axis=1))[:, None]
    mix = np.array([[0.96, 0.03, 0.01], [0.02, 0.95, 0.03], [0.01, 0.04, 0.95]])

    def forward(device: Reals) -> Reals:
        return _lab((device @ mix.T) ** 2.1 @ to_xyz.T)

    def backward(lab: Reals) -> Reals:
        light = np.maximum(_xyz_of(lab) @ np.linalg.inv(to_xyz).T, 0)
        return np.clip(light ** (1 / 2.1) @ np.linalg.inv(mix).T, 0, 1)

    there = _encoded_lab(forward(_grid(33))).reshape(-1)
    lab_grid = _grid(17) * 65535 / 65280 * [100, 255, 255] - [0, 128, 128]
    back = np.rint(backward(lab_grid) * 65535).astype(int).reshape(-1)
    tags = {b"wtpt": _xyz(D50), b"A2B0": _lut16(33, there), b"B2A0": _lut16(17, back)}
    return profile(tags, b"Lab ")


def profile(tags: dict[bytes, bytes], connection: bytes, data: bytes = b"RGB ") -> bytes:
    """Header, tag table and tags of a display profile, version 2.4."""
    at = 128 + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for name, content in tags.items():
        content += b"\0" * (-len(content) % 4)
        table += struct.pack(">4sII", name, at + len(body), len(content))
        body += content
    header = struct.pack(
        ">I4sI4s4s4s", at + len(body), b"none", 0x04200000, b"mntr", data, connection
    )
    header += b"\0" * 12 + b"acsp" + b"\0" * 28 + struct.pack(">3i", *(_fixed(v) for v in D50))
    return header + b"\0" * (128 - len(header)) + table + body


def _curv(entries: list[int]) -> bytes:
    return struct.pack(f">4sII{len(entries)}H", b"curv", 0, len(entries), *entries)


def _para(function: int, parameters: tuple[float, ...]) -> bytes:
    numbers = [_fixed(v) for v in parameters]
    return struct.pack(f">4sIHH{len(numbers)}i", b"para", 0, function, 0, *numbers)


def _xyz(values: Reals) -> bytes:
    return struct.pack(">4sI3i", b"XYZ ", 0, *(_fixed(v) for v in values))


def _fixed(value: float) -> int:
    return round(float(value) * 65536)


def _grid(points: int) -> Reals:
    ticks = np.linspace(0, 1, points)
    return np.stack(np.meshgrid(ticks, ticks, ticks, indexing="ij"), axis=-1).reshape(-1, 3)


def _lut16(points: int, entries: npt.NDArray[np.int64]) -> bytes:
    identity = [_fixed(v) for v in np.eye(3).reshape(-1)]
    head = struct.pack(">4sIBBBB9iHH", b"mft2", 0, 3, 3, points, 0, *identity, 2, 2)
    line = struct.pack(">6H", 0, 65535, 0, 65535, 0, 65535)
    return head + line + np.asarray(entries, ">u2").tobytes() + line


def _encoded_lab(lab: Reals) -> npt.NDArray[np.int64]:
    """The 16-bit L*a*b* of ICC version 2 tables."""
    scaled = (lab + np.array([0, 128, 128])) / [100, 255, 255] * 65280
    return np.rint(np.clip(scaled, 0, 65535)).astype(np.int64)


def _lab(xyz: Reals) -> Reals:
    return colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(D50))


def _xyz_of(lab: Reals) -> Reals:
    return colour.Lab_to_XYZ(lab, colour.XYZ_to_xy(D50))
