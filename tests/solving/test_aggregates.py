"""The levels below the first order: what they must keep, and what they are made of."""

import numpy as np
import pytest
from scipy.sparse import bsr_matrix

from fem.solving.aggregates import Hierarchy, _interpolation, _inverse, _product
from fem.solving.blocks import BlockMatrix
from fem.solving.motions import rigid_motions
from fem.solving.smoother import BlockSmoother

SIDE = 9


def truss():
    """Places of a cubic lattice and the stiffness of springs between neighbours, diagonals too: only rigid motions
    are free.
    """
    place = np.stack(np.meshgrid(*[np.arange(SIDE)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    number = {tuple(p): i for i, p in enumerate(place.tolist())}
    blocks: dict[tuple[int, int], np.ndarray] = {}
    steps = [(i, j, k) for i in (-1, 0, 1) for j in (-1, 0, 1) for k in (-1, 0, 1) if (i, j, k) > (0, 0, 0)]
    for p, i in number.items():
        for step in steps:
            j = number.get((p[0] + step[0], p[1] + step[1], p[2] + step[2]))
            if j is not None:
                way = np.array(step) / np.linalg.norm(step)
                spring = np.outer(way, way)
                for a, b, sign in ((i, i, 1), (j, j, 1), (i, j, -1), (j, i, -1)):
                    blocks[a, b] = blocks.get((a, b), 0) + sign * spring
    places = sorted(blocks)
    row, column = np.array(places).T
    start = np.concatenate([[0], np.cumsum(np.bincount(row))]).astype(np.int32)
    matrix = BlockMatrix(start, column.astype(np.int32), np.array([blocks[at] for at in places]))
    return place.astype(float), matrix


def test_products_of_matrices_are_those_of_scipy():
    rng = np.random.default_rng(1)
    linked = rng.random((23, 17)) < 0.3
    start, column = np.concatenate([[0], np.cumsum(linked.sum(axis=1))]), np.nonzero(linked)[1]
    a = bsr_matrix((rng.normal(size=(len(column), 6, 3)), column, start), shape=(23 * 6, 17 * 3))
    b = a.T.tobsr(blocksize=(3, 6))
    for left, right in ((a, b), (b, a)):
        found = _product(left, right)
        assert np.abs((found - left @ right).toarray()).max() < 1e-12
        assert found.blocksize == (left.blocksize[0], right.blocksize[1])


def test_aggregates_hold_every_rigid_motion():
    place, matrix = truss()
    motions = rigid_motions(place).reshape(-1, 6)
    assert np.abs(matrix.as_scipy() @ motions).max() < 1e-10 * SIDE
    up, near = _interpolation(matrix.as_scipy(), BlockSmoother(matrix.single(), degree=2), motions)
    assert up.shape[1] < 0.2 * up.shape[0]
    assert np.abs(up @ near - motions).max() < 1e-6 * np.abs(motions).max()
    # Each column reaches no farther than its aggregate's neighbours
    assert np.diff(up.tocsc().indptr).max() < up.shape[0]


@pytest.mark.parametrize("columns", [1, 4])
def test_a_visit_answers_most_of_a_load(columns):
    place, matrix = truss()
    projector = np.tile(np.eye(3), (len(place), 1, 1))
    projector[place[:, 2] == 0] = 0.0
    matrix.hold(projector, scale=1.0)
    below = Hierarchy(matrix, (projector @ rigid_motions(place)).reshape(-1, 6))
    assert below.levels and len(below.bottom) < 500
    load = np.random.default_rng(2).normal(size=(3 * len(place), columns)).astype(np.float32)
    exact = np.linalg.solve(matrix.as_scipy().toarray(), load)
    off = below(load) - exact
    assert np.abs(off).max() < 0.2 * np.abs(exact).max()
    energy = np.einsum("ik,ik->k", off, matrix.as_scipy() @ off) / np.einsum("ik,ik->k", exact, load)
    assert (energy < 0.02).all()


def test_the_bottom_answers_every_load_that_its_motions_resist():
    rng = np.random.default_rng(4)
    root = rng.normal(size=(30, 30))
    whole = root @ root.T
    assert _inverse(whole) == pytest.approx(np.linalg.inv(whole), rel=1e-6, abs=1e-9)
    # Of rank 24: six motions resist nothing, and only loads that bear on the others have an answer
    part = root[:, :24] @ root[:, :24].T
    found = _inverse(part)
    assert found == pytest.approx(found.T, abs=1e-12)
    assert part @ found @ part == pytest.approx(part, abs=1e-8 * np.abs(part).max())
    assert np.abs(part @ found - np.eye(30)).max() > 0.1
