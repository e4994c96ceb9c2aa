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

from fem.judging.averaging import middles_of
from fem.judging.corners import InnerEdges
from fem.part.quadrature import STRESS_POINTS
from fem.part.tetmesh import Index
from fem.tensors import Array

REACH = 0.75
SHARP = np.deg2rad(40.0)
"""Flat facets of a round hole meet at smaller angles than this; corners of so little more hardly raise stress."""
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
    some = edges.turn > SHARP
    np.minimum.at(out, edges.ends[some].ravel(), np.repeat(opening_exponent(edges.turn[some]), 2))
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
        """The mean stress (k, j, 6) around each node, from a zone's stress (m, k, 4, 6) at its points."""
        loads, n = own.shape[1], len(self.at) + 1
        out, whole = np.zeros((n, loads, 6)), np.zeros(n)
        np.add.at(out, self.which, np.einsum("taq,tkqc->takc", self.weight, own[self.tets]))
        np.add.at(whole, self.which, self.weight.sum(axis=2))
        return np.asarray(np.swapaxes(out[:-1] / whole[:-1, None, None], 0, 1))

    def carried(self, found: Array, over: Array, place: Index) -> Array:
        """Stress of entries (k, e, 6) at `place` (e,), with that of the nodes (k, n, 6) carried to the corners."""
        node = over.copy()
        node[:, self.at] *= self.factor[:, None]
        middle, one, two = self.middles.T
        node[:, middle] = (node[:, one] + node[:, two]) / 2
        sharp = np.isin(place, np.concatenate([self.at, middle]))
        found[:, sharp] = node[:, place[sharp]]
        return found


def notch_of(
    exponent: Array, *, place: Index, near: Array, volume: Array, edge: Array, length: float
) -> Notch | None:
    """The corners of a zone with a material `length` [mm]; None where it has none.

    `exponent` (n,) and mean `edge` (n,) [mm] at the zone's nodes; `place` (m, 10) those of its tetrahedra, `near`
    (m, 4) how far the zone comes to each corner, `volume` (m, 4) [mm^3] of its points.
    """
    corner = place[:, :4]
    found = (near >= THERE) & (exponent[corner] < 1)
    if length <= 0 or not found.any():
        return None
    at = np.unique(corner[found])
    number = np.full(len(exponent), -1)
    number[at] = np.arange(len(at))
    which = number[corner]
    tets = np.flatnonzero((which >= 0).any(axis=1))
    factor = (1 + REACH * edge[at] / length) ** (1 - exponent[at])
    weight = volume[tets][:, None, :] * _SHAPES.T[None]
    middles = middles_of(place[tets])
    middles = middles[(number[middles[:, 1:]] >= 0).all(axis=1)]
    return Notch(at, factor, middles, tets, which[tets], weight)
