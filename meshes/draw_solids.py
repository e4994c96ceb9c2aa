"""Draw the solids of the demonstration studies: `python meshes/draw_solids.py`.

The scenario is the project's own: a student team's solar catamaran on T-foils. The printed saddle joins the
front wing, below it, to the foot of the mast, above it: its socket takes the mast foot, and the wing's root plate is
bolted under its seat. The bracket is a plain cantilever, to be checked by hand; a shroud's pin pulls at the lug, and
the sea presses on the hatch. Part axes: x forward, y left, z up; lengths in mm. Written beside this script, as STEP
and, of the larger parts, as STL.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import gmsh
import numpy as np

CHORD = 0.02
"""How far [mm] a triangle of the STL may lie from the drawn surface."""
LONGEST = 8.0
"""Longest edge [mm] of the STL's triangles."""
BESIDE = 90.0
"""How far [mm] to the left the second saddle stands."""

occ = gmsh.model.occ


def slab(
    *, length: float, width: float, low: float, high: float, corner: float, centre: tuple[float, float] = (0.0, 0.0)
) -> int:
    """A volume `length` along x and `width` along y, from z = low to z = high, upright edges rounded."""
    x, y = centre
    outline = occ.addRectangle(x - length / 2, y - width / 2, low, length, width, roundedRadius=corner)
    return next(tag for dim, tag in occ.extrude([(2, outline)], 0, 0, high - low) if dim == 3)


def curves_in(volume: int, *, low: tuple[float, float, float], high: tuple[float, float, float]) -> list[int]:
    """The curves of a volume that lie wholly inside the box low..high."""
    occ.synchronize()
    own = {tag for _, tag in gmsh.model.getBoundary([(3, volume)], combined=False, oriented=False)}
    around = {abs(tag) for face in own for _, tag in gmsh.model.getBoundary([(2, face)], oriented=False)}
    found = sorted(around & {tag for _, tag in gmsh.model.getEntitiesInBoundingBox(*low, *high, dim=1)})
    if not found:
        raise RuntimeError(f"no curve between {low} and {high}")
    return found


def fuse(first: int, *others: int) -> int:
    """One volume out of several."""
    return only(occ.fuse([(3, first)], [(3, tag) for tag in others])[0])


def cut(volume: int, *tools: int) -> int:
    """The volume without what the tools cover."""
    return only(occ.cut([(3, volume)], [(3, tag) for tag in tools])[0])


def only(found: list[tuple[int, int]]) -> int:
    """The tag of the one volume that an operation must leave."""
    if len(found) != 1:
        raise RuntimeError(f"expected one volume, found {found}")
    return found[0][1]


def fillet(volume: int, *, curves: list[int], radius: float) -> int:
    """The volume with these curves rounded."""
    return only(occ.fillet([volume], curves, [radius]))


def wing_saddle() -> int:
    """120 x 64 x 48 mm: base plate with the wing seat at z = 0, boss with the socket of the mast foot.

    Four bolt holes for M8 (radius 4.2 mm) stand at (+-47, +-21) with a flat land for a 16 mm washer on the
    plate's top (z = 14); a cross hole for an M6 pin (radius 3.3 mm) runs through the boss along y.
    """
    plate = slab(length=120, width=64, low=0, high=14, corner=12)
    boss = slab(length=70, width=36, low=10, high=48, corner=14)
    body = fuse(plate, boss)
    foot = curves_in(body, low=(-35.5, -18.5, 13.9), high=(35.5, 18.5, 14.1))
    body = fillet(body, curves=foot, radius=5)

    socket = slab(length=50, width=18, low=18, high=60, corner=7)
    floor = curves_in(socket, low=(-30, -12, 17.9), high=(30, 12, 18.1))
    socket = fillet(socket, curves=floor, radius=3)

    bolts = [occ.addCylinder(x, y, -1, 0, 0, 20, 4.2) for x in (-47, 47) for y in (-21, 21)]
    pin = occ.addCylinder(0, -30, 37, 0, 60, 0, 3.3)
    return cut(body, socket, *bolts, pin)


def cantilever_bracket() -> int:
    """80 mm long: upright root plate with two bolt holes, an arm with an inner fillet, a pad at the tip.

    The root plate's back is the plane x = 0; two holes for M6 (radius 3.3 mm) run along x through it. The arm
    is 30 mm wide; the pad's top is the plane z = 13, 16 mm long.
    """
    root = occ.addBox(0, -15, 0, 10, 30, 60)
    arm = occ.addBox(5, -15, 0, 75, 30, 10)
    pad = occ.addBox(64, -15, 5, 16, 30, 8)
    body = fuse(root, arm, pad)
    inner = curves_in(body, low=(9.9, -16, 9.9), high=(10.1, 16, 10.1))
    body = fillet(body, curves=inner, radius=8)
    holes = [occ.addCylinder(-1, y, 42, 12, 0, 0, 3.3) for y in (-8, 8)]
    return cut(body, *holes)


