"""Stiffness of eight-node hexahedra that bend: trilinear displacements and three incompatible modes.

The incompatible modes let a wall of one element bend without locking; they are condensed out of each element. Their
gradients are taken at the element's centre and scaled, so that every distorted mesh passes the patch test.

Source: R. L. Taylor, P. J. Beresford and E. L. Wilson, Int. J. Numer. Methods Eng. 10 (1976) 1211.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.printing.infill.mesh import SIGNS
from fem.tensors import Array

GAUSS = SIGNS / np.sqrt(3)
"""Integration points (8, 3), each of weight one, in the order of the corners."""
_AT_ONCE = 1500


@dataclass(frozen=True)
class Elements:
    """What the cell's solution needs of its n hexahedra.

    `matrix` (n, 24, 24) [N/mm]; `mean` (n, 6, 24) [1/mm] mean strain of the corners' displacements, three a corner;
    `volume` (n,) [mm^3].
    """

    matrix: Array
    mean: Array
    volume: Array


def _gradient(points: Any) -> Array:
    """Slopes (q, 8, 3) of the trilinear shape functions at reference `points` (q, 3)."""
    one = 1 + np.asarray(points, dtype=float)[:, None, :] * SIGNS
    others = np.stack([one[..., 1] * one[..., 2], one[..., 0] * one[..., 2], one[..., 0] * one[..., 1]], axis=-1)
    return SIGNS * others / 8


_SLOPES = _gradient(GAUSS)
_MIDDLE = _gradient(np.zeros((1, 3)))[0]


def _strain_of(gradient: Array) -> Array:
    """Strain matrices (..., 6, 3k) of functions with `gradient` (..., k, 3)."""
    gx, gy, gz = np.moveaxis(gradient, -1, 0)
    out = np.zeros((*gx.shape[:-1], 6, gx.shape[-1], 3))
    out[..., 0, :, 0], out[..., 1, :, 1], out[..., 2, :, 2] = gx, gy, gz
    out[..., 3, :, 1], out[..., 3, :, 2] = gz, gy
    out[..., 4, :, 0], out[..., 4, :, 2] = gz, gx
    out[..., 5, :, 0], out[..., 5, :, 1] = gy, gx
    return out.reshape(*out.shape[:-2], -1)


def point_strains(corners: Array) -> tuple[Array, Array]:
    """Strain matrices (n, 8, 6, 33) at the integration points, incompatible modes last, and weights (n, 8) [mm^3]."""
    jacobian = np.einsum("qad,nai->nqdi", _SLOPES, corners)
    det = np.linalg.det(jacobian)
    if not det.min() > 0:
        raise ValueError("a hexahedron of the cell is turned inside out")
    middle = np.einsum("ad,nai->ndi", _MIDDLE, corners)
    gradient = np.linalg.solve(jacobian, np.broadcast_to(_SLOPES.transpose(0, 2, 1), (*det.shape, 3, 8)))
    bent = np.linalg.inv(middle)[:, None] * (-2 * GAUSS)[None, :, None, :]
    bent = bent * (np.linalg.det(middle)[:, None] / det)[..., None, None]
    both = np.concatenate([gradient, bent], axis=-1)
    return _strain_of(np.swapaxes(both, -1, -2)), det


def point_gradients(corners: Array) -> tuple[Array, Array]:
    """Slopes (n, 8, 8, 3) [1/mm] of the corners' functions at the integration points, and weights (n, 8) [mm^3]."""
    jacobian = np.einsum("qad,nai->nqdi", _SLOPES, corners)
    slopes = np.broadcast_to(_SLOPES.transpose(0, 2, 1), (*jacobian.shape[:2], 3, 8))
    return np.swapaxes(np.linalg.solve(jacobian, slopes), 2, 3), np.linalg.det(jacobian)


def volumes(corners: Array) -> Array:
    """Volumes (n,) [mm^3] of hexahedra with `corners` (n, 8, 3) [mm]."""
    return np.linalg.det(np.einsum("qad,nai->nqdi", _SLOPES, corners)).sum(axis=1)


def _in_parts(count: int) -> Iterator[slice]:
    for start in range(0, count, _AT_ONCE):
        yield slice(start, min(start + _AT_ONCE, count))


def _full(strain: Array, weight: Array, stiffness: Array) -> Array:
    """Stiffness (n, 33, 33) before condensation."""
    n = len(strain)
    flux = (stiffness[:, None] @ strain) * weight[..., None, None]
    return np.swapaxes(strain.reshape(n, 48, 33), 1, 2) @ flux.reshape(n, 48, 33)


def elements(corners: Array, *, stiffness: Array) -> Elements:
    """Condensed stiffness of hexahedra with `corners` (n, 8, 3) [mm] and material `stiffness` (n, 6, 6) [MPa].

    Errors: ValueError when a hexahedron is turned inside out.
    """
    n = len(corners)
    matrix, mean, volume = np.empty((n, 24, 24)), np.empty((n, 6, 24)), np.empty(n)
    for part in _in_parts(n):
        strain, weight = point_strains(corners[part])
        full = _full(strain, weight, stiffness[part])
        matrix[part] = full[:, :24, :24] - full[:, :24, 24:] @ np.linalg.solve(full[:, 24:, 24:], full[:, 24:, :24])
        volume[part] = weight.sum(axis=1)
        mean[part] = np.einsum("nqij,nq->nij", strain[..., :24], weight) / volume[part, None, None]
    return Elements((matrix + np.swapaxes(matrix, 1, 2)) / 2, mean, volume)


def strain_slopes(corners: Array, *, stiffness: Array, moves: Array) -> Array:
    """Half the change of strain (n, 3, 6, k) from one face of each hexahedron to the opposite one, by direction.

    `moves` (n, 24, k) [mm] are displacements of the corners in k load states; what the incompatible modes add is
    included.
    """
    out = np.empty((len(corners), 3, 6, moves.shape[2]))
    for part in _in_parts(len(corners)):
        strain, weight = point_strains(corners[part])
        full = _full(strain, weight, stiffness[part])
        u = moves[part]
        bent = -np.linalg.solve(full[:, 24:, 24:], full[:, 24:, :24] @ u)
        at = strain @ np.concatenate([u, bent], axis=1)[:, None]
        # linear between the integration points at 1/sqrt(3) of the way to the faces
        out[part] = np.einsum("qd,nqik->ndik", SIGNS, at) / 8 * np.sqrt(3)
    return out
