"""A cantilever beam with closed-form fields, as the telling room receives it: findings and scene.

Displacement and stress are those of Euler-Bernoulli bending under an end load, so every number that a picture
or a table shows can be computed by hand: sigma_xx = F (L - x) z / I, w = F x^2 (3 L - x) / (6 E I).
"""

from __future__ import annotations

import numpy as np

from fem.judging.findings import (
    BodyFindings,
    CaseFindings,
    Caution,
    FaceFindings,
    FaceStiffness,
    Findings,
    FoundationFindings,
    HotSpot,
    MeshFindings,
    PointFindings,
    ReactionFindings,
    RequirementFindings,
    Reserve,
    WatchFindings,
)
from fem.judging.scene import Arrow, CaseFields, Patch, Scene
from fem.part.solid import Face
from fem.part.tetmesh import TET_EDGES, TRIANGLE_EDGES, TetMesh, shape_quality

LENGTH, WIDTH, HEIGHT, YOUNG, STRENGTH = 100.0, 20.0, 16.0, 5000.0, 60.0
"""mm, mm, mm, MPa, MPa"""
INERTIA = WIDTH * HEIGHT**3 / 12
SIDES = ("root", "tip", "front", "back", "bottom", "top")
FORCES = {"cruise": 150.0, "landing": 600.0}
"""End load of each case [N], downwards."""

SIX = ((0, 1, 3, 7), (0, 3, 2, 7), (0, 2, 6, 7), (0, 6, 4, 7), (0, 4, 5, 7), (0, 5, 1, 7))


def beam_mesh(cells: tuple[int, int, int] = (15, 4, 4)) -> TetMesh:
    """The beam as second-order tetrahedra: bricks cut into six, middles added on the edges."""
    nx, ny, nz = cells
    axes = [
        np.linspace(0, LENGTH, nx + 1),
        np.linspace(0, WIDTH, ny + 1),
        np.linspace(-HEIGHT / 2, HEIGHT / 2, nz + 1),
    ]
    corners = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    number = np.arange(len(corners)).reshape(nx + 1, ny + 1, nz + 1)
    bricks = np.stack(
        [number[i : nx + i, j : ny + j, k : nz + k].ravel() for k in (0, 1) for j in (0, 1) for i in (0, 1)], axis=1
    )
    four = bricks[:, np.array(SIX)].reshape(-1, 4)
    if shape_quality(corners, np.pad(four, ((0, 0), (0, 6))))[0] < 0:
        four = four[:, [1, 0, 2, 3]]
    pairs = np.sort(four[:, np.array(TET_EDGES)], axis=2)
    edges, where = np.unique(pairs.reshape(-1, 2), axis=0, return_inverse=True)
    nodes = np.concatenate([corners, corners[edges].mean(axis=1)])
    tets = np.column_stack([four, where.reshape(-1, 6) + len(corners)]).astype(np.int32)
    triangles, face = _boundary(nodes, four, {tuple(e): i + len(corners) for i, e in enumerate(edges)})
    return TetMesh(nodes, tets, np.zeros(len(tets), dtype=np.int32), ("beam",), triangles, face, _faces())


def _boundary(nodes, four, middle):
    sides = np.concatenate([four[:, [1, 2, 3]], four[:, [0, 3, 2]], four[:, [0, 1, 3]], four[:, [0, 2, 1]]])
    _, first, count = np.unique(np.sort(sides, axis=1), axis=0, return_index=True, return_counts=True)
    skin = sides[first[count == 1]]
    mids = [[middle[tuple(sorted((int(t[i]), int(t[j]))))] for i, j in TRIANGLE_EDGES] for t in skin]
    p = nodes[skin]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    axis = np.abs(normal).argmax(axis=1)
    face = 2 * axis + (normal[np.arange(len(axis)), axis] > 0)
    return np.column_stack([skin, mids]).astype(np.int32), face.astype(np.int32)


def _faces() -> tuple[Face, ...]:
    low, high = np.array([0, 0, -HEIGHT / 2]), np.array([LENGTH, WIDTH, HEIGHT / 2])
    out = []
    for i in range(6):
        axis, end = divmod(i, 2)
        a, b = low.copy(), high.copy()
        a[axis] = b[axis] = (low, high)[end][axis]
        sides = np.delete(high - low, axis)
        normal = np.eye(3)[axis] * (1 if end else -1)
        out.append(Face(i + 1, "beam", "plane", float(sides.prod()), (a + b) / 2, a, b, normal=normal))
    return tuple(out)


def beam_fields(mesh: TetMesh, force: float) -> CaseFields:
    x, z = mesh.nodes[:, 0], mesh.nodes[:, 2]
    displacement = np.zeros_like(mesh.nodes)
    displacement[:, 2] = -force * x**2 * (3 * LENGTH - x) / (6 * YOUNG * INERTIA)
    displacement[:, 0] = z * force * x * (2 * LENGTH - x) / (2 * YOUNG * INERTIA)
    stress = np.zeros((len(x), 6))
    stress[:, 0] = force * (LENGTH - x) * z / INERTIA
    with np.errstate(divide="ignore"):
        reserve = STRENGTH / np.abs(stress[:, 0])
    return CaseFields(displacement, stress, stress.copy(), reserve)


