"""The edges that the next mesh is to have, from errors that are known."""

import numpy as np
import pytest
from helpers_fe import box

from fem.judging.estimate import ErrorEstimate
from fem.judging.refinement import FINER, MOST_GROW, MOST_SHRINK, expected_tets, wanted_edges, with_tets
from fem.part.sizing import regular_edge

NOWHERE = np.zeros((0, 3))


@pytest.fixture(scope="module")
def mesh():
    return box((12.0, 4.0, 4.0), (6, 2, 2))


def asked(mesh, error, *, accuracy=0.1, places=NOWHERE, finest=0.0, longest=np.inf):
    """Factors (m,) by which edges change where each tetrahedron's energy is 1 and its error is `error`."""
    edge, m = regular_edge(mesh.nodes, mesh.tets), len(mesh.tets)
    some = ErrorEstimate(np.broadcast_to(error, m).astype(float), np.ones(m))
    bounds = {"finest": np.full(m, finest), "longest": np.full(m, longest)}
    return wanted_edges(mesh, [some], accuracy=accuracy, places=places, **bounds) / edge


def test_an_error_as_large_as_allowed_changes_nothing(mesh):
    allowed = 0.1**2 / (1 - 0.1**2)  # of the energy with the error in it
    assert asked(mesh, allowed) == pytest.approx(1.0)
    # Second order: four times the error (in the norm, 16 in its square) asks for half the edge
    assert asked(mesh, 0.16 / (1 - 0.16)) == pytest.approx(0.5)


def test_factors_are_bounded(mesh):
    assert asked(mesh, 1e-9) == pytest.approx(MOST_GROW)
    uneven = np.where(np.arange(len(mesh.tets)) == 0, 1e4, 1e-9)
    assert asked(mesh, uneven)[0] == pytest.approx(MOST_SHRINK)
    edge = regular_edge(mesh.nodes, mesh.tets)
    assert (asked(mesh, 1e-9, longest=1.1 * edge.max()) * edge).max() <= 1.1 * edge.max() * (1 + 1e-12)
    assert asked(mesh, uneven, finest=0.9 * edge[0])[0] == pytest.approx(0.9)


def test_it_becomes_finer_around_the_worst_places(mesh):
    allowed = 0.1**2 / (1 - 0.1**2)
    place = np.array([[0.0, 0.0, 0.0]])
    factor = asked(mesh, allowed, places=place)
    middle = mesh.nodes[mesh.tets[:, :4]].mean(axis=1)
    away = np.linalg.norm(middle, axis=1)
    assert factor[away.argmin()] == pytest.approx(FINER)
    assert (factor[away > 8] > 0.99).all()


def test_the_case_that_asks_for_most_counts(mesh):
    edge, m = regular_edge(mesh.nodes, mesh.tets), len(mesh.tets)
    half = np.arange(m) < m // 2
    one = ErrorEstimate(np.where(half, 1.0, 1e-6), np.ones(m))
    other = ErrorEstimate(np.where(half, 1e-6, 1.0), np.ones(m))
    bounds = {"finest": np.zeros(m), "longest": np.full(m, np.inf)}
    both = wanted_edges(mesh, [one, other], accuracy=0.1, places=NOWHERE, **bounds) / edge
    assert (both < 0.5).all()
    alone = wanted_edges(mesh, [one], accuracy=0.1, places=NOWHERE, **bounds) / edge
    assert (alone[~half] > 1).all()


def test_edges_for_a_number_of_tetrahedra():
    edge = np.array([1.0, 1.0, 1.0, 2.0])
    wanted = np.array([0.5, 1.0, 1.0, 1.0])
    assert expected_tets(edge, wanted) == pytest.approx(8 + 1 + 1 + 8)
    found = with_tets(edge, wanted, tets=9.0)
    assert expected_tets(edge, found) == pytest.approx(9.0)
    assert found / wanted == pytest.approx(np.full(4, 2.0 ** (1 / 3)))
