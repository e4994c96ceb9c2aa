"""Meshes of the patterns with flat walls: each wall and each joint is a block, so that every thickness is exact.

Stress rises without limit towards the notches where walls meet, so hexahedra shrink towards them in every direction:
the one at the notch is `first` wall thicknesses long, and each further one longer by `growth`.
"""

from __future__ import annotations

import math

import numpy as np

from fem.printing.infill.mesh import CellMesh, Family, brick, graded, mesh_of, prism, quads
from fem.printing.infill.patterns import LEAN, cube_axes, period_length
from fem.tensors import Array

_ROOT = math.sqrt(3)


def wall_mesh(
    pattern: str, *, density: float, bead_width: float, bead_height: float, first: float, growth: float
) -> CellMesh:
    """Mesh of woodpile, grid, triangle, honeycomb or cubic; one hexahedron up the build where nothing changes."""
    length = period_length(pattern, density=density, bead_width=bead_width)
    if pattern == "woodpile":
        return _lines(length, bead_width, bead_height, first, growth)
    if pattern == "cubic":
        return _cubic(length, LEAN * bead_width, first, growth)
    return {"grid": _grid, "triangle": _triangle, "honeycomb": _honeycomb}[pattern](length, bead_width, first, growth)


def _wall(angle: float) -> Family:
    turn = math.radians(angle)
    return Family(f"wall at {angle:g} deg", (angle,), True, (-math.sin(turn), math.cos(turn), 0.0))


def _turned(flat: Array, degrees: float) -> Array:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return flat @ np.array([[c, s], [-s, c]])


def _strip(start: float, length: float, width: float, first: float, growth: float) -> Array:
    """Quadrilaterals of a wall along x from `start`, its middle on the axis."""
    x = graded(length, first=first * width, growth=growth) / length
    y = width / 2
    corner = [(start, -y), (start + length, -y), (start, y), (start + length, y)]
    return quads(corner, u=x, v=graded(1.0, first=first, growth=growth))


def _grid(length: float, width: float, first: float, growth: float) -> CellMesh:
    half = width / 2
    cut = graded(1.0, first=first, growth=growth)
    joint = quads([(-half, -half), (half, -half), (-half, half), (half, half)], u=cut, v=cut)
    wall = _strip(half, length - width, width, first, growth)
    blocks = [(wall, 0), (_turned(wall, 90), 1), (joint, 2)]
    families = [_wall(0.0), _wall(90.0), Family("crossing", (0.0, 90.0))]
    return mesh_of(
        [(prism(b, height=width), f) for b, f in blocks],
        lattice=np.diag([length, length, width]),
        families=families,
        prismatic=True,
    )


def _triangle(length: float, width: float, first: float, growth: float) -> CellMesh:
    """The joint is the regular hexagon of side `width` whose sides are the walls' ends; three rhombs fill it."""
    turn = np.radians(30.0 + 60.0 * np.arange(6))
    rim = width * np.column_stack([np.cos(turn), np.sin(turn)])
    cut = graded(1.0, first=first, growth=growth)
    joint = [quads([(0, 0), rim[k], rim[(k + 2) % 6], rim[k + 1]], u=cut, v=cut) for k in (0, 2, 4)]
    wall = _strip(width * _ROOT / 2, length - width * _ROOT, width, first, growth)
    angles = (0.0, 60.0, 120.0)
    blocks = [(_turned(wall, a), k) for k, a in enumerate(angles)] + [(j, 3) for j in joint]
    lattice = np.array([[length, 0, 0], [length / 2, length * _ROOT / 2, 0], [0, 0, width]])
    families = [*(_wall(a) for a in angles), Family("joint", angles)]
    return mesh_of(
        [(prism(b, height=width), f) for b, f in blocks], lattice=lattice, families=families, prismatic=True
    )


