"""What each face of a CAD solid is, from the kernel's surface and the face's own triangles."""

from __future__ import annotations

from typing import Any

import numpy as np

from fem.part.drawn.skin import Skin
from fem.part.holes import with_holes
from fem.part.quadrature import curved_points
from fem.part.solid import Face
from fem.tensors import Array

_KIND = {"Plane": "plane", "Cylinder": "cylinder", "Cone": "cone", "Sphere": "sphere"}
_ENOUGH_POINTS, _MOST_POINTS = 12, 60


def described_faces(gmsh: Any, tags: list[int], skin: Skin, *, body: str) -> tuple[Face, ...]:
    """The faces `tags` of the session's solid; `skin` holds the triangles of each, outward."""
    faces = [_face(gmsh, tag, skin, i, body) for i, tag in enumerate(tags)]
    return with_holes(faces, [skin.corners(i)[:, :3] for i in range(len(tags))])


def _face(gmsh: Any, tag: int, skin: Skin, index: int, body: str) -> Face:
    corners = skin.corners(index)
    kind = _KIND.get(gmsh.model.getType(2, tag), "free")
    real = np.asarray(gmsh.model.getEntityProperties(2, tag)[1], dtype=float)
    if kind == "free":
        kind, real = _recognised(gmsh, tag, corners[:, :3].reshape(-1, 3))
    low, high = np.reshape(gmsh.model.getBoundingBox(2, tag), (2, 3))
    facts: dict[str, Any] = {}
    if kind == "plane":
        facts["normal"] = _plane_normal(gmsh, tag, skin.area_vector(index))
    elif kind in ("cylinder", "cone") and len(real) >= 6:
        axis = real[3:6] / np.linalg.norm(real[3:6])
        facts = {"origin": real[:3], "axis": axis, "hollow": _hollow(corners, real[:3], axis)}
        facts["radius"] = float(real[6]) if kind == "cylinder" else None
    elif kind == "sphere" and len(real) >= 4:
        facts = {"origin": real[:3], "radius": float(real[-1]), "hollow": _hollow(corners, real[:3], None)}
    area, centre = float(gmsh.model.occ.getMass(2, tag)), np.array(gmsh.model.occ.getCenterOfMass(2, tag))
    return Face(id=tag, body=body, kind=kind, area=area, centre=centre, low=low, high=high, **facts)


def _plane_normal(gmsh: Any, tag: int, outward: Array) -> Array:
    """The kernel's normal of the plane, exact, turned the way the face's triangles look."""
    normal = np.asarray(gmsh.model.getNormal(tag, [0.0, 0.0]), dtype=float)
    if abs(normal @ outward) < 0.99 * np.linalg.norm(outward):  # a spline that happens to be flat
        normal = outward
    normal = normal / np.linalg.norm(normal)
    return np.asarray(normal if normal @ outward > 0 else -normal)


def _hollow(corners: Array, origin: Array, axis: Array | None) -> bool:
    """Whether the triangles look towards the axis (or the centre, without an axis): the material lies outside."""
    points, weight, normal = curved_points(corners)
    off = points - origin
    if axis is not None:
        off = off - (off @ axis)[..., None] * axis
    return bool(np.einsum("kq,kqi,kqi->", weight, off, normal) < 0)


def _recognised(gmsh: Any, tag: int, points: Array) -> tuple[str, Array]:
    """What a face of another type (a surface of revolution, a spline) is in truth, in the kernel's own numbers.

    IGES and some STEP writers know no cylinders. A face counts as a plane, cylinder or sphere when the corners (j, 3)
    of its own triangles, or sixty of them, lie on one to a ten-thousandth of its size and the normals there agree.
    """
    points = np.unique(points, axis=0)
    points = points[np.unique(np.linspace(0, len(points) - 1, _MOST_POINTS).astype(int))]
    spots = np.asarray(gmsh.model.getParametrization(2, tag, points.ravel()))
    normals = np.reshape(gmsh.model.getNormal(tag, spots), (-1, 3))
    near = 1e-4 * float(np.ptp(points, axis=0).max())
    spread, axes = np.linalg.eigh(normals.T @ normals / len(normals))
    if spread[1] < 1e-8:
        return "plane", np.zeros(0)
    if len(points) < _ENOUGH_POINTS:
        return "free", np.zeros(0)
    centre, radius, miss = _fitted_circle(points)
    if spread[0] > 1e-6 and miss < near and _square_to(points - centre, normals):
        return "sphere", np.array([*centre, radius])
    if spread[0] < 1e-8:
        axis, plane = axes[:, 0], axes[:, 1:]
        centre, radius, miss = _fitted_circle(points @ plane)
        if miss < near and _square_to(points @ plane - centre, normals @ plane):
            origin = plane @ centre + axis * float(np.mean(points @ axis))
            return "cylinder", np.array([*origin, *axis, radius])
    return "free", np.zeros(0)


def _square_to(radial: Array, normals: Array) -> bool:
    cosine = np.abs((radial * normals).sum(axis=1)) / np.linalg.norm(radial, axis=1)
    return bool((cosine > 0.999).all())


def _fitted_circle(points: Array) -> tuple[Array, float, float]:
    """Centre (d,), radius and largest miss of the circle (d = 2) or sphere (d = 3) through points (j, d)."""
    rows = np.column_stack([2 * points, np.ones(len(points))])
    found, *_ = np.linalg.lstsq(rows, (points**2).sum(axis=1), rcond=None)
    centre = found[:-1]
    radius = float(np.sqrt(max(found[-1] + centre @ centre, 0.0)))
    return centre, radius, float(np.abs(np.linalg.norm(points - centre, axis=1) - radius).max())
