"""Zones of one tetrahedron become one stiffness, and each zone knows what it feels.

Covers and core lie on each other up the build; the wall stands beside both, square to the outline. So a tetrahedron
is a stack in a stack: cover and core laminated along the build direction, then wall and both laminated along the
outline's normal in the layer (layers.py). Both are exact where the zones are thin and straight, and as the mesh is
refined every tetrahedron comes to hold one zone alone.
"""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping
from typing import Any

import numpy as np

from fem.errors import InputError
from fem.part.tetmesh import TetMesh
from fem.printing.body import PrintedBody
from fem.printing.field import PrintedField, PrintedMaterial, wall_axes
from fem.printing.layers import laminate
from fem.printing.zones import CORE, COVER, WALL, Outline, Zoning, find_zones, layout_of
from fem.tensors import Array, rotate_stiffness, strain_rotation, stress_rotation

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
    zone, share = np.full((m, 3), -1, dtype=np.int32), np.zeros((m, 3))
    turn, thin, reach = np.zeros(m), np.zeros(m), np.zeros((m, 3, 4))
    mixture, at_points = np.zeros(m, dtype=np.int32), np.zeros((m, 4), dtype=np.int32)
    tables: list[tuple[Array, Array, Array, Array]] = []
    zoned: dict[str, Zoning] = {}
    rows = 0
    for name in mesh.bodies:
        made, tets = bodies[name], mesh.tets_of(name)
        zoning = _zoning(mesh, name, made, {} if zonings is None else zonings)
        for z, material in enumerate(made.zones):
            if material is not None:
                zone[tets, z] = len(materials)
                materials.append(material)
        share[tets], turn[tets], thin[tets], reach[tets] = zoning.share, zoning.turn, zoning.thin, zoning.reach
        table, which = _mixtures(made, zoning.share, zoning.turn)
        mixture[tets] = rows + which
        rows += len(table[0])
        tables.append(table)
        zoned[name] = zoning
    # The integration points' own rows stand after all mixtures
    points: list[tuple[Array, Array]] = []
    for name in mesh.bodies:
        tets = mesh.tets_of(name)
        at_points[tets] = mixture[tets, None]
        mixed = np.flatnonzero((zoned[name].share < 1).all(axis=1))
        if len(mixed):
            quarters, turns = zoned[name].quarter[mixed].reshape(-1, 3), np.repeat(zoned[name].turn[mixed], 4)
            point_table, which = _mixtures(bodies[name], quarters, turns, whole=False)
            at_points[tets[mixed]] = rows + which.reshape(-1, 4)
            rows += len(point_table[0])
            points.append(point_table[:2])
    stiffness, expansion = (np.concatenate(t) for t in zip(*(t[:2] for t in tables), *points, strict=True))
    local, warmed = (np.concatenate(t) for t in zip(*(t[2:] for t in tables), strict=True))
    return PrintedField(
        tuple(materials), zone, share, turn, thin, reach, stiffness, expansion, at_points, mixture, local, warmed
    )


def _zoning(mesh: TetMesh, name: str, made: PrintedBody, known: MutableMapping[Any, Zoning]) -> Zoning:
    """The zones of a body's tetrahedra, with the zones that its plan has, or those known to lie alike."""
    tets = mesh.tets_of(name)
    if made.plan is None or (made.wall is None and made.cover is None):
        share, reach = np.zeros((len(tets), 3)), np.zeros((len(tets), 3, 4))
        share[:, CORE], reach[:, CORE] = 1.0, 1.0
        quarter = np.repeat(share[:, None], 4, axis=1)
        return Zoning(share, quarter, np.zeros(len(tets)), np.zeros(len(tets)), reach)
    key = (name, *layout_of(made.plan))
    if key not in known:
        known[key] = find_zones(mesh, tets, outline=Outline(mesh, body=name, plan=made.plan))
    return known[key]


