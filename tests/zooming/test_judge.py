"""The mean stress of a bead, where the bead turns from box to box."""

import numpy as np
import pytest

from fem.printing.beads import CORE, WALL, WAYS
from fem.printing.plan import in_layer_rotation
from fem.tensors import stress_rotation
from fem.zooming import kernels

SIDE, WIDTH = np.array([0.15, 0.15]), 0.45
STRESS = np.array([9.0, -4.0, 2.0, 5.0, -3.0, 7.0])
COUNT = 24


def averaged(zone, way, stress):
    shape = way.shape
    full, bead = np.full(shape, 255, np.uint8), np.zeros(shape, np.uint16)
    out, filled = np.zeros((*shape, 6), np.float32), np.zeros(shape, np.float32)
    kind = np.full(shape, zone, np.uint8)
    given = kind, bead, way, full, stress.astype(np.float32), SIDE, WIDTH, WIDTH, 2 * WAYS, out, filled
    kernels.bead_means(*given, 0, shape[0])
    return out


def into_beads(way):
    """What takes a stress from print axes to those of each box's bead (ny, nx, 6, 6)."""
    turns = np.array([stress_rotation(in_layer_rotation(180.0 * w / WAYS)) for w in range(2 * WAYS)])
    return turns[way]


@pytest.mark.parametrize(("zone", "turns"), [(CORE, WAYS), (WALL, 2 * WAYS)])
def test_an_even_stress_is_its_own_mean_however_the_bead_turns(zone, turns):
    """Half a turn of a bead's axes changes the sign of both interlayer shears; the stress is the same."""
    row, column = np.mgrid[:COUNT, :COUNT]
    way = ((3 * row + 5 * column) // 2 % turns).astype(np.uint8)
    own = into_beads(way) @ STRESS
    found = averaged(zone, way, own)
    assert np.abs(found - own).max() < 1e-5 * np.abs(STRESS).max()
    # Negative control: told in the axes of beads that turn the other way, the same numbers are no even stress
    other = averaged(zone, np.ascontiguousarray(way[::-1]), own)
    assert np.abs(other - own).max() > 0.05 * np.abs(STRESS).max()


def test_the_mean_of_a_stress_that_varies_along_a_straight_bead_is_that_in_its_middle():
    way = np.full((COUNT, COUNT), 18, np.uint8)
    column = np.arange(COUNT)
    stress = np.zeros((COUNT, COUNT, 6))
    stress[..., 0] = column
    found = averaged(CORE, way, stress)
    inner = slice(6, -6)
    assert np.abs(found[inner, inner, 0] - column[inner]).max() < 1e-4
    assert np.abs(found[inner, inner, 1:]).max() < 1e-4