def _honeycomb(length: float, width: float, first: float, growth: float) -> CellMesh:
    """The joint is the regular triangle of side `width` whose sides are the walls' ends; three kites fill it."""
    reach = width / (2 * _ROOT)
    sides = [np.array([math.cos(a), math.sin(a)]) * reach for a in np.radians([0.0, 120.0, 240.0])]
    tips = [np.array([math.cos(a), math.sin(a)]) * 2 * reach for a in np.radians([60.0, 180.0, 300.0])]
    cut = graded(1.0, first=first, growth=growth)
    cut = 1 - 2 * cut[len(cut) // 2 :: -1]
    one = np.concatenate([quads([(0, 0), sides[k], sides[(k + 1) % 3], tips[k]], u=cut, v=cut) for k in range(3)])
    wall = _strip(reach, length - 2 * reach, width, first, growth)
    far = np.array([length, 0.0])
    blocks = [(one, 3), (far - one, 3), (wall, 0), (_turned(wall, 120), 2), (far - _turned(wall, 240), 1)]
    lattice = np.array([[1.5 * length, _ROOT / 2 * length, 0], [1.5 * length, -_ROOT / 2 * length, 0], [0, 0, width]])
    angles = (0.0, 60.0, 120.0)
    families = [*(_wall(a) for a in angles), Family("joint", angles)]
    return mesh_of(
        [(prism(b, height=width), f) for b, f in blocks], lattice=lattice, families=families, prismatic=True
    )


def _lines(length: float, width: float, height: float, first: float, growth: float) -> CellMesh:
    """Each layer's beads are rectangles, width by height, fully welded where they cross."""
    across = graded(width, first=first * width, growth=growth) - width / 2
    up = graded(height, first=first * width, growth=growth)
    gap = length - width
    free = width / 2 + graded(gap, first=first * width, growth=growth) if gap > 1e-6 * width else None
    blocks = []
    for k, swap in ((0, False), (2, True)):
        z = up + (height if swap else 0.0)
        for number, x in ((k, across), (k + 1, free)):
            if x is not None:
                blocks.append((brick(across, x, z) if swap else brick(x, across, z), number))
    labels = [("layer at 0 deg, on the crossing", 0.0), ("layer at 0 deg", 0.0)]
    labels += [("layer at 90 deg, on the crossing", 90.0), ("layer at 90 deg", 90.0)]
    families = [
        Family(label, (angle,), number % 2 == 1, (0.0, 0.0, 1.0) if number % 2 else None)
        for number, (label, angle) in enumerate(labels)
    ]
    lattice = np.diag([length, length, 2 * height])
    return mesh_of(blocks, lattice=lattice, families=families, prismatic=False, layer=height)


def _cubic(length: float, thick: float, first: float, growth: float) -> CellMesh:
    """Meshed along the cube's edges, then stood on its corner; wall k is normal to edge k, its bead the horizontal
    line.
    """
    axes = cube_axes()
    near = graded(thick, first=first * thick, growth=growth) - thick / 2
    free = thick / 2 + graded(length - thick, first=first * thick, growth=growth)
    angles = [math.degrees(math.atan2(-a[0], a[1])) % 180.0 for a in axes]
    angles = [round(a, 9) % 180.0 for a in angles]
    families = [
        Family(f"wall at {a:g} deg", (a,), True, tuple(n)) for a, n in zip(angles, axes.tolist(), strict=True)
    ]
    blocks = []
    for k in range(3):
        blocks.append((brick(*(near if d == k else free for d in range(3))), k))
    for k in range(3):
        rest = [d for d in range(3) if d != k]
        families.append(Family("crossing", tuple(sorted(angles[d] for d in rest))))
        blocks.append((brick(*(free if d == k else near for d in range(3))), 3 + k))
    families.append(Family("corner", tuple(sorted(angles))))
    blocks.append((brick(near, near, near), 6))
    return mesh_of([(b @ axes, f) for b, f in blocks], lattice=length * axes, families=families, prismatic=False)
