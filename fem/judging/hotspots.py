"""Places where the part is nearest to failure: local minima of the reserve factor, grouped."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.judging.findings import HotSpot
from fem.judging.reserve import ReserveField
from fem.judging.used_up import node_pairs, used_up_worst
from fem.part.faces import FaceGroup
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

MOST_SPOTS = 8
"""So many places are reported for each case."""
WORTH = 4.0
"""A place whose reserve is more than so many times the least is not worth a line."""


@dataclass(frozen=True)
class SingularPlaces:
    """Nodes (n,) where the stress is made by the way the part is held or loaded: `reason` (n,) "" elsewhere."""

    reason: np.ndarray

    @property
    def at(self) -> np.ndarray:
        return self.reason != ""


def find_singular_places(mesh: TetMesh, *, held: Mapping[str, Index], loaded: Mapping[str, Index]) -> SingularPlaces:
    """Mark the nodes within one element of the edge of a held face or of a load patch narrower than two elements.

    `held` and `loaded`: boundary triangles (j,) by name. Stress at the edge of a held face grows without limit
    as the mesh is refined (9.2 in the literature of corner singularities: M. L. Williams, J. Appl. Mech. 19
    (1952) 526), so a number read there is no property of the part.
    """
    reason = np.full(len(mesh.nodes), "", dtype=object)
    size = np.zeros(len(mesh.nodes))
    for a in range(10):
        np.maximum.at(size, mesh.tets[:, a], mesh.edge_length)
    for name, triangles in loaded.items():
        nodes = np.unique(mesh.triangles[triangles])
        if 0 < len(triangles) <= 4:
            _mark(mesh, reason, size, nodes, f"the patch of load {name}, narrower than two elements")
    for name, triangles in held.items():
        _mark(mesh, reason, size, patch_edge(mesh, triangles), f"the edge of the fixed face {name}")
    return SingularPlaces(reason)


def patch_edge(mesh: TetMesh, triangles: Index) -> Index:
    """Nodes on the rim of a patch of boundary triangles; all of a patch's nodes when it has no rim."""
    own = mesh.triangles[triangles]
    sides = np.concatenate([own[:, [0, 1, 3]], own[:, [1, 2, 4]], own[:, [0, 2, 5]]])
    key = np.sort(sides[:, :2], axis=1)
    _, index, count = np.unique(key, axis=0, return_index=True, return_counts=True)
    rim = sides[index[count == 1]]
    return np.unique(rim).astype(np.int32)


def _mark(mesh: TetMesh, reason: np.ndarray, size: Array, nodes: Index, text: str) -> None:
    from scipy.spatial import cKDTree

    if len(nodes) == 0:
        return
    distance, _ = cKDTree(mesh.nodes[nodes]).query(mesh.nodes, distance_upper_bound=float(size.max()) * 1.2)
    reason[(distance <= size) & (reason == "")] = text


def find_hot_spots(
    mesh: TetMesh, field: ReserveField, singular: SingularPlaces, near: NearestFace
) -> tuple[HotSpot, ...]:
    """Local minima of the reserve factor, least first; minima closer than three elements are one place.

    Before them stands the worst node of each place that permanent loads alone use up.
    """
    used = [_spot(mesh, field, singular, near, n) for n in used_up_worst(mesh, field)]
    edges, r = node_pairs(mesh), field.counted
    lowest = np.isfinite(r)
    lowest[edges[:, 0][r[edges[:, 0]] > r[edges[:, 1]]]] = False
    lowest[edges[:, 1][r[edges[:, 1]] > r[edges[:, 0]]]] = False
    nodes = np.flatnonzero(lowest)
    if len(nodes) == 0:
        return tuple(used)
    nodes = nodes[np.argsort(r[nodes])]
    floor = max(float(r[nodes[0]]), 1e-3)
    real = nodes[~singular.at[nodes]]
    floor = max(floor, float(r[real[0]])) if len(real) else floor
    reach = max(3 * float(np.median(mesh.edge_length)), 0.03 * mesh.diagonal)
    spots: list[int] = []
    for node in nodes:
        if r[node] > WORTH * floor or len(spots) + len(used) == MOST_SPOTS:
            break
        if all(np.linalg.norm(mesh.nodes[node] - mesh.nodes[s]) > reach for s in spots):
            spots.append(int(node))
    return (*used, *(_spot(mesh, field, singular, near, s) for s in spots))


class NearestFace:
    """Answers which named face (or which face of the solid) of a node's own body lies nearest to it."""

    def __init__(self, mesh: TetMesh, groups: Mapping[str, FaceGroup]) -> None:
        # A patch cut from a face keeps its name where the whole face has one, too
        self.mesh, self.names = mesh, sorted(groups, key=lambda name: groups[name].cut_area is not None)
        self._which = np.full(len(mesh.triangles), -1)
        for i, name in enumerate(self.names):
            self._which[groups[name].triangles] = i
        self._near: dict[int, tuple[Any, Any, Any, Any]] = {}

    def __call__(self, node: int) -> tuple[str, float]:
        """Its name and distance [mm]: a named face when one is as near as the nearest, else `body:id`."""
        body, point = int(self.mesh.node_body[node]), self.mesh.nodes[node]
        if body not in self._near:
            self._near[body] = self._trees(body)
        tree, faces, named_tree, named = self._near[body]
        distance, at = tree.query(point)
        if named_tree is not None:
            d, k = named_tree.query(point)
            if d <= distance + 0.05 * self.mesh.diagonal:
                return self.names[int(named[k])], float(d)
        return self.mesh.faces[int(faces[at])].label, float(distance)

    def _trees(self, body: int) -> tuple[Any, Any, Any, Any]:
        """A tree of a body's surface nodes with their faces, and one of those on named faces with their names."""
        from scipy.spatial import cKDTree

        own = self.mesh.node_body[self.mesh.triangles[:, 0]] == body
        flat, face = self.mesh.triangles[own].ravel(), np.repeat(self.mesh.face[own], 6)
        which = np.repeat(self._which[own], 6)
        mine = which >= 0
        named = cKDTree(self.mesh.nodes[flat[mine]]) if mine.any() else None
        return cKDTree(self.mesh.nodes[flat]), face, named, which[mine]


def _spot(mesh: TetMesh, field: ReserveField, singular: SingularPlaces, near: NearestFace, node: int) -> HotSpot:
    face, distance = near(node)
    zone, label = field.phases[field.phase[node]]
    return HotSpot(
        reserve=float(field.reserve[node]),
        mode=field.modes[field.mode[node]],
        zone=zone,
        phase=label,
        body=mesh.bodies[mesh.node_body[node]],
        face=face,
        face_distance_mm=distance,
        at_mm=tuple(float(v) for v in mesh.nodes[node]),
        print_stress_MPa=tuple(float(v) for v in field.print_stress[node]),
        singular=bool(singular.at[node]),
        singular_reason=str(singular.reason[node]),
    )
