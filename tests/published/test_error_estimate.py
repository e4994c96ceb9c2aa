"""The estimated error of the stress against the true one, on smooth problems whose exact answer is known.

Effectivity is the estimate over the true error in the energy norm; 0.8 to 1.2 is what a good estimate has.
Source: O. C. Zienkiewicz and J. Z. Zhu, IJNME 24 (1987) 337 and 33 (1992) 1331.
"""

import numpy as np
import pytest
from helpers_fe import HIGH_X, LOW_X, boundary, box, field, group, material, prescribe, solve

from fem.evidence.bricks import HIGH_Z, LOW_Z, growing, ring
from fem.evidence.holes import kirsch
from fem.evidence.rounds import mirrored
from fem.judging.estimate import estimate_error, recovered
from fem.judging.stress import raw_stress
from fem.loading.loads import pressure_load, spread
from fem.loading.supports import held_face
from fem.part.quadrature import STRESS_POINTS, exact_rule, tet_shapes, tet_slopes
from fem.tensors import isotropic_stiffness


def flat(mesh):
    """Bottom and top held along z: plane strain."""
    return [held_face(mesh, group(mesh, LOW_Z, HIGH_Z), fixed=("z",), name="flat")]


LINEAR = np.linalg.inv(np.column_stack([1 - STRESS_POINTS.sum(axis=1), STRESS_POINTS]))


def true_error(mesh, printed, found, exact, stiffness):
    """The energy norm of raw less exact stress, by a rule of degree 5; `exact` takes places (..., 3) to (..., 6)."""
    raw, _ = raw_stress(mesh, printed, found)
    points, weights = exact_rule()
    x = mesh.nodes[mesh.tets]
    volume = np.linalg.det(np.einsum("qad,mai->mqdi", tet_slopes(points), x)) * weights
    at_points = np.column_stack([1 - points.sum(axis=1), points]) @ LINEAR
    off = np.einsum("qp,mpc->mqc", at_points, raw) - exact(np.einsum("qa,mai->mqi", tet_shapes(points), x))
    return float(np.sqrt(np.einsum("mq,mqa,ab,mqb->", volume, off, np.linalg.inv(stiffness), off)))


def cylinder(cells):
    """Lamé: a = 10, b = 20, p = 10, E = 2000, nu = 0.35, plane strain."""
    stiffness = isotropic_stiffness(2000, 0.35)
    mesh = ring(cells, 10, 20, 2)
    printed = field(mesh, material(stiffness))

    def exact(p):
        x, y = p[..., 0], p[..., 1]
        r, t = np.hypot(x, y), np.arctan2(y, x)
        k, q = 10 * 100 / 300, 400 / np.hypot(x, y) ** 2
        radial, hoop = k * (1 - q), k * (1 + q)
        c, s = np.cos(t), np.sin(t)
        zero = 0 * r
        return np.stack(
            [radial * c**2 + hoop * s**2, radial * s**2 + hoop * c**2, zero + 0.35 * 2 * k, zero, zero,
             (radial - hoop) * c * s], axis=-1
        )  # fmt: skip

    loads = pressure_load(mesh, group(mesh, LOW_X), pressure=10.0)
    found, _, _ = solve(mesh, printed, held=[*mirrored(mesh), *flat(mesh)], loads=loads)
    return mesh, printed, found, exact, stiffness


def hole(cells):
    """Kirsch's hole in a quarter ring that is loaded as the endless plate would load it, plane strain."""
    stiffness = isotropic_stiffness(2400, 0.3)
    mesh = ring(cells, 1.0, 3.0, 0.15, grade=(growing(4.0), growing(1.0)))
    printed = field(mesh, material(stiffness))

    def exact(p):
        xx, yy, xy = kirsch(p[..., 0], p[..., 1])
        return np.stack([xx, yy, 0.3 * (xx + yy), 0 * xx, 0 * xx, xy], axis=-1)

    def rim(x, n):
        s = exact(x)
        one = s[..., 0] * n[..., 0] + s[..., 5] * n[..., 1]
        return np.stack([one, s[..., 5] * n[..., 0] + s[..., 1] * n[..., 1], 0 * one], axis=-1)

    loads = spread(mesh, mesh.triangles_of((HIGH_X,)), rim)
    found, _, _ = solve(mesh, printed, held=[*mirrored(mesh), *flat(mesh)], loads=loads)
    return mesh, printed, found, exact, stiffness


