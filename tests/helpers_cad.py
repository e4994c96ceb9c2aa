"""Solids drawn by the CAD kernel for a test."""

import gmsh
import numpy as np

from fem.part.cad import keep_broken_pipes_harmless


def draw(path, build):
    """Write what `build` (a function of gmsh's kernel) draws to `path`; the suffix says the format."""
    gmsh.initialize(interruptible=False)
    gmsh.option.setNumber("General.Terminal", 0)
    try:
        build(gmsh.model.occ)
        gmsh.model.occ.synchronize()
        gmsh.write(str(path))
    finally:
        gmsh.finalize()
        keep_broken_pipes_harmless()
    return path


SHAPES = ("L", "U", "T", "holed", "seamed")


def profile(shape, rng):
    """Corners (j, 2) of a polygon, counter-clockwise, and the radius of a hole round (0, 0) or 0."""
    a, b = rng.uniform(25, 60, 2)
    t, s = rng.uniform(1.5, 3, 2)
    if shape == "L":
        return np.array([(0, 0), (a, 0), (a, t), (s, t), (s, b), (0, b)]), 0.0
    if shape == "U":
        return np.array([(0, 0), (a, 0), (a, b), (a - s, b), (a - s, t), (s, t), (s, b), (0, b)]), 0.0
    if shape == "T":
        half = [(s, 0), (s, b - t), (a / 2, b - t), (a / 2, b)]
        return np.array(half + [(-x, y) for x, y in half[::-1]]), 0.0
    return np.array([(-a / 2, -b / 2), (a / 2, -b / 2), (a / 2, b / 2), (-a / 2, b / 2)]), rng.uniform(3, 11)


def drawn_out(corners, radius, height, angles, shift):
    def build(occ):
        points = [occ.addPoint(x, y, 0) for x, y in corners]
        loop = [occ.addLine(p, q) for p, q in zip(points, points[1:] + points[:1], strict=True)]
        occ.extrude([(2, occ.addPlaneSurface([occ.addCurveLoop(loop)]))], 0, 0, height)
        if radius:
            occ.cut(occ.getEntities(3), [(3, occ.addCylinder(0, 0, -1, 0, 0, height + 2, radius))])
        for angle, axis in zip(angles, np.eye(3), strict=True):
            occ.rotate(occ.getEntities(3), 0, 0, 0, *axis, angle)
        occ.translate(occ.getEntities(3), *shift)

    return build


def turned(angles):
    out = np.eye(3)
    for angle, k in zip(angles, np.eye(3), strict=True):
        cross = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
        out = (np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross) @ out
    return out


def with_stl(step, stl, length):
    """The STL of a STEP file, its triangles fine enough for a hole's area."""
    gmsh.initialize(interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.model.occ.importShapes(str(step))
        gmsh.model.occ.synchronize()
        gmsh.option.setNumber("Mesh.MeshSizeMax", length)
        gmsh.option.setNumber("Mesh.MeshSizeFromCurvature", 48)
        gmsh.model.mesh.generate(2)
        gmsh.option.setNumber("Mesh.Binary", 1)
        gmsh.write(str(stl))
    finally:
        gmsh.finalize()
    return stl


def bracket(occ):
    """An L bracket with a concave fillet of 5 mm, a bore of 6 mm and an outer round of 3 mm."""
    low = occ.addBox(0, 0, 0, 60, 30, 6)
    post = occ.addBox(0, 0, 0, 6, 30, 50)
    corner = occ.addBox(6, 0, 6, 5, 30, 5)
    occ.cut([(3, corner)], [(3, occ.addCylinder(11, -1, 11, 0, 32, 0, 5))])
    occ.fuse([(3, low)], [(3, post), (3, corner)])
    occ.cut(occ.getEntities(3), [(3, occ.addCylinder(40, 15, -1, 0, 0, 8, 3))])
