"""How much of a body's outline hangs over when it is built in a given direction: an estimate of what it costs in
support.

A place of the outline hangs over when it looks down more steeply than a printer bridges by itself: the angle between
its outward normal and straight down is below 45 degrees (common practice). What lies on the bed needs no support.
Not counted: support that stands on the part itself, and bridges that a printer spans without any.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.part.quadrature import surface_points
from fem.part.tetmesh import TetMesh
from fem.tensors import Array, unit

STEEP = 45.0
"""A face whose normal is nearer to straight down than this [degrees] needs support (common practice)."""
_EXACTLY = 1e-6
"""Cosines nearer than this to the limit count as at it: a face at 45 degrees carries itself."""


@dataclass(frozen=True)
class Skin:
    """The outline of one body: `normal` (k, q, 3) outward and `area` (k, q) [mm^2] of the pieces of each boundary
    triangle, `nodes` (k, 6, 3) [mm] its corners and the middles of its sides.
    """

    normal: Array
    area: Array
    nodes: Array


def skin_of(mesh: TetMesh, *, body: str) -> Skin:
    """The outline of a body of the mesh."""
    own = [i for i, face in enumerate(mesh.faces) if face.body == body]
    triangles = mesh.triangles_of(tuple(own))
    _, area, normal = surface_points(mesh, triangles)
    return Skin(normal, area, mesh.nodes[mesh.triangles[triangles]])


def overhang_area(skin: Skin, *, direction: tuple[float, ...] | Array, bed: float, steep: float = STEEP) -> float:
    """Area [mm^2] that hangs over when the body is built along `direction` (3,).

    A triangle lies on the bed when none of it is higher than `bed` [mm] above the body's lowest place; one layer
    is a sensible height.
    """
    up = unit(np.asarray(direction, dtype=float))
    height = skin.nodes @ up
    lying = height.max(axis=1) <= height.min() + bed
    down = -skin.normal @ up > np.cos(np.radians(steep)) + _EXACTLY
    return float((skin.area * down)[~lying].sum())