def bar(cells):
    """A bar of length 40 and depth 10 bent by a force at its end, without Poisson's ratio; its border moves as the
    exact answer says. Source: S. P. Timoshenko and J. N. Goodier, Theory of Elasticity, section 21."""
    length, depth, young, force = 40.0, 10.0, 2000.0, 100.0
    stiffness = isotropic_stiffness(young, 0.0)
    mesh = box((length, depth, 4.0), cells)
    printed = field(mesh, material(stiffness))
    inertia = depth**3 / 12
    x, y = mesh.nodes[:, 0], mesh.nodes[:, 1] - depth / 2
    moved = np.zeros_like(mesh.nodes)
    moved[:, 0] = -force * y / (6 * young * inertia) * ((6 * length - 3 * x) * x + 2 * (y**2 - depth**2 / 4))
    moved[:, 1] = force / (6 * young * inertia) * (depth**2 * x + (3 * length - x) * x**2)

    def exact(p):
        x, y = p[..., 0], p[..., 1] - depth / 2
        zero = 0 * x
        shear = force / (2 * inertia) * (depth**2 / 4 - y**2)
        return np.stack([-force / inertia * (length - x) * y, zero, zero, zero, zero, shear], axis=-1)

    found, _, _ = solve(mesh, printed, held=[prescribe(mesh, boundary(mesh), moved)])
    return mesh, printed, found, exact, stiffness


PROBLEMS = [
    (cylinder, (6, 9, 2)),
    (cylinder, (8, 12, 2)),
    (hole, (9, 12, 2)),
    (hole, (12, 16, 2)),
    (bar, (8, 3, 2)),
    (bar, (16, 5, 3)),
]


@pytest.mark.parametrize(("problem", "cells"), PROBLEMS)
def test_the_estimate_is_the_true_error(problem, cells):
    mesh, printed, found, exact, stiffness = problem(cells)
    true = true_error(mesh, printed, found, exact, stiffness)
    estimate = estimate_error(mesh, printed, found)
    assert 0.8 < np.sqrt(estimate.error.sum()) / true < 1.2
    assert estimate.relative == pytest.approx(true / np.sqrt(estimate.energy.sum()), rel=0.2)
    # With a wrong stiffness it is another number
    wrong = estimate_error(mesh, field(mesh, material(2 * stiffness)), found)
    assert not 0.8 < np.sqrt(wrong.error.sum()) / true < 1.2


def two_materials(mesh):
    """A bar that is three times as stiff in its upper half, drawn along x as one: stress jumps where they meet."""
    upper = mesh.nodes[mesh.tets[:, :4], 2].mean(axis=1) > 2.0
    printed = field(
        mesh,
        material(isotropic_stiffness(1000.0, 0.0)),
        material(isotropic_stiffness(3000.0, 0.0)),
        which=upper.astype(int),
    )
    drawn = np.zeros_like(mesh.nodes)
    drawn[:, 0] = 0.01 * mesh.nodes[:, 0]
    return printed, drawn


def test_a_jump_that_zones_really_have_is_no_error():
    mesh = box((10.0, 4.0, 4.0), (5, 2, 2))
    printed, drawn = two_materials(mesh)
    assert estimate_error(mesh, printed, drawn).relative < 1e-6
    # Patches across the two would take the jump for an error
    raw, _ = raw_stress(mesh, printed, drawn)
    all_tets, one = np.arange(len(mesh.tets)), np.zeros(len(mesh.tets), dtype=int)
    across = recovered(mesh, all_tets, raw, way=one, weight=np.ones(len(raw)))
    assert np.abs(across[:, :, 0] - raw[:, :1, 0]).max() > 5.0
