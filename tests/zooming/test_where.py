"""Points found in second-order tetrahedra, and fields there: exact where the shape functions are."""

from dataclasses import replace

import numpy as np
import pytest
from helpers_cad import draw

from fem.errors import InputError
from fem.part.meshing import mesh_solid
from fem.part.quadrature import tet_shapes
from fem.part.solid import read_solid
from fem.part.tetmesh import joined
from fem.zooming.where import Locator

R = 6.0
RNG = np.random.default_rng(5)


def meshed(path, build, *, name="part", size=6, finest=2):
    return mesh_solid(read_solid(draw(path, build), name=name), size=size, finest=finest)


@pytest.fixture(scope="module")
def block(tmp_path_factory):
    return meshed(tmp_path_factory.mktemp("block") / "block.step", lambda occ: occ.addBox(-3, 2, 1, 20, 12, 8))


@pytest.fixture(scope="module")
def post(tmp_path_factory):
    """A round post: its surface is curved everywhere but at the ends."""
    path = tmp_path_factory.mktemp("post") / "post.step"
    return meshed(path, lambda occ: occ.addCylinder(0, 0, 0, 0, 0, 15, R), size=5)


def quadratic(x):
    a, b, c = x.T
    return np.stack([1 + a - 2 * b + c * c, a * b - c * a + 3, b * b - 0.5 * a * a], axis=1)


def linear(x):
    return x @ np.array([[0.3, -1, 2], [0.7, 0.2, 0.1], [-0.4, 0.5, 1]]) + [5, -2, 1]


def test_a_quadratic_field_is_exact_in_straight_tetrahedra(block):
    points = RNG.uniform([-3, 2, 1], [17, 14, 9], (4000, 3))
    found = Locator(block, "part").find(points)
    assert not found.away.any()
    assert np.abs(found.values(quadratic(block.nodes)) - quadratic(points)).max() < 1e-10
    assert np.abs(found.shape.sum(axis=1) - 1).max() < 1e-12


def test_points_are_found_where_they_were_put_in_curved_tetrahedra(post):
    """Places made from reference points: the curved map is inverted, not that of the straight corners."""
    tet = np.repeat(np.arange(len(post.tets)), 3)
    bary = RNG.dirichlet(np.ones(4), len(tet))
    shape = tet_shapes(bary[:, 1:])
    points = np.einsum("qa,qai->qi", shape, post.nodes[post.tets[tet]])
    found = Locator(post, "part").find(points)
    assert (found.tet == tet).all()
    assert np.abs(found.shape - shape).max() < 1e-8
    assert np.abs(found.values(linear(post.nodes)) - linear(points)).max() < 1e-10


def test_corners_that_stick_out_take_the_linear_field_on(post):
    turn, height = RNG.uniform(0, 2 * np.pi, 3000), RNG.uniform(1, 14, 3000)
    out = 0.25
    points = np.column_stack([(R + out) * np.cos(turn), (R + out) * np.sin(turn), height])
    found = Locator(post, "part").find(points)
    assert found.away == pytest.approx(out, abs=0.05)
    assert np.abs(found.values(linear(post.nodes)) - linear(points)).max() < 1e-10
    # A curved field strays by half its curvature (here 2) times the square of the way; as it is at the surface it
    # would miss by that way times its slope
    miss = np.abs(found.values(quadratic(post.nodes)) - quadratic(points)).max()
    assert miss < 0.25
    at_surface = points * [R / (R + out), R / (R + out), 1]
    assert np.abs(quadratic(at_surface) - quadratic(points)).max() > 10 * miss


def test_far_outside_a_field_stays_within_its_own_slope(block):
    found = Locator(block, "part").find(np.array([[17 + 500.0, 8, 5]]))
    assert found.away == pytest.approx([500.0], abs=1e-9)
    assert np.abs(found.shape).max() < 20


def test_the_nearest_place_is_told_from_farther_ones(post):
    """Against every triangle of the surface, by sampling it closely."""
    points = RNG.uniform([-9, -9, -3], [9, 9, 18], (40, 3))
    found = Locator(post, "part").find(points)
    axial = np.maximum(np.maximum(-points[:, 2], points[:, 2] - 15), 0)
    radial = np.maximum(np.linalg.norm(points[:, :2], axis=1) - R, 0)
    assert found.away == pytest.approx(np.hypot(axial, radial), abs=0.06)
    assert (Locator(post, "part").holds(points) == (found.away == 0)).all() and 5 < (found.away == 0).sum() < 35


def test_each_body_answers_for_itself(block, post):
    both = joined([block, replace(post, nodes=post.nodes + np.array([0, 0, 100.0]), bodies=("post",))])
    found = Locator(both, "post").find(np.array([[0, 0, 101.0], [5, 5, 5.0]]))
    assert (both.body[found.tet] == 1).all()
    assert found.away[0] == 0 and found.away[1] > 90
    with pytest.raises(InputError, match="no body"):
        Locator(both, "lid")
