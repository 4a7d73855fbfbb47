"""The promises of layers, over sizes, depths, profiles and strengths.

Differences are measured by scikit-image's CIEDE2000 on L*a*b* (D65) of the rounded result.
"""

import numpy as np
import skimage.color
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.colour.primaries import WORKING_TO_XYZ
from evenhand.layers import blend, layer_from_change, limit_sum
from tests.layers import made

EXAMPLES = settings(max_examples=30, deadline=None)

MEASURE_TOLERANCE = 5e-3
"""Of a cap: between our white and scikit-image's, and its doubles and our floats."""


def differences(photograph, result):
    """CIEDE2000 of every pixel between a result and its original."""
    labs = [
        skimage.color.xyz2lab(
            photograph.encoding.to_linear(pixels).astype(float) @ WORKING_TO_XYZ.T
        )
        for pixels in (photograph.pixels, result)
    ]
    difference = skimage.color.deltaE_ciede2000(*labs)
    return np.where((photograph.pixels == result).all(axis=-1), 0, difference)


@st.composite
def photographs_with_layer(draw):
    """A photograph, a layer in it, its mask over the whole frame, and the layer's cap."""
    seed, depth, profile = draw(made.SEEDS), draw(made.DEPTHS), draw(made.PROFILE_NAMES)
    photograph = made.photograph_of(seed, draw(made.SHAPES), depth, profile)
    box, cap = made.box_in(seed, photograph.shape), draw(made.CAPS)
    mask = made.mask_of(seed, box)
    size = draw(made.SIZES)
    if draw(st.booleans()):
        change = made.change_of(seed, photograph, box, size)
    else:
        change = made.gain_of(seed, photograph, box, mask, size)
    layer = layer_from_change(photograph, 0, "redness", box, change, mask, cap)
    frame = np.zeros(photograph.shape, np.float32)
    frame[box.slices] = mask
    return photograph, layer, frame, cap


@given(photographs_with_layer(), made.STRENGTHS)
@EXAMPLES
def test_nothing_outside_the_mask_changes(made_layer, strength):
    photograph, layer, mask, _ = made_layer
    result = blend(photograph, [layer], [strength])
    np.testing.assert_array_equal(result[mask == 0], photograph.pixels[mask == 0])


@given(photographs_with_layer(), made.STRENGTHS)
@EXAMPLES
def test_no_pixel_passes_its_cap_at_any_strength(made_layer, strength):
    photograph, layer, _, cap = made_layer
    for part in (strength, 1.0):
        largest = differences(photograph, blend(photograph, [layer], [part])).max()
        assert largest <= cap + MEASURE_TOLERANCE


@given(photographs_with_layer())
@EXAMPLES
def test_strength_zero_gives_back_the_original(made_layer):
    photograph, layer, _, _ = made_layer
    before = photograph.pixels.copy()
    result = blend(photograph, [layer], [0.0])
    np.testing.assert_array_equal(result, before)
    np.testing.assert_array_equal(blend(photograph, [], []), before)
    blend(photograph, [layer], [1.0])
    np.testing.assert_array_equal(photograph.pixels, before)


@given(
    st.integers(1, 4),
    made.SEEDS,
    made.DEPTHS,
    made.PROFILE_NAMES,
    made.SHAPES,
    made.CAPS,
    st.lists(made.STRENGTHS, min_size=4, max_size=4),
    made.SIZES,
)
@EXAMPLES
def test_the_sum_keeps_its_cap_at_any_strengths(
    number, seed, depth, profile, shape, cap, strengths, size
):
    photograph = made.photograph_of(seed, shape, depth, profile)
    layers = []
    for person in range(number):
        box = made.box_in(seed + person, photograph.shape)
        change = made.change_of(seed + person, photograph, box, size)
        mask = made.mask_of(seed + person, box)
        layers.append(layer_from_change(photograph, person, "tone", box, change, mask, 30.0))
    limited = limit_sum(photograph, layers, cap)
    for chosen in (strengths[:number], [1.0] * number):
        largest = differences(photograph, blend(photograph, limited, chosen)).max()
        assert largest <= cap + MEASURE_TOLERANCE
    for before, after in zip(layers, limited, strict=True):
        assert (np.abs(after.difference) <= np.abs(before.difference)).all()
        assert (np.sign(after.difference) * np.sign(before.difference) >= 0).all()
