"""What is told of faces that cannot meet."""

from __future__ import annotations

import numpy as np

from fem.errors import InputError
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array


def refuse_wide_clearance(mesh: TetMesh, sides: tuple[Index, ...], clearance: float) -> None:
    """Errors: InputError when the clearance [mm] is no number, or as wide as one of the bodies that are to meet."""
    if not np.isfinite(clearance):
        raise InputError(f"clearance {clearance:g} mm is not a length.", where="joints")
    for triangles in sides:
        body = int(mesh.node_body[mesh.triangles[triangles[0], 0]])
        box = np.ptp(mesh.nodes[mesh.node_body == body], axis=0)
        if abs(clearance) >= box.min():
            raise InputError(
                f"clearance {clearance:.4g} mm is wider than {mesh.bodies[body]}, which is {box.min():.4g} mm thick.",
                where="joints",
                advice="It is the gap of one side: of a pin in its bore, half of what the diameters differ by.",
            )


def refuse_no_counterpart(mesh: TetMesh, triangles: Index, clearance: float) -> None:
    """Errors: InputError when a rigid body so far off [mm] would not be there: a pin has half its bore's diameter."""
    sizes = []
    for face in np.unique(mesh.face[triangles]):
        nodes = mesh.nodes[mesh.triangles[triangles[mesh.face[triangles] == face]].ravel()]
        sizes.append(float(np.sort(np.ptp(nodes, axis=0))[1]))
    if abs(clearance) >= max(sizes) / 2:
        raise InputError(
            f"clearance {clearance:.4g} mm is wider than half the face, which is {max(sizes):.4g} mm across: no "
            "rigid body of its shape is left.",
            where="supports",
            advice="It is the gap of one side: of a pin in its bore, half of what the diameters differ by.",
        )


def not_facing(mesh: TetMesh, first: Index, second: Index, *, reach: float, hidden: bool) -> InputError:
    """By how much two faces miss each other: where they come nearest, how far apart, and at what angle; or that they
    would not, were they not `hidden` from each other by a body.
    """
    from scipy.spatial import cKDTree

    (place, normal), (other, look) = _corners(mesh, first), _corners(mesh, second)
    near, at = cKDTree(other).query(place)
    best = int(near.argmin())
    way = other[at[best]] - place[best]
    along = float(way @ normal[best])
    aside = float(np.linalg.norm(way - along * normal[best]))
    angle = 180 - float(np.degrees(np.arccos(np.clip(normal[best] @ look[at[best]], -1, 1))))
    names = " and ".join(
        " + ".join(sorted({mesh.faces[int(i)].label for i in mesh.face[t]})) for t in (first, second)
    )
    where = ", ".join(f"{v:.4g}" for v in place[best])
    apart = f"nearest at ({where}) mm they are {along:.4g} mm apart along the normal"
    if hidden:
        why = f"{apart}, and a body stands between them."
    else:
        why = (
            f"{apart} and {aside:.4g} mm aside, and look {angle:.3g}° past each other; {reach:.4g} mm along the "
            "normal and 60° are allowed."
        )
    return InputError(
        f"faces {names} do not face each other: {why}",
        where="joints",
        advice="Name the faces that touch, or move the bodies together as they are mounted.",
    )


def _corners(mesh: TetMesh, triangles: Index) -> tuple[Array, Array]:
    """The places (3 j, 3) [mm] of the corners of boundary triangles (j,), and their triangle's normal at each."""
    corner = mesh.nodes[mesh.triangles[triangles, :3]]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normal = normal / np.linalg.norm(normal, axis=1)[:, None]
    return corner.reshape(-1, 3), np.repeat(normal, 3, axis=0)
