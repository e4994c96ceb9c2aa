"""Boxes in a part as bricks of one isotropic material, solved by factorisation, to test what hangs them."""

import numpy as np

from fem.printing.beads import Grid
from fem.zooming.hang import BoxesInPart


def numbered(filled):
    """Numbers (nz + 1, ny + 1, nx + 1) of the nodes of filled boxes (nz, ny, nx), x running fastest; -1 for air."""
    touched = np.zeros([n + 1 for n in filled.shape], dtype=bool)
    for corner in np.ndindex(2, 2, 2):
        touched[tuple(slice(c, c + n) for c, n in zip(corner, filled.shape, strict=True))] |= filled
    number = np.full(touched.shape, -1, dtype=np.int32)
    number[touched] = np.arange(touched.sum(), dtype=np.int32)
    return number


def boxes_in(locator, axes, low, count, step):
    """Boxes from `low` (print axes), filled where their middles lie in the part."""
    grid = Grid(np.asarray(low, dtype=float), np.asarray(step, dtype=float), tuple(count), 1, 0)
    z, y, x = np.meshgrid(*(np.arange(n) + 0.5 for n in count[::-1]), indexing="ij")
    middle = grid.origin + np.stack([x, y, z], axis=-1).reshape(-1, 3) * grid.step
    filled = locator.holds(middle @ axes).reshape(count[::-1])
    return BoxesInPart(grid, axes, filled, numbered(filled))


def places(boxes):
    """The nodes' places (n, 3) [mm] in print axes, in the order of their numbers."""
    corner = np.argwhere(boxes.number >= 0)
    return boxes.corners(corner)[np.argsort(boxes.number[tuple(corner.T)])]


def brick(step, lam, mu):
    """Stiffness (24, 24) of a trilinear box by 2 x 2 x 2 points, isotropic; nodes x fastest."""
    sign = np.array([[i, j, k] for k in (-1, 1) for j in (-1, 1) for i in (-1, 1)], dtype=float)
    out = np.zeros((24, 24))
    c = lam * np.pad(np.ones((3, 3)), (0, 3)) + mu * np.diag([2.0, 2, 2, 1, 1, 1])
    for point in sign / np.sqrt(3):
        one = (1 + sign * point) / 2
        slope = np.stack([sign[:, d] / step[d] * np.delete(one, d, axis=1).prod(axis=1) for d in range(3)], axis=1)
        b = np.zeros((6, 24))
        for d in range(3):
            b[d, d::3] = slope[:, d]
        for row, (d, e) in enumerate([(1, 2), (0, 2), (0, 1)], start=3):
            b[row, d::3], b[row, e::3] = slope[:, e], slope[:, d]
        out += b.T @ c @ b * step.prod() / 8
    return out


def solved(boxes, lam, mu, forces, held, springs=None):
    """Displacement (n, 3) of the boxes as full beads of one isotropic material."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.linalg import spsolve

    box = np.argwhere(boxes.filled)
    corner = np.array([[k, j, i] for k in (0, 1) for j in (0, 1) for i in (0, 1)])
    node = boxes.number[tuple((box[:, None] + corner).transpose(2, 0, 1))]
    row = (3 * node[:, :, None] + np.arange(3)).reshape(len(box), 24)
    k = brick(np.asarray(boxes.grid.step), lam, mu)
    value = np.tile(k.ravel(), len(box))
    matrix = coo_matrix((value, (np.repeat(row, 24, axis=1).ravel(), np.tile(row, 24).ravel()))).tolil()
    right = forces.ravel().copy()
    if springs is not None:
        for n, spring, rest in zip(springs.node, springs.spring, springs.rest[0], strict=True):
            matrix[3 * n : 3 * n + 3, 3 * n : 3 * n + 3] += spring
            right[3 * n : 3 * n + 3] += spring @ rest
    matrix, out = matrix.tocsr(), np.zeros(3 * boxes.count)
    fixed = (3 * held.node[:, None] + np.arange(3)).ravel()
    out[fixed] = held.displacement[0].ravel()
    free = np.setdiff1d(np.arange(len(out)), fixed)
    out[free] = spsolve(matrix[free][:, free].tocsc(), (right - matrix @ out)[free])
    return out.reshape(-1, 3)
