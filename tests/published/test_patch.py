"""Fields that second-order tetrahedra must reproduce exactly, whatever the mesh."""

import numpy as np
import pytest
from helpers_fe import (
    HIGH_X,
    LOW_X,
    block,
    boundary,
    box,
    brick_tets,
    field,
    group,
    material,
    mesh_from,
    node_at,
    pinned,
    prescribe,
    solve,
)

from fem.judging.stress import raw_stress, recover_stress
from fem.loading.loads import force_load
from fem.part.tetmesh import TetMesh
from fem.printing.plan import in_layer_rotation
from fem.tensors import isotropic_stiffness, orthotropic_stiffness, pack_strain, rotate_stiffness

# E1, E2, E3, nu12, nu13, nu23, G12, G13, G23 [MPa], admissible by Lempriere's conditions
PRINTED = ((6000.0, 3000.0, 2000.0), (0.35, 0.40, 0.45), (1200.0, 800.0, 700.0))
# Corners of the seven bricks inside the unit cube. Source: R. H. MacNeal and R. L. Harder, Finite Elements in
# Analysis and Design 1 (1985) 3, figure 2
INNER = {
    (0, 0, 0): (0.249, 0.342, 0.192),
    (1, 0, 0): (0.826, 0.288, 0.288),
    (1, 1, 0): (0.850, 0.649, 0.263),
    (0, 1, 0): (0.273, 0.750, 0.230),
    (0, 0, 1): (0.320, 0.186, 0.643),
    (1, 0, 1): (0.677, 0.305, 0.683),
    (1, 1, 1): (0.788, 0.693, 0.644),
    (0, 1, 1): (0.165, 0.745, 0.702),
}


def seven_bricks():
    lattice = [(i, j, k) for i in (0, 1) for j in (0, 1) for k in (0, 1)]
    number = {(*at, depth): 8 * depth + lattice.index(at) for at in lattice for depth in (0, 1)}
    corners = np.array([*lattice, *(INNER[at] for at in lattice)], dtype=float)
    tets = brick_tets(lambda i, j, k: number[i, j, k, 1])
    for axis in range(3):
        for side in (0, 1):

            def corner(a, b, depth, axis=axis, side=side):
                at = [a, b]
                at.insert(axis, side)
                return number[(*at, depth)]

            tets += brick_tets(corner)
    return mesh_from(corners, tets, face_of=lambda t: 0)


def rotation(seed):
    q, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return q * np.sign(np.linalg.det(q))


def shaken(cells, lengths, *, amount, seed=4):
    """A box with straight sides whose inner corners are out of place."""

    def displacement(points):
        inside = np.all((points > 0) & (points < 1), axis=1)
        jitter = np.random.default_rng(seed).uniform(-amount, amount, points.shape) / np.array(cells)
        return (points + jitter * inside[:, None]) * np.array(lengths)

    return block(cells, displacement=displacement)


def test_patch_of_seven_bricks():
    # Same source: the displacement gives unit strain 1e-3 in all six components, stress 2000 and 400
    mesh = seven_bricks()
    printed = field(mesh, material(isotropic_stiffness(1e6, 0.25)))
    exact = 1e-3 * mesh.nodes @ (np.ones((3, 3)) + np.eye(3)) / 2
    found, equilibrium, _ = solve(mesh, printed, held=[prescribe(mesh, boundary(mesh), exact)])
    assert len(mesh.nodes) > len(boundary(mesh)) + 8
    assert np.abs(found - exact).max() < 1e-8 * np.abs(exact).max()
    stress = recover_stress(mesh, printed, found).node
    assert stress == pytest.approx(np.tile([2000.0] * 3 + [400.0] * 3, (len(mesh.nodes), 1)), rel=1e-7)
    # Without the iteration in between, to rounding
    inner = np.setdiff1d(np.arange(len(mesh.nodes)), boundary(mesh))
    force = equilibrium.elastic_forces(exact)
    assert np.abs(force[inner]).max() < 1e-13 * np.abs(force).max()


def test_patch_fails_when_mid_side_nodes_are_in_another_order():
    mesh = seven_bricks()
    swapped = TetMesh(
        mesh.nodes,
        mesh.tets[:, [0, 1, 2, 3, 4, 5, 6, 7, 9, 8]],
        mesh.body,
        mesh.bodies,
        mesh.triangles,
        mesh.face,
        mesh.faces,
    )
    printed = field(swapped, material(isotropic_stiffness(1e6, 0.25)))
    exact = 1e-3 * mesh.nodes @ (np.ones((3, 3)) + np.eye(3)) / 2
    stress, _ = raw_stress(swapped, printed, exact**2 / 1e-3)
    right, _ = raw_stress(mesh, printed, exact**2 / 1e-3)
    assert np.abs(stress - right).max() > 0.1 * np.abs(right).max()


@pytest.mark.parametrize("seed", [1, 2])
def test_uniform_strain_of_a_turned_orthotropic_body(seed):
    # Closed form: sigma = C : sym(A) for u = A x, any A, any rotation of the material
    mesh = shaken((3, 3, 3), (10, 7, 5), amount=0.25)
    stiffness = rotate_stiffness(orthotropic_stiffness(*PRINTED), rotation(seed))
    printed = field(mesh, material(stiffness))
    slope = 1e-3 * np.random.default_rng(seed + 10).normal(size=(3, 3))
    exact = mesh.nodes @ slope.T
    found, equilibrium, _ = solve(mesh, printed, held=[prescribe(mesh, boundary(mesh), exact)])
    assert np.abs(found - exact).max() < 1e-8 * np.abs(exact).max()
    inner = np.setdiff1d(np.arange(len(mesh.nodes)), boundary(mesh))
    force = equilibrium.elastic_forces(exact)
    assert np.abs(force[inner]).max() < 1e-12 * np.abs(force).max()
    strain = pack_strain((slope + slope.T) / 2)
    expected = stiffness @ strain
    stress, _ = raw_stress(mesh, printed, found)
    assert np.abs(stress - expected).max() < 1e-7 * np.abs(expected).max()
    # Two components exchanged, or shear taken as the tensor's, are told apart
    assert np.abs(stress - stiffness @ strain[[0, 1, 2, 3, 5, 4]]).max() > 0.05 * np.abs(expected).max()
    assert np.abs(stress - stiffness @ (strain / [1, 1, 1, 2, 2, 2])).max() > 0.05 * np.abs(expected).max()