def curvature_size() -> dict[tuple[int, int], float]:
    """Edge length [mm] for every curve and surface by which the triangles stay within CHORD of it.

    An equilateral triangle of edge h on curvature k stands off by at most k h^2 / 6 (its circumradius is
    h / sqrt 3); a third of CHORD is kept in hand for triangles that are not equilateral.
    """
    sizes: dict[tuple[int, int], float] = {}
    for _, face in gmsh.model.getEntities(2):
        (u0, v0), (u1, v1) = gmsh.model.getParametrizationBounds(2, face)
        grid = [v for i in range(5) for j in range(5) for v in (u0 + (u1 - u0) * i / 4, v0 + (v1 - v0) * j / 4)]
        bend = max(abs(k) for k in gmsh.model.getCurvature(2, face, grid))
        size = min(LONGEST, math.sqrt(6 * 2 / 3 * CHORD / bend)) if bend > 1e-6 else LONGEST
        sizes[2, face] = size
        for _, curve in gmsh.model.getBoundary([(2, face)], combined=False, oriented=False):
            sizes[1, curve] = min(size, sizes.get((1, curve), LONGEST))
            for _, corner in gmsh.model.getBoundary([(1, curve)], oriented=False):
                sizes[0, corner] = min(sizes[1, curve], sizes.get((0, corner), LONGEST))
    return sizes


def rule_cylinders(sizes: dict[tuple[int, int], float]) -> None:
    """Cover four-sided parts of cylinders with strips along the axis, where the surface is straight."""
    for _, face in gmsh.model.getEntities(2):
        around = gmsh.model.getBoundary([(2, face)], combined=False, oriented=False)
        if gmsh.model.getType(2, face) != "Cylinder" or len({tag for _, tag in around}) != 4:
            continue
        straight = [tag for dim, tag in around if gmsh.model.getType(dim, tag) == "Line"]
        arcs = [tag for _, tag in around if tag not in straight]
        if len(straight) != 2:
            continue
        step = min(sizes[1, tag] for tag in arcs)
        for curves, size in ((straight, LONGEST), (arcs, step)):
            count = math.ceil(max(occ.getMass(1, tag) for tag in curves) / size)
            for tag in curves:
                gmsh.model.mesh.setTransfiniteCurve(tag, count + 1)
        gmsh.model.mesh.setTransfiniteSurface(face)


def stand_off() -> float:
    """The largest distance [mm] between the triangles and the drawn surface.

    On a surface of slowly changing curvature the middle of an edge e whose ends have the normals m and n lies
    |e . (m - n)| / 8 off the surface, and a triangle's centre 4/9 of the sum of its three edges' distances.
    """
    worst = 0.0
    for _, face in gmsh.model.getEntities(2):
        tags, xyz, uv = gmsh.model.mesh.getNodes(2, face, includeBoundary=True)
        row = {int(tag): i for i, tag in enumerate(tags)}
        point, normal = xyz.reshape(-1, 3), gmsh.model.getNormal(face, uv).reshape(-1, 3)
        corners = [row[int(tag)] for tag in gmsh.model.mesh.getElements(2, face)[2][0]]
        a, b, c = (np.array(corners[k::3]) for k in range(3))
        edges = [
            np.abs(np.einsum("ni,ni->n", point[i] - point[j], normal[i] - normal[j])) / 8
            for i, j in ((a, b), (b, c), (c, a))
        ]
        worst = max(worst, *(float(e.max()) for e in edges), float(np.max(sum(edges))) * 4 / 9)
    return worst


@contextmanager
def kernel(name: str) -> Iterator[None]:
    """The CAD kernel with an empty model of this name, quiet, writing millimetres."""
    gmsh.initialize(interruptible=False)
    try:
        gmsh.option.setNumber("General.Verbosity", 2)
        gmsh.option.setString("Geometry.OCCTargetUnit", "MM")
        gmsh.option.setNumber("Mesh.Binary", 1)
        gmsh.model.add(name)
        yield
    finally:
        gmsh.finalize()


def saddle_beside() -> int:
    """The saddle once more, moved to the left: a study puts two ways to print it side by side."""
    saddle = wing_saddle()
    occ.translate([(3, saddle)], 0, BESIDE, 0)
    return saddle


def shroud_lug() -> int:
    """A lug that a shroud's pin pulls at: 22 wide, 12 thick, bore of 10 at z = 34, on a foot of 60 x 36 x 10."""
    foot = slab(length=60, width=36, low=0, high=10, corner=4)
    lug = occ.addBox(-11, -6, 5, 22, 12, 29)
    body = fuse(foot, lug, occ.addCylinder(0, -6, 34, 0, 12, 0, 11))
    occ.synchronize()
    body = only(occ.fillet([body], curves_in(body, low=(-11.1, -6.1, 9.9), high=(11.1, 6.1, 10.1)), [3.0]))
    return cut(body, occ.addCylinder(0, -7, 34, 0, 14, 0, 5))


