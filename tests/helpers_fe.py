"""Small structured meshes, materials and supports whose exact answers are known.

A block is a grid of bricks over the unit cube, each cut into six tetrahedra around the diagonal from its lowest
to its highest corner, then bent into shape by a mapping. Its faces are numbered x-, x+, y-, y+, z-, z+.
"""

from itertools import permutations
from pathlib import Path

import numpy as np

from fem.criteria.strength import Strength
from fem.loading.supports import Held
from fem.part.faces import face_group
from fem.part.meshing import second_order, tidy_mesh
from fem.part.solid import Face, Solid
from fem.part.tetmesh import TetMesh
from fem.printing.field import Phase, PrintedField, PrintedMaterial, uniform_field
from fem.solving.equilibrium import Equilibrium

LOW_X, HIGH_X, LOW_Y, HIGH_Y, LOW_Z, HIGH_Z = range(6)


def brick_tets(corner):
    """Six tetrahedra of one brick; `corner` gives the node number of a corner (i, j, k) of 0 and 1."""
    out = []
    for order in permutations(range(3)):
        at = np.zeros(3, dtype=int)
        path = [corner(*at)]
        for axis in order:
            at[axis] = 1
            path.append(corner(*at))
        out.append(path)
    return out


def outer_triangles(tets):
    """Faces of tetrahedra (m, 4) that belong to one tetrahedron alone."""
    faces = np.concatenate([tets[:, f] for f in ((0, 1, 2), (0, 1, 3), (0, 2, 3), (1, 2, 3))])
    _, first, count = np.unique(np.sort(faces, axis=1), axis=0, return_index=True, return_counts=True)
    return faces[first[count == 1]]


def mesh_from(corners, tets, *, face_of, bend=None, name="part") -> TetMesh:
    """A second-order mesh of first-order tets; `bend` maps corners and mid-side nodes alike, so that sides curve."""
    tets = np.asarray(tets, dtype=np.int64)
    skin = outer_triangles(tets)
    nodes, tets, triangles = second_order(np.asarray(corners, dtype=float), tets, skin)
    face = np.array([face_of(t) for t in skin])
    zero = np.zeros(3)
    faces = tuple(Face(i, name, "free", 1.0, zero, zero, zero) for i in range(6))
    solid = Solid(name, Path("made in a test"), faces, 1.0, np.array([[0.0] * 3, [1.0] * 3]))
    return tidy_mesh(nodes if bend is None else bend(nodes), tets, triangles, face, solid=solid)


def block(cells, *, bend=None, displacement=None, grade=None) -> TetMesh:
    """A block of `cells` (3,) bricks; `displacement` moves corners of the unit cube before sides are halved (straight
    sides), `bend` maps all nodes (curved sides); `grade` maps the grid's first two coordinates.
    """
    nx, ny, nz = cells
    x, y, z = (np.linspace(0, 1, n + 1) for n in cells)
    if grade is not None:
        x, y = grade[0](x), grade[1](y)
    points = np.stack(np.meshgrid(x, y, z, indexing="ij"), axis=-1).reshape(-1, 3)
    tets = []
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                tets += brick_tets(
                    lambda a, b, c, i=i, j=j, k=k: ((i + a) * (ny + 1) + j + b) * (nz + 1) + k + c,
                )

    def face_of_grid(triangle):
        at = points[triangle]
        for axis in range(3):
            for side in (0, 1):
                if np.all(at[:, axis] == side):
                    return 2 * axis + side
        raise AssertionError("a triangle inside the block")

    return mesh_from(points if displacement is None else displacement(points), tets, face_of=face_of_grid, bend=bend)


def box(lengths, cells) -> TetMesh:
    """A straight box from the origin to `lengths` (3,) [mm]."""
    return block(cells, bend=lambda p: p * np.asarray(lengths, dtype=float))


def material(stiffness, *, density=1e-9, expansion=None) -> PrintedMaterial:
    """A material with this stiffness in part axes."""
    phase = Phase("solid", "solid", np.eye(6), np.zeros(6), Strength(yield_stress=100.0))
    expansion = None if expansion is None else np.asarray(expansion, dtype=float)
    return PrintedMaterial("test", "dry", stiffness, np.eye(3), density, (phase,), "solid", expansion)


def field(mesh, *materials, which=None) -> PrintedField:
    """One material everywhere, or `which` (m,) of several."""
    which = np.zeros(len(mesh.tets), dtype=np.int32) if which is None else np.asarray(which, dtype=np.int32)
    return uniform_field(tuple(materials), which)


def prescribe(mesh, nodes, displacement, *, axes=(0, 1, 2), name="given") -> Held:
    """Hold `nodes` (j,) at the displacement (n, 3) [mm] along the given axes."""
    nodes = np.asarray(nodes, dtype=np.int32)
    directions = np.repeat(np.eye(3)[list(axes)], len(nodes), axis=0)
    value = np.concatenate([np.broadcast_to(displacement, mesh.nodes.shape)[nodes, a] for a in axes])
    return Held(name, np.tile(nodes, len(axes)), directions, value, np.zeros(0, dtype=np.int32))


def boundary(mesh):
    """All nodes on the boundary."""
    return np.unique(mesh.triangles)


def node_at(mesh, point):
    """The node at a point [mm]."""
    off = np.linalg.norm(mesh.nodes - np.asarray(point, dtype=float), axis=1)
    assert off.min() < 1e-6 * mesh.diagonal
    return int(off.argmin())


def pinned(mesh, first, second, third) -> Held:
    """Six directions at three nodes, so that only rigid motions are held: x, y, z; y, z; z.

    `second` lies from `first` along x, `third` along y.
    """
    a, b, c = (node_at(mesh, p) for p in (first, second, third))
    nodes = np.array([a, a, a, b, b, c], dtype=np.int32)
    return Held("pin", nodes, np.eye(3)[[0, 1, 2, 1, 2, 2]], np.zeros(6), np.zeros(0, dtype=np.int32))


def group(mesh, *faces):
    return face_group(mesh, faces, name="face")


def solve(mesh, printed, *, held, loads=None):
    """Displacement (n, 3) [mm] and the equilibrium, for nodal forces (n, 3) and prescribed displacements."""
    equilibrium = Equilibrium(mesh, printed, held=list(held))
    loads = np.zeros(mesh.nodes.shape) if loads is None else loads
    start = equilibrium.held.start
    starts = start[None] if np.abs(start).max() > 0 else None
    found, record = equilibrium.solve(loads[None], starts=starts)
    solution = equilibrium.balance(found[0], loads, record)
    assert solution.force_error < 1e-8 and solution.moment_error < 1e-8
    return solution.displacement, equilibrium, solution
