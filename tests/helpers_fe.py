"""Small structured meshes, materials and supports of known answers: the bench of the published checks."""

from fem.evidence.bricks import (
    HIGH_X,
    HIGH_Y,
    HIGH_Z,
    LOW_X,
    LOW_Y,
    LOW_Z,
    block,
    box,
    brick_tets,
    mesh_from,
    outer_triangles,
)
from fem.evidence.small_parts import boundary, field, group, material, node_at, pinned, prescribe, solve

__all__ = [
    "HIGH_X",
    "HIGH_Y",
    "HIGH_Z",
    "LOW_X",
    "LOW_Y",
    "LOW_Z",
    "block",
    "boundary",
    "box",
    "brick_tets",
    "field",
    "group",
    "material",
    "mesh_from",
    "node_at",
    "outer_triangles",
    "pinned",
    "prescribe",
    "solve",
]
