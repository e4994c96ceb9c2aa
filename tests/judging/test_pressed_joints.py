"""What joints do at the nodes adds up to what they do at their points."""

import numpy as np
import pytest
from helpers_joints import pressed, seam, two_blocks

from fem.judging.pressed import corner_means, corner_shares, on_nodes
from fem.part.quadrature import TRIANGLE_POINTS, TRIANGLE_WEIGHTS


def second_order(at):
    """Shape functions (q, 6) of a triangle at reference points (q, 2): corners, then middles of 01, 12, 02."""
    a, b, c = 1 - at.sum(axis=1), at[:, 0], at[:, 1]
    return np.column_stack([a * (2 * a - 1), b * (2 * b - 1), c * (2 * c - 1), 4 * a * b, 4 * b * c, 4 * a * c])


def test_linear_shares_are_those_of_the_corners():
    at = np.random.default_rng(5).dirichlet([1, 1, 1], 20)[:, 1:]
    linear = np.column_stack([1 - at.sum(axis=1), at])
    assert corner_shares(second_order(at)) == pytest.approx(linear, abs=1e-14)
    assert corner_shares(linear) is linear


def on_faces(mesh, triangles, values):
    """The integral of nodal values (n,) over boundary triangles (k, 6), blended by the shapes of second order."""
    p = mesh.nodes[triangles[:, :3]]
    area = np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1) / 2
    mean = values[triangles] @ second_order(TRIANGLE_POINTS).T @ (TRIANGLE_WEIGHTS / TRIANGLE_WEIGHTS.sum())
    return float(area @ mean)


@pytest.mark.parametrize("lower", [(4, 4, 2), (9, 8, 2)])
def test_the_pressure_at_nodes_adds_up_to_the_force_on_either_side(lower):
    mesh, off = two_blocks(lower)
    state = pressed(seam(mesh, off), pressure=lambda at: 3 + 0.2 * at[:, 0] - 0.1 * at[:, 1])
    force = float(state.pressure @ state.facing.areas)
    assert force == pytest.approx(400 * (3 + 2 - 1), rel=1e-9)
    for nodes, shares in state.sides:
        _, mean, weight = corner_means(nodes, shares, areas=state.facing.areas, values=state.pressure)
        assert weight.sum() == pytest.approx(400, rel=1e-9) and weight.min() > 0
        assert mean @ weight == pytest.approx(force, rel=1e-12)
    # Corners' own shares of second order have no integral at all: the split of the middles is what makes a mean
    own = state.facing.shares[:, :3] * state.facing.areas[:, None]
    assert abs(own.sum()) < 1e-9 * 400
    values = on_nodes((state,), "pressure", mesh.triangles, count=len(mesh.nodes))
    for face in (5, off + 4):
        assert on_faces(mesh, mesh.triangles[mesh.triangles_of((face,))], values) == pytest.approx(force, rel=0.02)
    inside = ~np.isin(np.arange(len(values)), mesh.triangles[mesh.triangles_of((5, off + 4))])
    assert (values[inside] == 0).all()


def test_an_even_pressure_is_even_at_the_nodes():
    mesh, off = two_blocks()
    state = pressed(seam(mesh, off), pressure=lambda at: np.full(len(at), 7.0))
    values = on_nodes((state,), "pressure", mesh.triangles, count=len(mesh.nodes))
    met = np.unique(mesh.triangles[mesh.triangles_of((5, off + 4))])
    assert values[met] == pytest.approx(7.0, rel=1e-12)
