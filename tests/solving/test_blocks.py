"""The compiled products against SciPy's own: every column of every width, in both precisions."""

import numpy as np
import pytest
from scipy.sparse import bsr_matrix

from fem.solving import products
from fem.solving.blocks import BlockMatrix, inverses, padded
from fem.solving.smoother import BlockSmoother, chebyshev

ROWS = 37


def pattern(seed=1):
    """Rows with sorted columns, symmetric, each with its diagonal."""
    rng = np.random.default_rng(seed)
    linked = rng.random((ROWS, ROWS)) < 0.2
    linked |= linked.T | np.eye(ROWS, dtype=bool)
    start = np.concatenate([[0], np.cumsum(linked.sum(axis=1))]).astype(np.int32)
    return start, np.nonzero(linked)[1].astype(np.int32)


def positive(dtype):
    """A symmetric positive matrix of blocks on that pattern, and the same by SciPy in double precision."""
    start, column = pattern()
    dense = np.random.default_rng(2).normal(size=(3 * ROWS, 3 * ROWS))
    dense = dense + dense.T + 60 * np.eye(3 * ROWS)
    row = np.repeat(np.arange(ROWS), np.diff(start))
    blocks = dense.reshape(ROWS, 3, ROWS, 3).transpose(0, 2, 1, 3)[row, column].astype(dtype)
    return BlockMatrix(start, column, np.ascontiguousarray(blocks)), bsr_matrix(
        (blocks.astype(float), column, start), shape=(3 * ROWS, 3 * ROWS)
    )


@pytest.mark.parametrize(("dtype", "off"), [(np.float32, 1e-6), (np.float64, 1e-14)])
@pytest.mark.parametrize("columns", range(1, 14))
def test_products_are_those_of_scipy(columns, dtype, off):
    ours, theirs = positive(dtype)
    x = np.random.default_rng(columns).normal(size=(3 * ROWS, columns)).astype(dtype)
    right = theirs @ x.astype(float)
    size = np.abs(right).max()
    assert np.abs(ours @ x - right).max() < 10 * off * size
    wide = np.zeros((3 * ROWS, padded(columns)), dtype=dtype)
    wide[:, :columns] = x
    out = np.ones_like(wide)
    ours.multiply(wide, out, keep=2.0, gain=-0.5)
    assert np.abs(out[:, :columns] - (2 - 0.5 * right)).max() < 10 * off * size


@pytest.mark.parametrize("columns", [1, 4, 12])
def test_the_smoother_is_its_polynomial(columns):
    matrix, theirs = positive(np.float32)
    smooth = BlockSmoother(matrix, degree=3)
    inverse = np.zeros((3 * ROWS, 3 * ROWS))
    for i, block in enumerate(np.linalg.inv(matrix.diagonal_blocks())):
        inverse[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] = block
    rng = np.random.default_rng(3)
    load, x = (rng.normal(size=(3 * ROWS, columns)).astype(np.float32) for _ in range(2))
    found = x.copy()
    smooth(load, found, blank=False)
    step, right = np.zeros(x.shape), x.astype(float)
    for keep, gain in chebyshev(smooth.top, 3):
        step = keep * step + gain * inverse @ (load - theirs @ right)
        right = right + step
    assert np.abs(found - right).max() < 1e-5 * np.abs(right).max()
    # The bound of the spectrum lies above it, and near
    top = np.abs(np.linalg.eigvals(inverse @ theirs.toarray())).max()
    assert top <= smooth.top * (1 + 1e-5) < 1.3 * top


def test_held_directions_become_springs():
    matrix, theirs = positive(np.float64)
    axis = np.array([1.0, 2.0, -2.0]) / 3
    projector = np.tile(np.eye(3), (ROWS, 1, 1))
    projector[5], projector[11] = np.eye(3) - np.outer(axis, axis), 0.0
    whole = np.zeros((3 * ROWS, 3 * ROWS))
    for i in range(ROWS):
        whole[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] = projector[i]
    right = whole @ theirs.toarray() @ whole + 7.0 * (np.eye(3 * ROWS) - whole)
    matrix.hold(projector, scale=7.0)
    assert np.abs(matrix.as_scipy().toarray() - right).max() < 1e-12 * np.abs(right).max()


def test_inverses_of_blocks():
    matrix, _ = positive(np.float64)
    blocks = matrix.diagonal_blocks()
    assert np.abs(inverses(blocks, dtype=np.float64) @ blocks - np.eye(3)).max() < 1e-13


def test_a_width_that_loops_do_not_know_is_refused():
    matrix, _ = positive(np.float64)
    with pytest.raises(ValueError, match="four columns"):
        matrix.multiply(np.ones((3 * ROWS, 3)), np.ones((3 * ROWS, 3)))


def test_sums_by_column():
    rng = np.random.default_rng(4)
    x, y = rng.normal(size=(2, 50, 4))
    assert products.dots(x, y, 0, 50) == pytest.approx((x * y).sum(axis=0), rel=1e-12)
    assert products.dots(x, y, 10, 20) == pytest.approx((x[10:20] * y[10:20]).sum(axis=0), rel=1e-12)


@pytest.mark.parametrize("columns", [1, 5, 8, 12])
@pytest.mark.parametrize("size", [(6, 6), (3, 6), (6, 3)])
def test_larger_blocks_are_cut(size, columns):
    rng = np.random.default_rng(5)
    linked = rng.random((20, 11)) < 0.3
    linked[4] = False  # a row without blocks
    start, column = np.concatenate([[0], np.cumsum(linked.sum(axis=1))]), np.nonzero(linked)[1]
    theirs = bsr_matrix((rng.normal(size=(len(column), *size)), column, start), shape=(20 * size[0], 11 * size[1]))
    x = rng.normal(size=(theirs.shape[1], columns))
    right = theirs @ x
    assert np.abs(BlockMatrix.of_scipy(theirs) @ x - right).max() < 1e-6 * np.abs(right).max()
    assert np.abs(
        BlockMatrix.of_scipy(theirs.T.tobsr(blocksize=size[::-1])) @ right - theirs.T @ right
    ).max() < 1e-5 * (np.abs(theirs.T @ right).max())


def test_turns_without_stiffness_are_left_alone():
    matrix, _ = positive(np.float32)
    rows = np.repeat(np.arange(ROWS), np.diff(matrix.start))
    matrix.blocks[(rows == 7) | (matrix.column == 7)] = 0.0
    load, x = np.ones((3 * ROWS, 1), dtype=np.float32), np.zeros((3 * ROWS, 1), dtype=np.float32)
    BlockSmoother(matrix, degree=2, whole=False)(load, x, blank=True)
    assert np.isfinite(x).all() and (x[21:24] == 0).all() and (np.delete(x, [21, 22, 23]) != 0).all()
