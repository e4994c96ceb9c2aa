"""Pressure that grows with depth: resultant and centre of pressure against the closed forms of hydrostatics.

Source: F. M. White, Fluid Mechanics, section 2.5 (hydrostatic forces on plane surfaces): F = p_CG A with
y_CP - y_CG = I / (y_CG A).
"""

import numpy as np
import pytest
from helpers_fe import HIGH_X, HIGH_Z, block, box

from fem.errors import InputError
from fem.loading.loads import force_load, pressure_load, resultant
from fem.loading.pressure import DepthPressure, pressure_on
from fem.part.faces import face_group

WIDTH, HEIGHT = 30.0, 50.0
GRADIENT = 1.025e-9 * 9806.65  # sea water: 1025 kg/m3 under standard gravity, in MPa/mm


@pytest.fixture(scope="module")
def wall():
    """An upright plate; its face x+ looks along +x, from z = 0 to HEIGHT."""
    return box((4, WIDTH, HEIGHT), (1, 3, 4))


def water(level):
    return DepthPressure((0.0, 0.0, level), GRADIENT, (0.0, 0.0, -1.0))


def test_a_wholly_wet_plate(wall):
    level = HEIGHT + 20.0
    found = pressure_on(wall, wall.triangles_of((HIGH_X,)), pressure=water(level), name="sea")
    total, moment = resultant(wall, found.forces)
    middle = level - HEIGHT / 2  # depth of the centroid
    area = WIDTH * HEIGHT
    force = GRADIENT * middle * area
    down = middle + HEIGHT**2 / 12 / middle  # depth of the centre of pressure
    assert total == pytest.approx([-force, 0, 0], rel=1e-9, abs=1e-9 * force)
    centre = np.array([4, WIDTH / 2, level - down])
    assert np.abs(moment - np.cross(centre, total)).max() < 1e-9 * force * HEIGHT
    assert found.centre == pytest.approx(centre, rel=1e-9)
    assert found.area == pytest.approx(area, rel=1e-12)
    assert found.maximum == pytest.approx(GRADIENT * level, rel=1e-12)
    # An even pressure of the same total acts higher
    even = pressure_load(wall, face_group(wall, (HIGH_X,), name="x"), pressure=GRADIENT * middle)
    assert abs(resultant(wall, even)[1][1] - moment[1]) > 0.05 * abs(moment[1])


@pytest.mark.parametrize("level", [HEIGHT, 31.7, 6.2])
def test_a_partly_wet_plate_is_dry_above_the_waterline(wall, level):
    found = pressure_on(wall, wall.triangles_of((HIGH_X,)), pressure=water(level), name="sea")
    total, moment = resultant(wall, found.forces)
    force = GRADIENT * level / 2 * WIDTH * level  # a triangle of pressure, whose centre lies at a third
    assert total == pytest.approx([-force, 0, 0], rel=0.002, abs=1e-6 * force)
    assert moment[1] == pytest.approx(-force * level / 3, rel=0.004)
    assert found.area == pytest.approx(WIDTH * level, rel=0.03)
    # Without the clip the dry side would be sucked
    if level < HEIGHT:
        assert abs(GRADIENT * (level - HEIGHT / 2) * WIDTH * HEIGHT - force) > 0.1 * force


def test_buoyancy_of_a_bent_body():
    # Archimedes: pressure on the whole closed surface comes to the weight of the water displaced
    def bend(p):
        angle = 1.5 * p[:, 1]
        r = 20 + 9 * p[:, 0]
        return np.stack([r * np.cos(angle), r * np.sin(angle), 14 * p[:, 2]], axis=1)

    mesh = block((1, 3, 2), bend=bend)
    everywhere = np.arange(len(mesh.triangles))
    found = pressure_on(mesh, everywhere, pressure=water(40.0), name="sea")
    volume = 1.5 / 2 * (29**2 - 20**2) * 14
    assert resultant(mesh, found.forces)[0] == pytest.approx([0, 0, GRADIENT * volume], rel=1e-3, abs=1e-3)


def test_a_dry_face_is_refused_with_the_distance(wall):
    with pytest.raises(InputError, match="ends 3 mm short of"):
        pressure_on(wall, wall.triangles_of((HIGH_X,)), pressure=water(-3.0), name="sea")
    with pytest.raises(InputError, match="more than zero"):
        DepthPressure((0.0, 0.0, 0.0), 0.0, (0.0, 0.0, 1.0))
    with pytest.raises(InputError, match="no length"):
        DepthPressure((0.0, 0.0, 0.0), 1.0, (0.0, 0.0, 0.0))


def test_an_even_pressure_and_force_stay_as_they_are(wall):
    top = wall.triangles_of((HIGH_Z,))
    group = face_group(wall, (HIGH_Z,), name="top")
    found = pressure_on(wall, top, pressure=3.0, name="p")
    assert found.forces == pytest.approx(pressure_load(wall, group, pressure=3.0), abs=1e-12)
    assert resultant(wall, force_load(wall, group, force=np.array([1.0, 2, 3])))[0] == pytest.approx([1, 2, 3])
