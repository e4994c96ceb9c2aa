"""Places that a case's permanent loads alone use up: nothing of their strength is left for the growing loads.

There the reserve factor is 0 whatever grows, and one crushed node would turn a whole answer into 0. So such places
are told on their own, with how far the permanent stress goes beyond the strength, and the least reserve factor is
that of all others. Beside a crushed node the permanent stress fades: a node still belongs to its place where they are
connected and permanent loads take more than `TAKEN` of the strength, so that the answer elsewhere does not depend on
how near to the edge of the crushed zone a node of the mesh happens to lie.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fem.judging.findings import UsedUp
from fem.judging.reserve import ReserveField
from fem.part.quadrature import tet_volumes
from fem.part.tetmesh import TET_EDGES, Index, TetMesh
from fem.tensors import Array

TAKEN = 0.8
"""Share of the strength taken by permanent loads above which a node beside a crushed one belongs to its place."""
MOST_PLACES = 4
"""So many used up places are told of a case."""

Bools = NDArray[np.bool_]


def node_pairs(mesh: TetMesh) -> Index:
    """Pairs (k, 2) of nodes that follow each other along an edge of a tetrahedron."""
    ends = [mesh.tets[:, [i, 4 + k]] for k, (i, _) in enumerate(TET_EDGES)]
    ends += [mesh.tets[:, [j, 4 + k]] for k, (_, j) in enumerate(TET_EDGES)]
    return np.asarray(np.concatenate(ends))


def used_up_nodes(mesh: TetMesh, alone: Array) -> Bools:
    """Nodes (n,) of the places that permanent loads use up, from their reserve factor `alone` (n,)."""
    place = _places(mesh, alone < 1 / TAKEN)
    spent = np.unique(place[alone <= 1])
    return np.isin(place, spent[spent >= 0])


def without_used_up(left: ReserveField, used: Bools, alone: ReserveField) -> ReserveField:
    """The field `left`, judged without the nodes `used` (n,), with reserve 0 at these, and what the permanent loads
    `alone` make there.
    """
    return replace(
        left,
        reserve=np.where(used, 0.0, left.reserve),
        mode=np.where(used, alone.mode + len(left.modes), left.mode),
        modes=(*left.modes, *alone.modes),
        phase=np.where(used, alone.phase + len(left.phases), left.phase),
        phases=(*left.phases, *alone.phases),
        print_stress=np.where(used[:, None], alone.print_stress, left.print_stress),
        used=used,
        alone=alone,
    )


def used_up_places(
    mesh: TetMesh, field: ReserveField, near: Callable[[int], tuple[str, float]]
) -> tuple[UsedUp, ...]:
    """The places that permanent loads alone use up, worst first; `near` names the face nearest to a node."""
    if field.used is None or field.alone is None:
        return ()
    alone, place = field.alone, _places(mesh, field.used)
    each = tet_volumes(mesh) / mesh.tets.shape[1]
    volume = np.bincount(mesh.tets.ravel(), np.repeat(each, mesh.tets.shape[1]), minlength=len(mesh.nodes))
    out = []
    for worst in used_up_worst(mesh, field):
        nodes, body = np.flatnonzero(place == place[worst]), mesh.node_body[worst]
        out.append(
            UsedUp(
                reserve=float(alone.reserve[worst]),
                mode=alone.modes[alone.mode[worst]],
                zone=alone.phases[alone.phase[worst]][0],
                body=mesh.bodies[body],
                face=near(worst)[0],
                at_mm=tuple(float(v) for v in mesh.nodes[worst]),
                share=float(volume[nodes].sum() / volume[mesh.node_body == body].sum()),
                nodes=len(nodes),
            )
        )
    return tuple(out)


def used_up_worst(mesh: TetMesh, field: ReserveField) -> list[int]:
    """The node of each used up place at which permanent loads go farthest beyond the strength, the worst place first;
    at most MOST_PLACES.
    """
    if field.used is None or field.alone is None:
        return []
    place, alone = _places(mesh, field.used), field.alone.reserve
    each = [np.flatnonzero(place == number) for number in range(place.max() + 1)]
    worst = [int(nodes[alone[nodes].argmin()]) for nodes in each]
    return sorted(worst, key=lambda node: float(alone[node]))[:MOST_PLACES]


def _places(mesh: TetMesh, some: Bools) -> Index:
    """The number (n,) of the connected place that each of `some` nodes (n,) belongs to, -1 for the others."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    pairs = node_pairs(mesh)
    inside = pairs[some[pairs].all(axis=1)]
    n = len(some)
    joined = coo_array((np.ones(len(inside)), (inside[:, 0], inside[:, 1])), shape=(n, n))
    number = connected_components(joined, directed=False)[1]
    out = np.full(n, -1)
    out[some] = np.unique(number[some], return_inverse=True)[1]
    return out