def _mixtures(
    made: PrintedBody, share: Array, turn: Array, *, whole: bool = True
) -> tuple[tuple[Array, Array, Array, Array], np.ndarray]:
    """Tables of stiffness (k, 6, 6), expansion (k, 6), local (k, 3, 6, 6) and local residual stress (k, 3, 6), and
    the row (m,) in them of each of the shares (m, 3). The first rows are the plain cover and the plain core; the last
    two tables are of no use unless the `whole` is asked for.
    """
    plain = [made.core if made.cover is None else made.cover, made.core]
    which = np.where(share[:, COVER] == 1, 0, 1)
    mixed = np.flatnonzero((share[:, COVER] != 1) & (share[:, CORE] != 1))
    alone = (share[mixed, WALL] == 1) & (not whole)
    mixed = np.concatenate([mixed[alone], mixed[~alone]])
    which[mixed] = 2 + np.arange(len(mixed))
    walls, rest = mixed[: alone.sum()], mixed[alone.sum() :]
    chunks = np.array_split(rest, len(rest) // _CHUNK + 1)
    parts = [_walls(made, turn[walls]), *(_mix(made, share[at], turn[at], whole=whole) for at in chunks)]
    first = (
        np.array([m.stiffness for m in plain]),
        np.array([_expansion(m) for m in plain]),
        np.broadcast_to(np.eye(6), (2, 3, 6, 6)),
        np.zeros((2, 3, 6)),
    )
    return tuple(np.concatenate(t) for t in zip(first, *parts, strict=True)), which  # type: ignore[return-value]


def _walls(made: PrintedBody, turn: Array) -> tuple[Array, Array, Array, Array]:
    """Stiffness and expansion of walls alone with these turns (j,); nothing to tell apart in them."""
    nothing = np.zeros((0, 3, 6, 6)), np.zeros((0, 3, 6))
    if made.wall is None:
        return np.zeros((0, 6, 6)), np.zeros((0, 6)), *nothing
    axes = wall_axes(made.wall, turn)
    stiffness = rotate_stiffness(made.wall.stiffness, axes)
    return stiffness, strain_rotation(np.swapaxes(axes, 1, 2)) @ _expansion(made.wall), *nothing


def _mix(made: PrintedBody, share: Array, turn: Array, *, whole: bool) -> tuple[Array, Array, Array, Array]:
    """Stiffness, expansion, and for the `whole` local and local residual stress, of these shares (j, 3) and turns
    (j,)."""
    core, cover, wall = made.core, made.cover or made.core, made.wall
    axes = core.print_axes
    into_print, into_part = stress_rotation(axes), stress_rotation(axes.T)

    def printed(material: PrintedMaterial) -> tuple[Array, Array]:
        return rotate_stiffness(material.stiffness, axes.T), strain_rotation(axes) @ _expansion(material)

    j = len(share)
    rest = share[:, COVER] + share[:, CORE]
    within = np.where(rest > 0, share[:, COVER] / np.maximum(rest, 1e-300), 0.0)
    (c_cover, a_cover), (c_core, a_core) = printed(cover), printed(core)
    stack = laminate(
        np.broadcast_to(np.array([c_cover, c_core]), (j, 2, 6, 6)),
        expansion=np.broadcast_to(np.array([a_cover, a_core]), (j, 2, 6)),
        shares=np.column_stack([within, 1 - within]),
    )
    assert stack.expansion is not None and stack.residual is not None
    local, warmed = np.zeros((0, 3, 6, 6)), np.zeros((0, 3, 6))
    if whole:
        local, warmed = np.broadcast_to(np.eye(6), (j, 3, 6, 6)).copy(), np.zeros((j, 3, 6))
        local[:, [COVER, CORE]], warmed[:, [COVER, CORE]] = stack.localisation, stack.residual
    stiffness, expansion = stack.stiffness, stack.expansion
    if wall is not None:
        # The frame of the outline: up, along it, square to it; the last is the normal of the stack
        cosine, sine, zero, one = np.cos(turn), np.sin(turn), np.zeros(j), np.ones(j)
        frame = np.array([[zero, zero, one], [cosine, sine, zero], [-sine, cosine, zero]]).transpose(2, 0, 1)
        into, back = stress_rotation(frame), stress_rotation(np.swapaxes(frame, 1, 2))
        own = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
        c_wall = rotate_stiffness(wall.stiffness, own.T)
        both = laminate(
            np.stack(
                [np.broadcast_to(c_wall, (j, 6, 6)), rotate_stiffness(stiffness, np.swapaxes(frame, 1, 2))], axis=1
            ),
            expansion=np.stack(
                [
                    np.broadcast_to(strain_rotation(own) @ _expansion(wall), (j, 6)),
                    np.einsum("jab,jb->ja", strain_rotation(frame), expansion),
                ],
                axis=1,
            ),
            shares=np.column_stack([share[:, WALL], rest]),
        )
        assert both.expansion is not None and both.residual is not None
        if whole:
            outer = back[:, None] @ both.localisation @ into[:, None]
            pushed = np.einsum("jab,jlb->jla", back, both.residual)
            warmed = np.einsum("jzab,jb->jza", local, pushed[:, 1]) + warmed
            local = local @ outer[:, 1][:, None]
            local[:, WALL], warmed[:, WALL] = outer[:, 0], pushed[:, 0]
        stiffness = rotate_stiffness(both.stiffness, frame)
        expansion = np.einsum("jab,jb->ja", strain_rotation(np.swapaxes(frame, 1, 2)), both.expansion)
    stiffness = rotate_stiffness(stiffness, axes)
    return (
        (stiffness + np.swapaxes(stiffness, 1, 2)) / 2,
        expansion @ strain_rotation(axes.T).T,
        into_part @ local @ into_print,
        warmed @ into_part.T,
    )


def _expansion(material: PrintedMaterial) -> Array:
    """Its expansion (6,) [1/K]; zero where the card gives none, since then nothing of it may warm."""
    return np.zeros(6) if material.expansion is None else material.expansion
