"""White points and matrices against colour-science."""

import colour
import numpy as np

from evenhand.colour.primaries import (
    D50_TO_D65,
    WHITE_D50_XYZ,
    WHITE_D65_XY,
    WHITE_D65_XYZ,
    WORKING_TO_XYZ,
    XYZ_TO_WORKING,
)


def test_working_space_is_rec_2020():
    space = colour.RGB_COLOURSPACES["ITU-R BT.2020"]
    expected = colour.normalised_primary_matrix(space.primaries, np.array(WHITE_D65_XY))
    np.testing.assert_allclose(WORKING_TO_XYZ, expected, atol=1e-12)
    np.testing.assert_allclose(XYZ_TO_WORKING @ WORKING_TO_XYZ, np.eye(3), atol=1e-12)


def test_adaptation_is_bradford():
    expected = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        WHITE_D50_XYZ, WHITE_D65_XYZ, "Bradford"
    )
    np.testing.assert_allclose(D50_TO_D65, expected, atol=1e-6)
    np.testing.assert_allclose(D50_TO_D65 @ WHITE_D50_XYZ, WHITE_D65_XYZ, atol=1e-12)