def bending(nodes, *, kappa, nu12, nu13):
    """Pure bending of an orthotropic bar about z: S. G. Lekhnitskii, Theory of Elasticity of an Anisotropic Body
    (1981), section 13, with the material's axes along the bar's.
    """
    x, y, z = nodes.T
    return np.stack(
        [kappa * x * y, -kappa / 2 * (x**2 + nu12 * y**2 - nu13 * z**2), -nu13 * kappa * y * z],
        axis=1,
    )


def test_pure_bending_of_an_orthotropic_bar():
    # M = 1000 N mm on 10 x 10: kappa = M / (E1 I) = 2e-4; deflection -1 at x = 100, largest stress 6
    mesh = shaken((6, 2, 2), (100, 10, 10), amount=0.2)
    mesh = TetMesh(
        mesh.nodes - [0, 5, 5], mesh.tets, mesh.body, mesh.bodies, mesh.triangles, mesh.face, mesh.faces, mesh.quality
    )
    printed = field(mesh, material(orthotropic_stiffness(*PRINTED)))
    exact = bending(mesh.nodes, kappa=2e-4, nu12=0.35, nu13=0.40)
    end = np.unique(mesh.triangles[np.isin(mesh.face, (LOW_X, HIGH_X))])
    # Only the two ends are held: the sides are free, and must come out free of stress
    found, _, _ = solve(mesh, printed, held=[prescribe(mesh, end, exact)])
    assert np.abs(found - exact).max() < 1e-7
    assert found[node_at(mesh, (100, 0, 0)), 1] == pytest.approx(-1.0, abs=1e-7)
    assert found[node_at(mesh, (100, 5, 0)), 0] == pytest.approx(0.1, abs=1e-7)
    assert found[node_at(mesh, (100, 5, 5)), 2] == pytest.approx(-2.0e-3, abs=1e-7)
    stress = recover_stress(mesh, printed, found).node
    expected = np.zeros_like(stress)
    expected[:, 0] = 6000 * 2e-4 * mesh.nodes[:, 1]
    assert np.abs(stress - expected).max() < 1e-5
    wrong = bending(mesh.nodes, kappa=2e-4, nu12=0.40, nu13=0.35)
    other, _, _ = solve(mesh, printed, held=[prescribe(mesh, end, wrong)])
    off = recover_stress(mesh, printed, other).node - expected
    assert np.abs(off).max() > 0.05


# Source: R. M. Jones, Mechanics of Composite Materials, 2nd ed. (1999), eqs 2.97: Ex [GPa], nu_xy, eta = S16/S11
OFF_AXIS = [
    ((181e3, 10.3e3, 0.28, 7.17e3), 30, (28.78011, 0.22672, -1.35145)),
    ((181e3, 10.3e3, 0.28, 7.17e3), 60, (12.41812, 0.09783, -0.40157)),
    ((6e3, 3e3, 0.35, 1.2e3), 15, (5.22540, 0.37558, -0.46285)),
    ((6e3, 3e3, 0.35, 1.2e3), 45, (3.28767, 0.36986, -0.27397)),
]


@pytest.mark.parametrize(("constants", "angle", "expected"), OFF_AXIS)
def test_off_axis_tension_with_free_shear(constants, angle, expected):
    e1, e2, n12, g12 = constants
    own = orthotropic_stiffness((e1, e2, e2), (n12, n12, 0.3), (g12, g12, 0.4 * e2))
    mesh = box((20, 10, 4), (3, 2, 2))
    ex, nu, eta = pulled(mesh, rotate_stiffness(own, in_layer_rotation(angle)))
    assert (ex / 1e3, nu, eta) == pytest.approx(expected, rel=5e-5)
    back = pulled(mesh, rotate_stiffness(own, in_layer_rotation(-angle)))
    assert back[2] == pytest.approx(-eta, rel=1e-5)


def pulled(mesh, stiffness):
    """Ex, nu_xy and eta_xy,x of a coupon under 5 MPa on its ends, read off its corners."""
    printed = field(mesh, material(stiffness))
    pull = force_load(mesh, group(mesh, HIGH_X), force=np.array([200.0, 0, 0]))
    pull += force_load(mesh, group(mesh, LOW_X), force=np.array([-200.0, 0, 0]))
    found, _, _ = solve(mesh, printed, held=[pinned(mesh, (0, 0, 0), (20, 0, 0), (0, 10, 0))], loads=pull)
    slope = np.linalg.lstsq(np.column_stack([np.ones(len(found)), mesh.nodes]), found, rcond=None)[0][1:]
    fitted = found[0] + (mesh.nodes - mesh.nodes[0]) @ slope
    assert np.abs(fitted - found).max() < 1e-7 * np.abs(found).max()  # strain is uniform
    exx, eyy, gxy = slope[0, 0], slope[1, 1], slope[0, 1] + slope[1, 0]
    return 5.0 / exx, -eyy / exx, gxy / exx
