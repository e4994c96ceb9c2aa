"""Whether the reserve at a hot spot stands, from what it was on the meshes before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fem.judging.convergence import SPREAD_SAFETY, band_from, holds_within
from fem.judging.corners import inner_edges, nearest_inner_edge, singular_exponent
from fem.judging.findings import HotSpot
from fem.part.tetmesh import TetMesh
from fem.printing.field import PrintedField
from fem.tensors import Array

SETTLED, MOVING, SHARP_CORNER, SUPPORT = "settled", "moving", "sharp corner", "support"
REACH = 0.6
"""On earlier meshes a spot's reserve is the least within so many edges of the first mesh."""


@dataclass(frozen=True)
class Earlier:
    """The reserve field (n,) of each case on one mesh, with a `tree` of its nodes and the edges (n,) there."""

    tree: Any
    edge: Array
    reserve: Mapping[str, Array]

    @classmethod
    def of(cls, mesh: TetMesh, reserve: Mapping[str, Array]) -> Earlier:
        from scipy.spatial import cKDTree

        edge = np.zeros(len(mesh.nodes))
        np.maximum.at(edge, mesh.tets.ravel(), np.repeat(mesh.edge_length, 10))
        return cls(cKDTree(mesh.nodes), edge, reserve)

    def edge_at(self, place: Array) -> float:
        """The longest edge of the tetrahedra around the node nearest to a place (3,)."""
        return float(self.edge[self.tree.query(place)[1]])

    def least(self, case: str, place: Array, reach: float) -> float:
        """The least reserve within `reach` [mm] of a place (3,), or of the nearest node."""
        near = self.tree.query_ball_point(place, reach) or [self.tree.query(place)[1]]
        return float(self.reserve[case][near].min())


def spots_with_verdict(
    spots: Sequence[HotSpot],
    mesh: TetMesh,
    printed: PrintedField,
    displacement: Array,
    *,
    case: str,
    earlier: Sequence[Earlier],
    sizes: Sequence[float],
    accuracy: float,
) -> tuple[HotSpot, ...]:
    """Hot spots of the last mesh with their verdict and band; `earlier` holds all meshes, the last one too.

    A spot at a sharp inner corner has the exponent of its stress, where that shows.
    """
    edges, out = inner_edges(mesh), []
    for spot in spots:
        place = np.array(spot.at_mm)
        reach = REACH * earlier[0].edge_at(place)
        values = [*(each.least(case, place, reach) for each in earlier[:-1]), spot.reserve]
        at = None if spot.singular else nearest_inner_edge(mesh, edges, place)
        sharp, exponent = at is not None, None
        if at is not None:
            exponent = singular_exponent(mesh, printed, displacement, edges.middle[at], edges.along[at])
        band = None if spot.singular else band_from(values, sizes, singular=sharp)
        verdict = SUPPORT if spot.singular else SHARP_CORNER if sharp else ""
        if not verdict and band is not None:
            # Two meshes may agree by chance: what the band holds must agree too, with the factor in it
            near = band.high - spot.reserve <= SPREAD_SAFETY * accuracy * spot.reserve
            verdict = SETTLED if near and holds_within(values, accuracy) else MOVING
        told = spot.band if len(values) < 2 else ()
        if band is not None:
            told = max(band.low, 0.0), band.high
        out.append(replace(spot, verdict=verdict, exponent=exponent, band=told))
    return tuple(out)
