"""Stress over a material length at a sharp inner corner, from elements that may be larger than that length.

There stress goes like r^(l - 1). The average over a length reads it half a length away; a mesh of an edge h reads its
mean around the corner's node REACH h / 2 farther away. The exponent l follows from the angle between the faces, so
the one is carried to the other. Ways of walls do not count there, since beads turn the corner.
REACH is by trial, on the safe side: where elements are as large as an arm of the part, they miss what bends it. On a
right angle in the exact field, in elements of 0.2 to 20 lengths, stress comes out at 0.96 to 1.2 of the closed form;
on printed angles and ribs in elements of 3 to 13 lengths the reserve factor is 0.85 to 1.17 of that in fine ones.
Source: M. L. Williams, J. Appl. Mech. 19 (1952) 526 (exponent of an opening corner, both faces free).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.judging.corners import InnerEdges
from fem.part.quadrature import STRESS_POINTS
from fem.part.tetmesh import TET_EDGES, Index
from fem.tensors import Array

REACH = 0.75
THERE = 0.98
"""A zone reaches a node where its largest barycentric coordinate comes to this."""
_SHAPES = np.column_stack([1 - STRESS_POINTS.sum(axis=1), STRESS_POINTS])


def opening_exponent(turn: Array) -> Array:
    """The exponent l (n,) of the opening field where two free faces meet whose normals differ by `turn` (n,) [rad],
    into the part: the least root of sin(l a) + l sin(a) = 0 with the part's angle a = pi + turn.
    """
    from scipy.optimize import brentq

    table = np.linspace(0.02, np.pi - 0.02, 60)
    roots = [brentq(lambda x, a=np.pi + t: np.sin(x * a) + x * np.sin(a), 0.45, 1 - 1e-9) for t in table]
    return np.asarray(np.interp(turn, [0.0, *table, np.pi], [1.0, *roots, 0.5]))


def sharp_nodes(edges: InnerEdges, nodes: int) -> Array:
    """The exponent (n,) of the sharpest inner edge through each node; 1 where there is none."""
    out = np.ones(nodes)
    np.minimum.at(out, edges.ends.ravel(), np.repeat(opening_exponent(edges.turn), edges.ends.shape[1]))
    return out


@dataclass(frozen=True)
class Notch:
    """The sharp inner corners of a zone: which of its nodes lie `at` (j,) one, what their stress is to be multiplied
    by there (`factor` (j,)), the `middles` (i, 3) between two of these, the zone's tetrahedra around them
    (`tets` (k,)), where these have them (`which` (k, 4), -1 for other corners) and the weight (k, 4, 4) of each
    integration point for each corner.
    """

    at: Index
    factor: Array
    middles: Index
    tets: Index
    which: Index
    weight: Array

    def mean(self, own: Array) -> Array:
        """The mean stress (j, 6) around each node, from a zone's stress (m, 4, 6) at its points."""
        out, whole = np.zeros((len(self.at) + 1, 6)), np.zeros(len(self.at) + 1)
        np.add.at(out, self.which, np.einsum("kaq,kqc->kac", self.weight, own[self.tets]))
        np.add.at(whole, self.which, self.weight.sum(axis=2))
        return np.asarray(out[:-1] / whole[:-1, None])


def notch_of(
    exponent: Array, *, place: Index, near: Array, node: Index, volume: Array, edge: Array, length: float
) -> Notch | None:
    """The corners of a zone with a material `length` [mm]; None where it has none.

    `exponent` and mean `edge` [mm] of all nodes; `place` (m, 10) the zone's nodes of its tetrahedra, `node` (n,)
    their numbers among all, `near` (m, 4) how far the zone comes to each corner, `volume` (m, 4) [mm^3] of a point.
    """
    corner = place[:, :4]
    found = (near >= THERE) & (exponent[node[corner]] < 1)
    if length <= 0 or not found.any():
        return None
    at = np.unique(corner[found])
    number = np.full(len(node), -1)
    number[at] = np.arange(len(at))
    which = number[corner]
    tets = np.flatnonzero((which >= 0).any(axis=1))
    factor = (1 + REACH * edge[node[at]] / length) ** (1 - exponent[node[at]])
    weight = volume[tets][:, None, :] * _SHAPES.T[None]
    ends = place[tets][:, np.array(TET_EDGES)]
    middles = np.concatenate([place[tets][:, 4:, None], ends], axis=2)[(number[ends] >= 0).all(axis=2)]
    middles = middles[np.unique(middles[:, 0], return_index=True)[1]]
    return Notch(at, factor, middles, tets, which[tets], weight)
