"""Faces that press on each other, against Hertz, Euler's belt and the pin's cosine.

Hertz: K. L. Johnson, Contact Mechanics, Cambridge 1985, sections 3.4 and 4.2.
"""

from dataclasses import replace

import numpy as np
import pytest
from helpers_fe import HIGH_X, HIGH_Y, HIGH_Z, LOW_X, LOW_Y, LOW_Z, field, group, material

from fem.evidence.bricks import block, growing
from fem.evidence.small_parts import prescribe, square_to
from fem.joining.facing import faces_opposite
from fem.joining.joint import Joint
from fem.loading.loads import force_load
from fem.part.tetmesh import joined
from fem.solving.equilibrium import Equilibrium
from fem.solving.joined import joined_of
from fem.solving.joints import solve_joints
from fem.tensors import isotropic_stiffness


def pressed(lower, upper, first, second, stiffness, held, *, force):
    """Two meshes whose given faces press: the answer, the joints as solved, and the mesh."""
    off = len(lower.faces)
    mesh = joined([lower, replace(upper, bodies=("upper",))])
    printed = field(mesh, *(material(s) for s in stiffness), which=mesh.body)
    facing = faces_opposite(mesh, mesh.triangles_of((off + second,)), mesh.triangles_of((first,)), reach=3.0)
    joint = joined_of(mesh, printed, [Joint("contact", facing)])
    equilibrium = Equilibrium(mesh, printed, held=held(mesh, off), joined=joint, solver="multigrid")
    forces = force_load(mesh, group(mesh, off + HIGH_Z), force=np.asarray(force, dtype=float))
    start = equilibrium.held.start
    found = solve_joints(equilibrium, forces, start=start if np.abs(start).max() > 0 else None)
    return found, joint, mesh


def parabola(found, joint, square, within):
    """How far [mm] the pressure reaches and its peak [MPa], by the line that its square makes of the square of the
    distance `within` some mm of the middle.
    """
    pressure = found.state.force / joint.area
    r2 = square(joint.joints[0].facing.places)
    near = r2 < within**2
    slope, top = np.polyfit(r2[near], pressure[near] ** 2, 1)
    return np.sqrt(-top / slope), np.sqrt(top)


def test_a_cylinder_on_a_flat_presses_as_hertz_says():
    # R = 50 mm, 35 kN a mm of length, steel on aluminium: half width 6.215 mm, peak 3585 MPa
    radius, line, width = 50.0, 35000.0, 2.0
    grade = (growing(40.0), lambda s: s, growing(40.0))
    lower = block((22, 1, 18), bend=lambda p: p * [120, width, 120] - [0, 0, 120], grade=(*grade[:2], ending(40.0)))

    def cap(p):
        x = 45 * p[:, 0]
        low = radius - np.sqrt(radius**2 - x**2)
        return np.stack([x, width * p[:, 1], low + (radius - low) * p[:, 2]], axis=1)

    upper = block((20, 1, 14), bend=cap, grade=grade)

    def held(mesh, off):
        return [
            square_to(mesh, LOW_X, LOW_Y, HIGH_Y, LOW_Z, name="lower"),
            square_to(mesh, off + LOW_X, off + LOW_Y, off + HIGH_Y, name="upper"),
        ]

    steel, aluminium = isotropic_stiffness(210e3, 0.3), isotropic_stiffness(70e3, 0.3)
    found, joint, _ = pressed(lower, upper, HIGH_Z, LOW_Z, (aluminium, steel), held, force=(0, 0, -line * width / 2))
    half_width, top = parabola(found, joint, lambda at: at[:, 0] ** 2, 4.0)
    assert half_width == pytest.approx(6.21463, rel=0.03)
    assert top == pytest.approx(3585.36, rel=0.02)


def test_a_sphere_on_a_flat_approaches_as_hertz_says():
    # A hard sphere of 50 mm on E = 1000 MPa, nu = 0.3, 1000 N: approach 0.2104 mm, peak 45.38 MPa, radius 3.2436 mm
    young, nu, radius, force = 1000.0, 0.3, 50.0, 1000.0
    size = 40.0
    grade = (growing(25.0), growing(25.0), ending(25.0))
    lower = block((13, 13, 11), bend=lambda p: p * size - [0, 0, size], grade=grade)

    def cap(p):
        x, y = 12 * p[:, 0], 12 * p[:, 1]
        low = radius - np.sqrt(radius**2 - x**2 - y**2)
        return np.stack([x, y, low + (8 - low) * p[:, 2]], axis=1)

    upper = block((14, 14, 3), bend=cap, grade=(growing(6.0), growing(6.0), lambda s: s))

    def held(mesh, off):
        far = np.unique(mesh.triangles[mesh.triangles_of((HIGH_X, HIGH_Y, LOW_Z))])
        return [
            square_to(mesh, LOW_X, LOW_Y, name="lower"),
            square_to(mesh, off + LOW_X, off + LOW_Y, name="upper"),
            prescribe(mesh, far, half_space(mesh.nodes, young, nu, force), name="far"),
        ]

    stiffness = isotropic_stiffness(young, nu), isotropic_stiffness(1e5 * young, nu)
    found, joint, mesh = pressed(lower, upper, HIGH_Z, LOW_Z, stiffness, held, force=(0, 0, -force / 4))
    approach = -found.displacement[mesh.node_body == 1, 2].mean()
    assert approach == pytest.approx(0.2104158, rel=0.02)
    reach, top = parabola(found, joint, lambda at: (at[:, :2] ** 2).sum(axis=1), 2.4)
    assert reach == pytest.approx(3.243577, rel=0.05)
    assert top == pytest.approx(45.38297, rel=0.03)


def ending(ratio):
    """Grid positions whose first step is `ratio` times the last."""
    return lambda s: 1 - growing(ratio)(1 - s)


def half_space(points, young, nu, force):
    """Displacement (n, 3) [mm] of a half-space below z = 0 under a point force down at the origin (Boussinesq)."""
    shear = young / (2 * (1 + nu))
    x, y, depth = points[:, 0], points[:, 1], -points[:, 2]
    rho = np.maximum(np.sqrt(x**2 + y**2 + depth**2), 1e-3)
    common = force / (4 * np.pi * shear)
    down = common * (depth**2 / rho**3 + 2 * (1 - nu) / rho)
    out = common * (depth / rho**3 - (1 - 2 * nu) / np.maximum(rho * (rho + depth), 1e-9))
    return np.stack([out * x, out * y, -down], axis=1)
