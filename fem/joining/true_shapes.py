"""The exact surface behind a meshed face, where there is one: plane, cylinder, cone or sphere.

Facets of two meshes of one cylinder differ by h^2 / (8 R), as much as a fit has clearance. What the face is as drawn
does not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.part.solid import Face
from fem.part.tetmesh import TRIANGLE_EDGES, Index, TetMesh
from fem.part.triangulated.primitives import Primitive, directions, first_guess, misfit, refined
from fem.tensors import Array

EXACT = 1e-9
"""Share of the face's size by which nodes may miss a surface that nothing but them speaks for."""
DRAWN = 1e-3
"""The same share of the mean edge for a surface that the solid's file speaks for."""
ENOUGH = 12
"""Nodes that a surface other than a plane is fitted to, at least: fewer lie on one by chance."""
STEPS = 50


@dataclass(frozen=True)
class TrueShape:
    """A plane through `surface.origin` normal to `surface.axis`, or the cylinder, cone or sphere that `surface` is.

    `outward` is 1 where the body's outward normal points away from the axis or centre (of a plane: along `axis`),
    else -1.
    """

    surface: Primitive
    outward: float

    def distance(self, points: Array) -> Array:
        """Distance (q,) [mm] of points (q, 3) from the surface, positive outside of the body."""
        s = self.surface
        away = (points - s.origin) @ s.axis if s.kind == "plane" else misfit(s, points)
        return np.asarray(self.outward * away)

    def normals(self, points: Array) -> Array:
        """Outward unit normals (q, 3) of the surface nearest to points (q, 3)."""
        s = self.surface
        if s.kind == "plane":
            return np.tile(self.outward * s.axis, (len(points), 1))
        return self.outward * directions(s, points)

    def along(self, points: Array, ways: Array, start: Array) -> Array:
        """How far (q,) [mm] from points (q, 3) along unit vectors (q, 3) the surface is met, at the place nearest to
        `start` (q,); the start where it is not met.

        Newton's method for the signed distance, which falls by the cosine between the way and the normal.
        """
        reach, open_ = start.copy(), np.ones(len(points), dtype=bool)
        scale = float(np.abs(points).max(initial=0.0)) + float(np.abs(start).max(initial=0.0))
        for _ in range(STEPS):
            at = points[open_] + reach[open_, None] * ways[open_]
            slope = (self.normals(at) * ways[open_]).sum(axis=1)
            step = self.distance(at) / np.where(np.abs(slope) > 1e-3, slope, -np.inf)
            reach[open_] -= step
            open_[open_] = np.abs(step) > 1e-14 * scale
            if not open_.any():
                break
        missed = np.abs(self.distance(points + reach[:, None] * ways)) > 1e-9 * scale
        return np.where(missed, start, reach)


def true_shape(mesh: TetMesh, triangles: Index) -> TrueShape | None:
    """What boundary triangles (j,) of one face lie on; None for a free form.

    The solid's own word counts where the nodes agree with it. Otherwise the corners, and the middles of sides
    where these curve, must lie on one surface to machine precision.
    """
    nodes = mesh.triangles[triangles]
    corner = mesh.nodes[nodes[:, :3]]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    area = np.linalg.norm(normal, axis=1)
    normal = normal / np.maximum(area, 1e-300)[:, None]
    points = mesh.nodes[np.unique(nodes[:, :3])]
    edge = float(np.sqrt(area.mean()))
    size = float(np.ptp(points, axis=0).max())
    known = _as_drawn(mesh.faces[int(mesh.face[triangles[0]])], points, normal)
    every = _surface_nodes(mesh, nodes)
    tried: list[tuple[Primitive | None, float]] = [(known, DRAWN * edge), (_plane(points, normal), EXACT * size)]
    if len(every) >= ENOUGH:
        centre = corner.mean(axis=1)
        tried += [
            (_refined(first_guess(kind, every, normal, centre, area), every), EXACT * size)
            for kind in ("sphere", "cylinder", "cone")
        ]
    for surface, slack in tried:
        if surface is None:
            continue
        shape = TrueShape(surface, 1.0)
        if np.abs(shape.distance(every)).max() <= slack:
            side = (shape.normals(corner.mean(axis=1)) * normal).sum(axis=1)
            if (side > 0.5).all() or (side < -0.5).all():
                return TrueShape(surface, float(np.sign(side[0])))
    return None


def _surface_nodes(mesh: TetMesh, nodes: Index) -> Array:
    """The places (j, 3) of corners, and of the middles of sides that do not lie on the chord."""
    out = [mesh.nodes[np.unique(nodes[:, :3])]]
    for k, (a, b) in enumerate(TRIANGLE_EDGES):
        middle, chord = mesh.nodes[nodes[:, 3 + k]], (mesh.nodes[nodes[:, a]] + mesh.nodes[nodes[:, b]]) / 2
        length = np.linalg.norm(mesh.nodes[nodes[:, a]] - mesh.nodes[nodes[:, b]], axis=1)
        out.append(middle[np.linalg.norm(middle - chord, axis=1) > 1e-9 * length])
    return np.concatenate(out)


def _as_drawn(face: Face, points: Array, normal: Array) -> Primitive | None:
    """The surface that the solid's file names, if its numbers say all of it."""
    axis, origin = face.axis, face.origin
    if face.kind == "plane":
        return _plane(points, normal)
    if origin is None:
        return None
    if face.kind == "sphere" and face.radius is not None:
        return Primitive("sphere", origin, np.array([0.0, 0.0, 1.0]), radius=face.radius)
    if axis is None:
        return None
    if face.kind == "cylinder" and face.radius is not None:
        return Primitive("cylinder", origin, axis, radius=face.radius)
    if face.kind == "cone":
        # The radius of a cone grows linearly along its axis: two numbers, the rest is drawn
        height = (points - origin) @ axis
        radius = np.linalg.norm(points - origin - height[:, None] * axis, axis=1)
        slope, start = np.polyfit(height, radius, 1)
        if abs(slope) > 1e-6:
            axis = axis * np.sign(slope)
            return Primitive(
                "cone", origin - start / abs(slope) * axis, axis, half_angle=float(np.arctan(abs(slope)))
            )
    return None


def _plane(points: Array, normal: Array) -> Primitive:
    middle = points.mean(axis=0)
    axis = np.linalg.svd(points - middle, full_matrices=False)[2][2] if len(points) > 2 else normal[0]
    return Primitive("plane", middle, axis)


def _refined(shape: Primitive | None, points: Array) -> Primitive | None:
    """Fitted until rounding is all that is left: each call ends where its differences do."""
    for _ in range(3):
        shape = shape and refined(shape, points)
    return shape
