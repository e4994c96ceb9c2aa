"""Zones of one tetrahedron become one stiffness.

Wall, cover and core lie on each other along the normal of the part's surface: on a slope, too, where a wall is so
many beads deep in the layer and a cover so many layers deep up the build, what parts them from the core is the
surface, moved inwards. So the quarter of a tetrahedron around each of its integration points is a stack along that
normal (stack.py). This is exact where zones are thin and flat, and as the mesh is refined every quarter comes to hold
one zone alone.
"""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping
from typing import Any

import numpy as np

from fem.errors import InputError
from fem.part.tetmesh import TetMesh
from fem.printing.body import PrintedBody
from fem.printing.field import PrintedField, PrintedMaterial, free_expansion, wall_axes
from fem.printing.stack import stacked
from fem.printing.zones import CORE, COVER, WALL, Outline, Zoning, find_zones, layout_of, one_zone
from fem.tensors import Array, rotate_stiffness, strain_rotation

_CHUNK = 20_000


def printed_field(
    mesh: TetMesh, *, bodies: Mapping[str, PrintedBody], zonings: MutableMapping[Any, Zoning] | None = None
) -> PrintedField:
    """What every tetrahedron of a mesh is made of, from what each body is made of.

    `zonings` keeps where walls and covers lie for the next call with the same mesh, so that prints which differ in
    what they are made of alone need not seek them again.
    Errors: InputError for a body of which nothing is known.
    """
    missing = [b for b in mesh.bodies if b not in bodies]
    if missing:
        raise InputError(f"body {missing[0]} has no material.", advice="Give it a print plan or a metal.")
    m = len(mesh.tets)
    materials: list[PrintedMaterial] = []
    zone, share, quarter = np.full((m, 3), -1, dtype=np.int32), np.zeros((m, 3)), np.zeros((m, 4, 3))
    turn, thin, reach, normal = np.zeros(m), np.zeros(m), np.zeros((m, 3, 4)), np.zeros((m, 4, 3))
    at_points = np.zeros((m, 4), dtype=np.int32)
    tables: list[tuple[Array, Array]] = []
    rows = 0
    for name in mesh.bodies:
        made, tets = bodies[name], mesh.tets_of(name)
        zoning = _zoning(mesh, name, made, {} if zonings is None else zonings)
        for z, material in enumerate(made.zones):
            if material is not None:
                zone[tets, z] = len(materials)
                materials.append(material)
        share[tets], quarter[tets], turn[tets] = zoning.share, zoning.quarter, zoning.turn
        thin[tets], reach[tets], normal[tets] = zoning.thin, zoning.reach, zoning.normal
        table, which = _at_points(made, zoning)
        at_points[tets] = rows + which
        rows += len(table[0])
        tables.append(table)
    stiffness, expansion = (np.concatenate(t) for t in zip(*tables, strict=True))
    told = stiffness, expansion, at_points, quarter, normal
    return PrintedField(tuple(materials), zone, share, turn, thin, reach, *told)


def _zoning(mesh: TetMesh, name: str, made: PrintedBody, known: MutableMapping[Any, Zoning]) -> Zoning:
    """The zones of a body's tetrahedra, with the zones that its plan has, or those known to lie alike."""
    tets = mesh.tets_of(name)
    if made.plan is None or (made.wall is None and made.cover is None):
        return one_zone(len(tets), CORE, up=made.core.print_axes[2])
    key = (name, *layout_of(made.plan))
    if key not in known:
        known[key] = find_zones(mesh, tets, outline=Outline(mesh, body=name, plan=made.plan))
    return known[key]


def _at_points(made: PrintedBody, zoning: Zoning) -> tuple[tuple[Array, Array], np.ndarray]:
    """Tables of stiffness (k, 6, 6) and expansion (k, 6), and the row (m, 4) in them of each integration point: the
    plain cover, the plain core, a wall for each tetrahedron that is all wall, and each mixed quarter's own.
    """
    cover = made.core if made.cover is None else made.cover
    plain = [cover, made.core]
    which = np.where(zoning.quarter[:, :, COVER] == 1, 0, 1)
    stiffness, expansion = [np.array([p.stiffness for p in plain])], [np.array([free_expansion(p) for p in plain])]
    walls = np.flatnonzero((zoning.quarter[:, :, WALL] == 1).all(axis=1))
    which[walls] = 2 + np.arange(len(walls))[:, None]
    rest = (zoning.quarter[:, :, [COVER, CORE]] != 1).all(axis=2)
    rest[walls] = False
    tet, point = np.nonzero(rest)
    which[tet, point] = 2 + len(walls) + np.arange(len(tet))
    if made.wall is not None:
        own = _walls(made.wall, zoning.turn[walls])
        stiffness.append(own[0])
        expansion.append(own[1])
    for some in np.array_split(np.arange(len(tet)), len(tet) // _CHUNK + 1):
        at, q = tet[some], point[some]
        each = [(p.stiffness, free_expansion(p)) for p in plain]
        if made.wall is not None:
            each.insert(WALL, _walls(made.wall, zoning.turn[at]))
        share = zoning.quarter[at, q][:, WALL if made.wall is not None else COVER :]
        together = stacked(
            np.stack([np.broadcast_to(c, (len(at), 6, 6)) for c, _ in each], axis=1),
            expansion=np.stack([np.broadcast_to(a, (len(at), 6)) for _, a in each], axis=1),
            share=share,
            normal=zoning.normal[at, q],
        )
        stiffness.append(together[0])
        expansion.append(together[1])
    return (np.concatenate(stiffness), np.concatenate(expansion)), which


def _walls(wall: PrintedMaterial, turn: Array) -> tuple[Array, Array]:
    """Stiffness (j, 6, 6) and expansion (j, 6) of walls with these turns (j,), in part axes."""
    axes = wall_axes(wall, turn)
    return rotate_stiffness(wall.stiffness, axes), strain_rotation(np.swapaxes(axes, 1, 2)) @ free_expansion(wall)
