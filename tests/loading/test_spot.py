"""A force or pressure within a radius of a point: exact force, exact line, area within one part in a hundred."""

import numpy as np
import pytest
from helpers_fe import HIGH_X, HIGH_Z, block, box

from fem.errors import InputError
from fem.loading.loads import resultant
from fem.loading.pressure import pressure_on
from fem.loading.sampling import sample
from fem.loading.spot import Spot, nearest_on, spot_centre, spot_force, within

AT = np.array([17.3, 8.1, 10.0])


@pytest.fixture(scope="module")
def plate():
    """A coarse plate: its triangles are larger than the spots."""
    return box((40, 20, 10), (4, 2, 1))


@pytest.mark.parametrize("radius", [0.8, 3.0, 6.5])
def test_a_spot_force_acts_at_its_point(plate, radius):
    top = plate.triangles_of((HIGH_Z,))
    force = np.array([30.0, -50.0, -700.0])
    found = spot_force(plate, top, force=force, spot=Spot(tuple(AT), radius), name="spot")
    total, moment = resultant(plate, found.forces)
    assert np.abs(total - force).max() < 1e-9 * 700
    assert np.abs(moment - np.cross(AT, force)).max() < 1e-9 * 700 * 40
    assert found.area == pytest.approx(np.pi * radius**2, rel=0.01)
    assert found.point == pytest.approx(AT)
    # Nothing but triangles that the spot touches is loaded
    touched = np.unique(plate.triangles[found.triangles])
    assert np.abs(np.delete(found.forces, touched, axis=0)).max() == 0


def test_a_spot_at_an_edge_acts_where_it_lies(plate):
    top = plate.triangles_of((HIGH_Z,))
    found = spot_force(plate, top, force=np.array([0, 0, -100.0]), spot=Spot((0.0, 10.0, 10.0), 5.0), name="s")
    total, moment = resultant(plate, found.forces)
    assert found.share == pytest.approx(0.5, rel=0.01)
    # The centroid of half a disc lies 4 r / (3 pi) from its straight side
    assert found.point == pytest.approx([4 * 5 / (3 * np.pi), 10, 10], abs=0.02)
    assert total == pytest.approx([0, 0, -100])
    assert np.abs(moment - np.cross(found.point, total)).max() < 1e-9 * 100 * 40
    assert found.forces[:, 2].max() < 100 * 0.2  # an even push: only the negative lobes of corner shape functions


def test_a_spot_pressure_loads_a_disc(plate):
    top = plate.triangles_of((HIGH_Z,))
    found = pressure_on(plate, top, pressure=2.0, inside=within(AT, 3.0), fine=3 / 16, name="spot")
    total, _ = resultant(plate, found.forces)
    assert found.area == pytest.approx(9 * np.pi, rel=0.01)
    assert total == pytest.approx([0, 0, -2.0 * found.area], abs=1e-9)
    # Points of the rule alone would see a disc that is smaller than a triangle badly
    coarse = sample(plate, top, side=within(AT, 3.0), fine=1e9)
    assert abs(coarse.whole_area / (9 * np.pi) - 1) > 0.02


def test_the_point_is_projected_on_the_face_and_refused_when_too_far(plate):
    top = plate.triangles_of((HIGH_Z,))
    near = spot_centre(plate, top, spot=Spot((17.3, 8.1, 12.0), 3.0), name="spot")
    assert near == pytest.approx(AT)
    with pytest.raises(InputError, match=r"4\.5 mm away from the face; the spot's radius is 3 mm") as error:
        spot_centre(plate, top, spot=Spot((17.3, 8.1, 14.5), 3.0), name="spot")
    assert "(17.3, 8.1, 10) mm" in error.value.advice
    side = plate.triangles_of((HIGH_X,))
    assert spot_centre(plate, side, spot=Spot((38.0, 25.0, 5.0), 9.0), name="s") == pytest.approx([40, 20, 5])


def test_a_spot_on_a_curved_face():
    def bend(p):
        angle = 1.2 * p[:, 1]
        r = 30 + 12 * p[:, 0]
        return np.stack([r * np.cos(angle), r * np.sin(angle), 25 * p[:, 2]], axis=1)

    mesh = block((2, 4, 3), bend=bend)
    at = 44 * np.array([np.cos(0.5), np.sin(0.5), 0]) + [0, 0, 11.0]
    force = np.array([-80.0, 20.0, 5.0])
    found = spot_force(mesh, mesh.triangles_of((HIGH_X,)), force=force, spot=Spot(tuple(at), 6.0), name="spot")
    foot = 42 * np.array([np.cos(0.5), np.sin(0.5), 0]) + [0, 0, 11.0]
    total, moment = resultant(mesh, found.forces)
    assert np.abs(total - force).max() < 1e-9 * 80
    assert found.point == pytest.approx(foot, abs=0.15)
    assert np.abs(moment - np.cross(found.point, force)).max() < 1e-9 * 80 * 50
    # Sphere on the surface of a cylinder: a little more than the disc
    assert found.area == pytest.approx(36 * np.pi, rel=0.01)


def test_nearest_point_of_triangles_by_brute_force():
    rng = np.random.default_rng(3)
    flat = rng.normal(size=(20, 3, 3))
    for _ in range(8):
        at = rng.normal(size=3) * 2
        found = nearest_on(flat, at)
        u = np.sort(rng.random((10000, 2)), axis=1)
        bary = np.stack([u[:, 0], u[:, 1] - u[:, 0], 1 - u[:, 1]], axis=1)
        each = np.einsum("qa,kai->kqi", bary, flat).reshape(-1, 3)
        best = np.linalg.norm(each - at, axis=1).min()
        assert best - 0.1 < np.linalg.norm(found - at) <= best + 1e-9