def beam_scene(mesh: TetMesh) -> Scene:
    tip = np.array([LENGTH, WIDTH / 2, 0])
    arrows = (
        Arrow("lift", "force", tip, np.array([0, 0, -600.0]), "600 N"),
        Arrow("twist", "moment", tip, np.array([8000.0, 0, 0]), "8 N*m"),
        Arrow("root", "force", np.array([0, WIDTH / 2, 0]), np.array([0, 0, 600.0]), "600 N"),
    )
    patches = (
        Patch("lift", "load", mesh.triangles_of((1,))),
        Patch("root", "support", mesh.triangles_of((0,))),
    )
    return Scene(mesh, {name: beam_fields(mesh, f) for name, f in FORCES.items()}, arrows, patches)


def _case(scene: Scene, name: str) -> CaseFindings:
    fields, mesh, force = scene.cases[name], scene.mesh, FORCES[name]
    size = np.linalg.norm(fields.displacement, axis=1)
    worst, far = int(fields.reserve.argmin()), int(size.argmax())

    def spot(node: int, mode: str, face: str, singular: bool) -> HotSpot:
        return HotSpot(
            float(fields.reserve[node]),
            mode,
            "solid",
            "raster 45 deg",
            "beam",
            face,
            1.25,
            tuple(mesh.nodes[node].tolist()),
            tuple(fields.print_stress[node].tolist()),
            singular,
            "it lies on the edge of the support root" if singular else "",
        )

    middle = int(np.linalg.norm(mesh.nodes - [33, 10, 8], axis=1).argmin())
    under = int(np.linalg.norm(mesh.nodes - [33, 10, -8], axis=1).argmin())
    spots = (
        spot(worst, "tension along the beads", "root", True),
        spot(middle, "interlayer tension", "top", False),
        spot(under, "compression along the beads", "bottom", False),
    )
    return CaseFindings(
        factors={"lift": force / 600},
        applied_N=(0.0, 0.0, -force),
        applied_Nmm=(0.0, force * LENGTH, 0.0),
        reaction_N=(0.0, 0.0, force),
        force_error=2.1e-10,
        moment_error=3.4e-10,
        maximum_displacement_mm=float(size[far]),
        maximum_displacement_at_mm=tuple(mesh.nodes[far].tolist()),
        strain_energy_mJ=0.5 * force * float(-fields.displacement[far, 2]),
        points={"tip": PointFindings((100.0, 10.0, 0.0), (0.0, 0.0, -0.5), (0.0,) * 6, (1.0, 0, 0, 0, 0, 2.0))},
        faces={"tip": WatchFindings((0.0, 0.0, -0.5), (0.0, 0.3 * force / 600, 0.0))},
        reserve=Reserve(
            spots[0].reserve,
            spots[0].mode,
            "solid",
            "raster 45 deg",
            "beam",
            "root",
            spots[0].at_mm,
            True,
            spots[1].reserve,
            {"maximum_stress": spots[0].reserve, "tsai_wu": None},
        ),
        hot_spots=spots,
        failing_load_N=force * spots[0].reserve,
        reactions=(
            ReactionFindings(
                "root",
                "",
                (0.0, 0.0, force),
                (0.0, -force * LENGTH, 0.0),
                (0.0, -force * LENGTH, 0.0),
                (0.0, 10.0, 0.0),
            ),
        ),
        foundations={"root": FoundationFindings(False, force, 0.25 * force, 0.2, 0.125)},
    )


def beam_findings(scene: Scene) -> Findings:
    mesh = scene.mesh
    cases = {name: _case(scene, name) for name in FORCES}
    least = min(c.reserve.minimum for c in cases.values())
    stiff = np.diag([1.2e5, 8e4, 4e4, 3e7, 6e7, 7e7])
    matrix, compliance = (tuple(tuple(r) for r in m.tolist()) for m in (stiff, np.linalg.inv(stiff)))
    return Findings(
        beadwork="0.1.0",
        title="Cantilever beam",
        question="Does the beam bear its end load, and how far does it give?",
        inputs={
            "study": 'title = "Cantilever beam"\n[loads.lift]\nface = "tip" # <seat> & more\n',
            "hashes": {"beam.step": "0f3a"},
            "versions": {"numpy": np.__version__},
        },
        bodies={
            "beam": BodyFindings(
                32000.0,
                33.9,
                ((0, 0, -8), (100, 20, 8)),
                "pa12-cf",
                "conditioned",
                {"solid": 1.0},
                ("G of 13: estimate from a similar compound", "shear 23: estimate"),
                ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
            )
        },
        mesh=MeshFindings(len(mesh.nodes), len(mesh.tets), mesh.unknowns, 2, 0.5, 0.7, 3),
        faces={"tip": FaceFindings(1, 320.0, (100.0, 10.0, 0.0)), "root": FaceFindings(1, 320.0, (0.0, 10.0, 0.0))},
        cases=cases,
        stiffness={"tip": FaceStiffness(matrix, compliance)},
        requirements=(
            RequirementFindings("reserve", 1.5, least, "", least >= 1.5, "landing"),
            RequirementFindings("turn tip", 0.2, 0.3, "deg", False, "landing"),
            RequirementFindings("mass", 50.0, 33.9, "g", True, "beam"),
        ),
        loads={"lift": {"kind": "force", "face": "tip", "resultant_N": [0, 0, -600.0]}},
        supports={"root": {"face": "root", "hold": ["x", "y", "z"]}},
        trust={"solver": "converged in 14 steps", "energy_error": 0.031},
        cautions=(
            Caution("coarse_mesh", "The mesh is coarse.", {"relative_energy_error": 0.2}, True),
            Caution("standing", "The numbers are an engineering estimate."),
            Caution("standing", "Nylon softens when wet and creeps under bolts."),
        ),
        seconds={"solve": 1.25},
        peak_memory_MB=412.0,
    )
