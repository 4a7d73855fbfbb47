"""Density and the directions of pigments against the published spectra and common knowledge."""

import csv
from importlib.resources import files

import colour
import numpy as np
import pytest

from evenhand.colour.lab import lab_of
from evenhand.colour.optics import (
    DARK,
    density,
    haemoglobin_direction,
    melanin_direction,
    pigment_axes,
    skin_density,
    without_shading,
)

ISOSBESTIC_NM = [422.0, 452.4, 500.1, 529.2, 545.3, 570.2, 584.1]
"""Where oxy- and deoxyhaemoglobin absorb alike in Prahl's table, by straight lines between rows."""

SHADING = np.full(3, 1 / np.sqrt(3))
"""Less light dims all channels by the same factor: equal steps of density, unit length."""


def table(name):
    text = (files("evenhand") / "models" / "spectra" / name).read_text("utf-8")
    return np.array([[float(cell) for cell in row] for row in csv.reader(text.splitlines()[1:])])


def test_isosbestic_points_of_the_table():
    nm, oxy, deoxy = table("haemoglobin.csv").T
    lead = oxy - deoxy
    at = np.flatnonzero(np.sign(lead[:-1]) != np.sign(lead[1:]))
    crossings = nm[at] + (nm[at + 1] - nm[at]) * lead[at] / (lead[at] - lead[at + 1])
    np.testing.assert_allclose(crossings, ISOSBESTIC_NM, atol=0.05)


def test_bands_of_oxyhaemoglobin():
    # Its two bands in the visible peak at 542 and 577 nm (handbook values, from memory).
    nm, oxy, _ = table("haemoglobin.csv").T
    peaks = nm[1:-1][(oxy[1:-1] > oxy[:-2]) & (oxy[1:-1] > oxy[2:])]
    assert np.abs(peaks[:, None] - [542, 577]).min(axis=0).max() <= 1


def test_the_observer_sees_d65_as_d65():
    observer = table("observer_d65.csv")
    xyz = (observer[:, 1:4] * observer[:, 4:5]).sum(axis=0)
    # CIE 15: (0.3127, 0.3290); the ends beyond 400 and 700 nm are left out.
    np.testing.assert_allclose(colour.XYZ_to_xy(xyz), [0.3127, 0.3290], atol=5e-4)


def test_density_is_the_negative_logarithm():
    light = np.array([[1.0, np.exp(-1), 0.1]])
    np.testing.assert_allclose(density(light), [[0, 1, np.log(10)]], atol=1e-12)


@pytest.mark.parametrize("dtype", [np.float64, np.float32])
def test_density_falls_with_light(dtype):
    light = np.linspace(-0.2, 1.5, 3001).astype(dtype)
    value = density(light)
    assert value.dtype == dtype
    assert np.isfinite(value).all()
    assert (np.diff(value) < 0).all()


def test_density_goes_on_smoothly_below_the_dark():
    step = 1e-7
    left, right = (density(np.array([DARK + s])) for s in (-step, step))
    slope = (right - left) / (2 * step)
    assert slope == pytest.approx(-1 / DARK, rel=1e-3)


def test_density_keeps_nan_and_shape():
    light = np.full((2, 3, 3), 0.5)
    light[0, 1, 2] = np.nan
    assert np.isnan(density(light)).sum() == 1


def test_shading_changes_all_densities_alike():
    light = np.random.default_rng(1).uniform(0.05, 0.9, (10, 3))
    shift = density(light * 0.7) - density(light)
    np.testing.assert_allclose(shift, shift @ SHADING[:, None] * SHADING, atol=1e-6)
    np.testing.assert_allclose(
        without_shading(density(light * 0.7)), without_shading(density(light))
    )


def test_directions_are_unit_and_positive():
    for direction in (SHADING, haemoglobin_direction(), melanin_direction()):
        assert np.linalg.norm(direction) == pytest.approx(1, abs=1e-6)
        assert (direction > 0).all()


def test_melanin_absorbs_ever_more_towards_blue():
    # Every published law falls with wavelength (Jacques 1998, 2013).
    red, green, blue = melanin_direction()
    assert red < green < blue


def test_haemoglobin_spares_red():
    # It absorbs an order less above 600 nm: what makes blood red (Prahl's table).
    red, green, blue = haemoglobin_direction()
    assert red < 0.6 * green
    assert red < 0.6 * blue


def test_more_blood_is_redder_and_more_melanin_darker():
    # Erythema raises a*, pigment lowers L* and raises b* of light skin (Stamatas and others 2004,
    # from memory).
    plain, red, tanned = (
        lab_of(np.exp(-skin_density(*shares)))
        for shares in ((0.03, 0.01), (0.03, 0.03), (0.1, 0.01))
    )
    assert red[1] > plain[1] + 5
    assert tanned[0] < plain[0] - 5
    assert tanned[2] > plain[2] + 2


def test_model_skin_has_the_colours_of_skin():
    # L* 30-70, a* 5-20, b* 8-36 hold for faces of all groups (Xiao 2017, from memory).
    for melanosomes in (0.02, 0.06, 0.12, 0.25):
        lightness, a, b = lab_of(np.exp(-skin_density(melanosomes, 0.01)))
        assert 30 < lightness < 70
        assert 5 < a < 20
        assert 8 < b < 36


def test_axes_stand_on_shading_and_on_each_other():
    axes = pigment_axes()
    assert axes.shape == (2, 3)
    np.testing.assert_allclose(axes @ SHADING, 0, atol=1e-6)
    np.testing.assert_allclose(axes @ axes.T, np.eye(2), atol=1e-6)
    assert axes[1] @ haemoglobin_direction() == pytest.approx(0, abs=1e-6)
    assert axes[1] @ melanin_direction() > 0.1
