"""Zones that lie on each other along a normal: one stiffness of them all.

Across the normal n they share the traction, in its plane the strain: what a zone's strain has more than the mean is
sym(a x n), with a vector a for each zone and a mean of zero. So each zone costs the inverse of a 3 x 3 (n . C . n)
and no axes are turned.
Source: the jump conditions of a perfect interface, as in any text on laminates of rank one, e.g. G. W. Milton, The
Theory of Composites (2002), chapter 9.
"""

from __future__ import annotations

import numpy as np

from fem.tensors import Array


def jump_strain(normal: Array) -> Array:
    """The matrices (j, 6, 3) that take a vector a to the strain sym(a x n), normals n (j, 3)."""
    x, y, z = normal.T
    out = np.zeros((len(normal), 6, 3))
    for row, column, part in (
        (0, 0, x), (1, 1, y), (2, 2, z), (3, 1, z), (3, 2, y), (4, 0, z), (4, 2, x), (5, 0, y), (5, 1, x),
    ):  # fmt: skip
        out[:, row, column] = part
    return out


def stacked(stiffness: Array, *, expansion: Array, share: Array, normal: Array) -> tuple[Array, Array]:
    """Stiffness (j, 6, 6) [MPa] and free expansion (j, 6) [1/K] of zones of `stiffness` (j, z, 6, 6) and `expansion`
    (j, z, 6) that fill `share` (j, z) of the room and lie on each other along `normal` (j, 3), in one set of axes.
    """
    jump = jump_strain(normal)
    pull = np.swapaxes(jump, 1, 2)[:, None] @ stiffness  # traction of a zone under the mean strain
    give = np.linalg.inv(pull @ jump[:, None])
    weighted = share[:, :, None, None] * give
    traction = np.linalg.solve(weighted.sum(axis=1), (weighted @ pull).sum(axis=1))
    strain = np.eye(6) + jump[:, None] @ (give @ (traction[:, None] - pull))
    whole = (share[:, :, None, None] * (stiffness @ strain)).sum(axis=1)
    # A free stack: what each zone would press upon the others when the mean strain is held at zero (Levin's relation)
    held = np.einsum("jzab,jzb->jza", stiffness, expansion)
    pressed = np.einsum("jz,jzba,jzb->ja", share, strain, held)
    return (whole + np.swapaxes(whole, 1, 2)) / 2, np.linalg.solve(whole, pressed[..., None])[..., 0]
