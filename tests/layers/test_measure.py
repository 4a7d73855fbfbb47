"""The compiled measure gives what the formula gives, on colours of every kind."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from evenhand.colour.difference import ciede2000_bound
from evenhand.colour.encoding import MatrixEncoding, encoding_of
from evenhand.colour.lab import lab_of
from evenhand.layers.measure import Measure
from tests.layers import made

CLOSE = 1e-3
"""CIEDE2000: float32 against float64; a twentieth of what caps keep back at their smallest."""

PIXELS = 5000
"""Of each kind; more than one block, and no whole number of them."""

KINDS = {
    "any": lambda random: random.uniform(0, 1, (PIXELS, 3)),
    "grey": lambda random: random.uniform(0, 1, (PIXELS, 1)) + random.normal(0, 0.004, (PIXELS, 3)),
    "blue": lambda random: random.uniform(0, 1, (PIXELS, 3)) * (0.3, 0.3, 1),
    "dark": lambda random: random.uniform(0, 0.05, (PIXELS, 3)),
    "skin": lambda random: random.uniform((0.3, 0.2, 0.1), (1, 0.8, 0.7), (PIXELS, 3)),
}


def pairs(kind: str, depth: int, profile: str):
    """Encoding, code values, changes, and L*a*b* before and after in float64."""
    random = np.random.default_rng(7)
    encoding = encoding_of(made.PROFILES[profile])
    assert isinstance(encoding, MatrixEncoding)
    white = 2**depth - 1
    codes = np.rint(np.clip(KINDS[kind](random), 0, 1) * white).astype(made.DTYPES[depth])
    change = random.normal(0, 1, (PIXELS, 3)) * 10 ** random.uniform(1, 4.5, (PIXELS, 1))
    change = np.rint(change).astype(np.float32)
    change[::50] = 0
    fine = codes.astype(np.int64) * (65535 // white)
    after = np.clip(fine + change, 0, 65535).astype(np.uint16)
    labs = (lab_of(encoding.to_linear(c).astype(np.float64)) for c in (codes, after))
    return encoding, codes, change, *labs


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("depth", "profile"), [(8, "none"), (16, "none"), (8, "Display P3")])
def test_as_the_formula(kind: str, depth: int, profile: str) -> None:
    # Oracle: colour-science, which is itself checked against the 34 pairs of Sharma et al. (2005).
    encoding, codes, change, before, after = pairs(kind, depth, profile)
    found = Measure(encoding, codes).exactly(change)
    wanted = colour.difference.delta_E_CIE2000(before, after)
    # Opposite hues: their mean may lie on either side.
    clear = (hues_apart(before, after) < 179) & have_hue(before, after)
    np.testing.assert_allclose(found[clear], wanted[clear], rtol=2e-5, atol=CLOSE)
    assert clear.mean() > 0.8


@pytest.mark.parametrize("kind", KINDS)
def test_as_the_bound(kind: str) -> None:
    encoding, codes, change, before, after = pairs(kind, 8, "none")
    found = Measure(encoding, codes).of(change)
    wanted = ciede2000_bound(before, after)
    # The bound begins at about a right angle; of opposite hues float32 cannot tell the mean.
    apart = hues_apart(before, after)
    clear = (np.abs(apart - 90) > 15) & (apart < 179) & have_hue(before, after)
    np.testing.assert_allclose(found[clear], wanted[clear], rtol=2e-5, atol=CLOSE)
    assert clear.mean() > 0.8


def hues_apart(before, after):
    """Angle of hues in degrees, a* stretched as the formula does it to greys."""
    hues = [np.arctan2(lab[:, 2], 1.5 * lab[:, 1]) for lab in (before, after)]
    return np.abs((np.degrees(hues[1] - hues[0]) + 180) % 360 - 180)


def have_hue(before, after):
    """Whether neither colour is so grey that float32 cannot tell its hue."""
    return (np.hypot(before[:, 1], before[:, 2]) > 0.1) & (np.hypot(after[:, 1], after[:, 2]) > 0.1)


def test_no_change_is_no_difference() -> None:
    codes = np.arange(256, dtype=np.uint8)[:, None].repeat(3, axis=1)
    encoding = encoding_of(None)
    assert isinstance(encoding, MatrixEncoding)
    still = np.zeros(codes.shape, np.float32)
    found = Measure(encoding, codes).of(still)
    assert (found < CLOSE).all()