def hatch_lid() -> int:
    """A flat lid of 140 x 100 x 8 in the hull's side, z up, outside at y = 8; it rests on a rim of 10 mm at y = 0."""
    lid = occ.addBox(-70, 0, 0, 140, 8, 100)
    return cut(lid, occ.addBox(-60, -1, 10, 120, 3, 80))


def bolted_saddle() -> int:
    """The saddle with two more holes of radius 4.2 mm, through the socket's floor, for bolts into the mast foot."""
    return cut(wing_saddle(), *axial_holes(radius=4.2, low=-1, high=20))


def mast_foot() -> int:
    """A foot of 50 x 18 mm that fills the saddle's socket without play, under a mast of 60 x 28 mm from z = 52 to 80.

    It stands on the socket's floor at z = 18; its lower edge is rounded with 4 mm, clear of the socket's 3 mm. Two
    holes, tapped M8 (drawn as drilled, radius 3.4 mm), go up from its bottom to z = 38.
    """
    foot = slab(length=50, width=18, low=18, high=60, corner=7)
    foot = fillet(foot, curves=curves_in(foot, low=(-26, -10, 17.9), high=(26, 10, 18.1)), radius=4)
    body = fuse(foot, slab(length=60, width=28, low=52, high=80, corner=12))
    return cut(body, *axial_holes(radius=3.4, low=10, high=38))


def wing_root_plate() -> int:
    """A plate of 140 x 80 x 8 mm under the saddle's seat, with six bolt holes of radius 4.2 mm."""
    plate = slab(length=140, width=80, low=-8, high=0, corner=12)
    flange = [occ.addCylinder(x, y, -9, 0, 0, 10, 4.2) for x in (-47, 47) for y in (-21, 21)]
    return cut(plate, *flange, *axial_holes(radius=4.2, low=-9, high=1))


def axial_holes(*, radius: float, low: float, high: float) -> list[int]:
    """The two holes of the bolts that pull the mast foot on the socket's floor, 30 mm apart along x."""
    return [occ.addCylinder(x, 0, low, 0, 0, high - low, radius) for x in (-15, 15)]


def write(name: str, draw: Callable[[], int], *, stl: bool = True) -> None:
    """Draw one solid, write NAME.step and, if asked for, NAME.stl beside this script, and print what it is."""
    here = Path(__file__).resolve().parent
    with kernel(name):
        volume = draw()
        occ.synchronize()
        every = [entity for dim in range(3) for entity in occ.getEntities(dim)]
        occ.remove([entity for entity in every if not gmsh.model.getAdjacencies(*entity)[0].size])
        occ.synchronize()
        box = occ.getBoundingBox(3, volume)  # exact only while the faces carry no triangles
        gmsh.write(str(here / f"{name}.step"))
        if not stl:
            return

        sizes = curvature_size()
        for option in ("MeshSizeFromPoints", "MeshSizeFromCurvature", "MeshSizeExtendFromBoundary"):
            gmsh.option.setNumber(f"Mesh.{option}", 0)
        gmsh.model.mesh.setSizeCallback(lambda dim, tag, x, y, z, size: min(size, sizes.get((dim, tag), LONGEST)))
        rule_cylinders(sizes)
        gmsh.model.mesh.generate(2)
        gmsh.model.mesh.setOutwardOrientation(volume)
        gmsh.write(str(here / f"{name}.stl"))

        triangles = sum(len(tags) for tags in gmsh.model.mesh.getElements(2)[1])
        print(
            f"{name}: {occ.getMass(3, volume):.1f} mm^3, {len(gmsh.model.getEntities(2))} faces, box "
            f"{' x '.join(f'{box[i + 3] - box[i]:.2f}' for i in range(3))} mm; STL {triangles} triangles, "
            f"at most {stand_off():.4f} mm off"
        )
        for dim, tag in gmsh.model.getEntities(2):
            print(f"  {tag:3d} {gmsh.model.getType(dim, tag):12s} {occ.getMass(dim, tag):9.2f} mm^2")


if __name__ == "__main__":
    write("wing_saddle", wing_saddle)
    write("wing_saddle_beside", saddle_beside, stl=False)
    write("bolted_saddle", bolted_saddle, stl=False)
    write("mast_foot", mast_foot, stl=False)
    write("wing_root_plate", wing_root_plate, stl=False)
    write("cantilever_bracket", cantilever_bracket)
    write("shroud_lug", shroud_lug, stl=False)
    write("hatch_lid", hatch_lid, stl=False)
