"""Caps on many thousand changes at once, made to find a pixel that passes one.

A long run, 1.7 million changes: ``python -m tests.layers.test_cap 6``.
"""

import itertools
import sys

import numpy as np
import pytest

from evenhand.colour.difference import ciede2000
from evenhand.colour.encoding import encoding_of
from evenhand.colour.lab import lab_of
from evenhand.layers.cap import factors_within
from evenhand.layers.measure import Measure
from tests.layers import made

CHANGES = 3000
"""Pixels a case; each is tried at `STRENGTHS_TRIED` strengths and roundings."""

STRENGTHS_TRIED = 12

KINDS = ("skin", "any", "grey")
CAPS = (0.5, 2.0, 4.0, 8.0, 12.0, 20.0, 30.0, 60.0)


def codes_of(kind, random, depth):
    """Original colours of a kind."""
    count, white = CHANGES, 2**depth - 1
    if kind == "skin":
        light = random.uniform(0.05, 1, (count, 1)) * random.uniform(
            [0.95, 0.55, 0.3], [1, 0.9, 0.9], (count, 3)
        )
    elif kind == "grey":
        light = random.uniform(0, 1, (count, 1)) + random.normal(0, 0.08, (count, 3))
    else:
        light = random.uniform(0, 1, (count, 3))
    return np.rint(np.clip(light, 0, 1) * white).astype(made.DTYPES[depth])


def changes_of(layers, random, codes, steps):
    """Differences in all directions, from small to far past any cap, inside the file's range."""
    white = int(np.iinfo(codes.dtype).max)
    base = codes.astype(np.int64) * steps
    scale = random.uniform(0.001, 0.2, (layers, len(codes), 1)) * white * steps
    shape = random.choice([0.3, 1, 1, 3], (layers, len(codes), 3))
    wanted = random.normal(0, 1, (layers, len(codes), 3)) * scale * shape
    rise, fall = np.maximum(wanted, 0).sum(axis=0), np.maximum(-wanted, 0).sum(axis=0)
    room = np.minimum((white * steps - base) / np.maximum(rise, 1), base / np.maximum(fall, 1))
    return (wanted * np.minimum(room.min(axis=1), 1)[:, None]).astype(np.int32)


def excess(kind, depth, layers, cap, seed, profile="none"):
    """Largest CIEDE2000 over the cap, of any change at any strength tried."""
    random = np.random.default_rng(seed)
    encoding = encoding_of(made.PROFILES[profile])
    steps = 64 if depth == 8 else 1
    codes = codes_of(kind, random, depth)
    changes = changes_of(layers, random, codes, steps)
    factors = factors_within(Measure(encoding, codes), list(changes), steps, cap)
    if depth == 16 or cap >= 4:
        assert (factors > 0).mean() > 0.5, "most changes were forbidden: the test sees too little"
    kept = (changes * factors[:, None]).astype(np.int32)
    lab, worst = lab_of(encoding.to_linear(codes)), -np.inf
    corners = list(itertools.product((0.0, 1.0), repeat=layers))[1:]
    between = random.uniform(0, 1, (STRENGTHS_TRIED - len(corners), layers))
    between[::2] **= 0.2  # half of them near full strength
    for strengths in (*corners, *between):
        result = rounded(codes, kept, np.rint(1024 * np.array(strengths)), random)
        difference = ciede2000(lab, lab_of(encoding.to_linear(result)))
        difference[(result == codes).all(axis=1)] = 0
        worst = max(worst, float(difference.max()) - cap)
    return worst


def rounded(codes, changes, parts, random):
    """The blend's formula with any thresholds."""
    total = np.tensordot(parts.astype(np.int64), changes.astype(np.int64), axes=1)
    shift = 16 if codes.dtype == np.uint8 else 10
    threshold = random.integers(0, 65536, codes.shape) if shift == 16 else 512
    result = ((codes.astype(np.int64) << shift) + total + threshold) >> shift
    assert result.min() >= 0
    assert result.max() <= np.iinfo(codes.dtype).max
    return result.astype(codes.dtype)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("depth", [8, 16])
@pytest.mark.parametrize("layers", [1, 2])
def test_no_change_passes_its_cap(kind, depth, layers):
    for number, cap in enumerate(CAPS):
        assert excess(kind, depth, layers, cap, number) <= 1e-3


@pytest.mark.parametrize("profile", ["Adobe RGB", "Display P3", "ROMM"])
def test_other_profiles_keep_their_caps(profile):
    for depth, cap in ((8, 8.0), (16, 2.0), (16, 20.0)):
        assert excess("skin", depth, 2, cap, 1, profile) <= 1e-3


def test_three_layers_keep_their_cap():
    for kind in KINDS:
        assert excess(kind, 8, 3, 12.0, 2) <= 1e-3


@pytest.mark.parametrize(
    ("codes", "change"),
    [
        ((7542, 2503, 38968), (-7542, 6195, -26590)),
        ((29896, 10097, 37684), (-2535, 19523, -7055)),
    ],
)
def test_a_way_through_blue_that_is_longer_than_it_ends(codes, change):
    # CIEDE2000 grows to 16.5 and 24.8 on the way and ends at 13.6 and 19.3.
    encoding, cap = encoding_of(None), 15.0
    codes, change = np.array([codes], np.uint16), np.array([change], np.int32)
    factors = factors_within(Measure(encoding, codes), [change], 1, cap)
    way = codes + np.rint(np.linspace(0, 1, 201)[:, None] * factors * change)
    difference = ciede2000(*(lab_of(encoding.to_linear(c.astype(np.uint16))) for c in (codes, way)))
    assert 0.9 * cap < difference.max() <= cap


@pytest.mark.parametrize("cap", [0.3, 0.8])
def test_where_one_code_value_is_too_much_nothing_changes(cap):
    # A step of one 8-bit code value in green against red and blue is a CIEDE2000 above 1.
    codes = np.full((50, 3), (200, 150, 130), np.uint8)
    change = np.random.default_rng(0).integers(-64, 65, (50, 3)).astype(np.int32)
    assert (factors_within(Measure(encoding_of(None), codes), [change], 64, cap) == 0).all()


def test_a_small_change_is_not_touched():
    # One code value of 8 bits is a CIEDE2000 of less than 1.6 on skin: far from a cap of 8.
    codes = np.full((50, 3), (200, 150, 130), np.uint8)
    change = np.random.default_rng(0).integers(-64, 65, (50, 3)).astype(np.int32)
    factors = factors_within(Measure(encoding_of(None), codes), [change], 64, 8.0)
    assert (factors == 1).all()


def test_a_large_change_is_shortened_no_more_than_needed():
    # Ten times the cap in lightness: what is left reaches nine tenths of the cap at least.
    codes = np.full((50, 3), (200, 150, 130), np.uint16) * 257
    change = np.full((50, 3), -12000, np.int32)
    measure = Measure(encoding_of(None), codes)
    factors = factors_within(measure, [change], 1, 6.0)
    left = measure.of((change * factors[:, None]).astype(np.float32))
    assert (left > 0.9 * 6).all()
    assert (left <= 6).all()


if __name__ == "__main__":
    rounds = int(sys.argv[1])
    cases = list(itertools.product(KINDS, (8, 16), (1, 2), CAPS))
    found = {
        case: excess(*case, seed) for seed in range(rounds) for case in cases
    }  # fmt: skip
    print(f"{rounds * len(cases) * CHANGES} changes, largest excess {max(found.values()):.4f}")
