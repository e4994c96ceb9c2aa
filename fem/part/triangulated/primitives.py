"""Cylinders, cones and spheres fitted to points, and the projection onto a face's exact surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.part.solid import Face
from fem.tensors import Array


@dataclass(frozen=True)
class ConeFace(Face):
    """A cone whose `origin` is its apex, `axis` points from the apex into it; `half_angle` [rad]."""

    half_angle: float = 0.0


@dataclass(frozen=True)
class Primitive:
    """An exact surface: `kind` cylinder, cone or sphere.

    `origin` (3,) a point on the axis, the apex or the centre [mm]; `axis` (3,) unit, of a cone from the apex
    into it; `radius` [mm] of a cylinder or sphere; `half_angle` [rad] of a cone.
    """

    kind: str
    origin: Array
    axis: Array
    radius: float = 0.0
    half_angle: float = 0.0


def split_radially(points: Array, origin: Array, axis: Array) -> tuple[Array, Array, Array]:
    """Height (j,) along the axis, distance (j,) from it [mm] and unit radial direction (j, 3)."""
    offset = points - origin
    height = offset @ axis
    radial = offset - height[:, None] * axis
    distance = np.linalg.norm(radial, axis=1)
    return height, distance, radial / np.maximum(distance, 1e-300)[:, None]


def misfit(shape: Primitive, points: Array) -> Array:
    """Signed distance (j,) [mm] of points from the surface, positive away from the axis or centre."""
    if shape.kind == "sphere":
        return np.asarray(np.linalg.norm(points - shape.origin, axis=1) - shape.radius)
    height, distance, _ = split_radially(points, shape.origin, shape.axis)
    if shape.kind == "cylinder":
        return distance - shape.radius
    return distance * np.cos(shape.half_angle) - height * np.sin(shape.half_angle)


def directions(shape: Primitive, points: Array) -> Array:
    """Unit normals (j, 3) of the surface nearest to the points, away from the axis or centre."""
    if shape.kind == "sphere":
        offset = points - shape.origin
        return np.asarray(offset / np.maximum(np.linalg.norm(offset, axis=1), 1e-300)[:, None])
    _, _, radial = split_radially(points, shape.origin, shape.axis)
    if shape.kind == "cylinder":
        return radial
    return np.cos(shape.half_angle) * radial - np.sin(shape.half_angle) * shape.axis


def first_guess(kind: str, points: Array, normals: Array, centres: Array, areas: Array) -> Primitive | None:
    """The surface of this kind by linear algebra from points (j, 3) and flat pieces (i, ...), or None.

    The axis is the direction in which the normals vary least; circle and sphere by the algebraic fit of
    I. Kåsa, IEEE Trans. Instrum. Meas. 25 (1976) 8; the apex is where all tangent planes meet.
    """
    middle = points.mean(axis=0)
    offset = points - middle
    extent = float(np.abs(offset).max())
    if extent <= 0:
        return None
    if kind == "sphere":
        system = np.column_stack([2 * offset, np.ones(len(offset))])
        solution, _, rank, _ = np.linalg.lstsq(system, (offset**2).sum(axis=1), rcond=1e-9)
        square = solution[3] + solution[:3] @ solution[:3]
        if rank < 4 or square <= 0:
            return None
        return Primitive("sphere", middle + solution[:3], np.array([0.0, 0.0, 1.0]), radius=float(np.sqrt(square)))
    weight = (areas / areas.sum())[:, None]
    spread = normals if kind == "cylinder" else normals - (weight * normals).sum(axis=0)
    values, vectors = np.linalg.eigh((spread * weight).T @ spread)
    if values[1] < 1e-6:
        return None
    axis = vectors[:, 0]
    if kind == "cylinder":
        flat = offset @ vectors[:, 1:]
        system = np.column_stack([2 * flat, np.ones(len(flat))])
        solution, _, rank, _ = np.linalg.lstsq(system, (flat**2).sum(axis=1), rcond=1e-9)
        square = solution[2] + solution[:2] @ solution[:2]
        if rank < 3 or square <= 0:
            return None
        return Primitive("cylinder", middle + vectors[:, 1:] @ solution[:2], axis, radius=float(np.sqrt(square)))
    apex, _, rank, _ = np.linalg.lstsq(normals, ((centres - middle) * normals).sum(axis=1), rcond=1e-6)
    if rank < 3 or np.abs(apex).max() > 200 * extent:
        return None
    apex = apex + middle
    if (middle - apex) @ axis < 0:
        axis = -axis
    height, distance, _ = split_radially(points, apex, axis)
    half = float(np.arctan2(distance.sum(), height.sum()))
    if not 0.02 < half < 1.5:
        return None
    return Primitive("cone", apex, axis, half_angle=half)


def refined(shape: Primitive, points: Array) -> Primitive:
    """The same kind of surface with the least sum of squared distances to the points (j, 3).

    Gauss and Newton's iteration: the points lie nearly on the surface, so it converges in a few steps.
    """
    if len(points) > 600:
        points = points[np.linspace(0, len(points) - 1, 600).astype(int)]
    scale = float(np.ptp(points, axis=0).max()) or 1.0
    across = np.linalg.svd(shape.axis[None])[2][1:]

    def moved(x: Array) -> Primitive:
        axis = shape.axis + x[3:5] @ across
        axis = axis / np.linalg.norm(axis)
        origin = shape.origin + scale * x[:3]
        if shape.kind == "cylinder":
            origin = shape.origin + scale * (x[:2] @ across)
        return Primitive(shape.kind, origin, axis, shape.radius + scale * x[5], shape.half_angle + x[5])

    used = {"sphere": [0, 1, 2, 5], "cylinder": [0, 1, 3, 4, 5], "cone": [0, 1, 2, 3, 4, 5]}[shape.kind]

    def full(x: Array) -> Array:
        out = np.zeros(6)
        out[used] = x
        return out

    if len(points) < len(used):
        return shape
    best = np.zeros(len(used))
    gap = misfit(moved(full(best)), points) / scale
    for _ in range(8):
        nudges = best + 1e-7 * np.eye(len(used))
        slopes = np.stack([misfit(moved(full(x)), points) / scale - gap for x in nudges], axis=1) / 1e-7
        step = np.linalg.lstsq(slopes, -gap, rcond=1e-10)[0]
        after = misfit(moved(full(best + step)), points) / scale
        if not after @ after < gap @ gap:
            break
        best, gap = best + step, after
        if np.abs(step).max() < 1e-9:
            break
    better = moved(full(best))
    if shape.kind == "cone":
        return Primitive("cone", better.origin, better.axis, half_angle=better.half_angle)
    return Primitive(shape.kind, better.origin, better.axis, radius=abs(better.radius))


def project_onto(face: Face, points: Array) -> Array:
    """The points (j, 3) [mm] moved onto the exact surface of a plane, cylinder, cone or sphere.

    A free face, and a cone whose opening is not known, return the points as they are.
    """
    points = np.asarray(points, dtype=float)
    if face.kind == "plane" and face.normal is not None:
        return np.asarray(points - ((points - face.centre) @ face.normal)[:, None] * face.normal)
    if face.origin is None or face.kind not in ("cylinder", "cone", "sphere"):
        return points
    if face.kind == "sphere" and face.radius is not None:
        shape = Primitive("sphere", face.origin, np.array([0.0, 0.0, 1.0]), radius=face.radius)
    elif face.kind == "cylinder" and face.radius is not None and face.axis is not None:
        shape = Primitive("cylinder", face.origin, face.axis, radius=face.radius)
    elif isinstance(face, ConeFace) and face.half_angle > 0 and face.axis is not None:
        shape = Primitive("cone", face.origin, face.axis, half_angle=face.half_angle)
    else:
        return points
    return np.asarray(points - misfit(shape, points)[:, None] * directions(shape, points))
