"""Stress around holes, in rings and plates, on meshes whose sides follow the curves."""

import numpy as np
import pytest
from helpers_fe import (
    HIGH_X,
    HIGH_Z,
    LOW_X,
    LOW_Z,
    field,
    group,
    material,
    node_at,
    prescribe,
    solve,
)
from helpers_rings import flat, growing, kirsch, mirrored, ring

from fem.judging.stress import recover_stress
from fem.loading.loads import pressure_load, spread
from fem.loading.supports import held_face
from fem.tensors import isotropic_stiffness, orthotropic_stiffness


def test_thick_cylinder_under_pressure():
    # Lamé: a = 10, b = 20, p = 10, E = 2000, nu = 0.35; S. P. Timoshenko and J. N. Goodier, section 28
    mesh = ring((8, 12, 1), 10, 20, 2)
    printed = field(mesh, material(isotropic_stiffness(2000, 0.35)))
    loads = pressure_load(mesh, group(mesh, LOW_X), pressure=10.0)
    found, _, _ = solve(mesh, printed, held=[*mirrored(mesh), *flat(mesh)], loads=loads)
    stress = recover_stress(mesh, printed, found).node
    for r, radial, hoop, move in [
        (10, -10, 16.6667, 0.09675),
        (15, -2.59259, 9.25926, 0.070125),
        (20, 0, 6.66667, 0.0585),
    ]:
        at = node_at(mesh, (r, 0, 0))
        assert found[at, 0] == pytest.approx(move, rel=5e-4)
        assert stress[at, 1] == pytest.approx(hoop, rel=0.015)
        assert stress[at, 0] == pytest.approx(radial, abs=0.25)
        assert stress[at, 2] == pytest.approx(2.33333, abs=0.1)
    free, _, _ = solve(mesh, printed, held=[*mirrored(mesh), bottom(mesh)], loads=loads)
    assert free[node_at(mesh, (10, 0, 0)), 0] == pytest.approx(0.1008333, rel=5e-4)
    assert free[node_at(mesh, (20, 0, 0)), 0] == pytest.approx(0.0666667, rel=5e-4)


def bottom(mesh):
    return held_face(mesh, group(mesh, LOW_Z), fixed=("z",), name="bottom")


def orthotropic_hole(compliance):
    """The same for an orthotropic plate with its axes along x and y.

    Source: S. G. Lekhnitskii, Anisotropic Plates (1968), section 38 (complex potentials).
    """
    s11, s12, s22, s66 = compliance
    first, second = sorted(np.roots([s11, 0, 2 * s12 + s66, 0, s22]), key=lambda m: -m.imag)[:2]

    def stress(x, y):
        out = [np.ones_like(x), np.zeros_like(x), np.zeros_like(x)]
        for m, sign in ((first, 1), (second, -1)):
            c = -0.5j * sign / (first - second)
            z = x + m * y
            root = np.sqrt(z**2 - 1 - m**2 + 0j)
            one, other = (z + root) / (1 - 1j * m), (z - root) / (1 - 1j * m)
            zeta = np.where(np.abs(one) >= np.abs(other), one, other)
            slope = -c / zeta**2 / (0.5 * ((1 - 1j * m) - (1 + 1j * m) / zeta**2))
            out[0] = out[0] + 2 * (m**2 * slope).real
            out[1] = out[1] + 2 * slope.real
            out[2] = out[2] - 2 * (m * slope).real
        return tuple(out)

    return stress


def with_hole(stiffness, exact, *, cells=(14, 20, 1), outer=5.0, turn=1.0):
    """Stress (n, 6) of a quarter ring of plate, loaded on its rim as the endless plate would load it."""
    mesh = ring(cells, 1.0, outer, 0.15, grade=(growing(8.0), growing(turn)))
    printed = field(mesh, material(stiffness))

    def rim(x, n):
        xx, yy, xy = exact(x[..., 0], x[..., 1])
        return np.stack([xx * n[..., 0] + xy * n[..., 1], xy * n[..., 0] + yy * n[..., 1], 0 * xx], axis=-1)

    loads = spread(mesh, mesh.triangles_of((HIGH_X,)), rim)
    found, _, _ = solve(mesh, printed, held=[*mirrored(mesh), *flat(mesh)], loads=loads)
    return mesh, recover_stress(mesh, printed, found).node


def test_hole_in_an_isotropic_plate():
    # In plane strain the stress in the plane is the same, whatever Poisson's ratio
    mesh, stress = with_hole(isotropic_stiffness(2400, 0.3), kirsch)
    assert stress[node_at(mesh, (0, 1, 0)), 0] == pytest.approx(3.0, rel=0.01)
    assert stress[node_at(mesh, (1, 0, 0)), 1] == pytest.approx(-1.0, rel=0.02)
    far = np.hypot(mesh.nodes[:, 0], mesh.nodes[:, 1]) > 1.3
    xx, yy, xy = kirsch(mesh.nodes[far, 0], mesh.nodes[far, 1])
    assert np.abs(stress[far][:, [0, 1, 5]] - np.stack([xx, yy, xy], axis=1)).max() < 0.04


def test_a_rim_without_the_holes_own_field_misses_the_factor():
    # Even tension on so near a rim is another problem, and the peak tells
    mesh, stress = with_hole(isotropic_stiffness(2400, 0.3), lambda x, y: (1 + 0 * x, 0 * x, 0 * x))
    assert abs(stress[node_at(mesh, (0, 1, 0)), 0] - 3.0) > 0.1


# E1, E2 [GPa], nu12, G12 [GPa]; hoop stress at the hole across and along the load, times the far stress:
# 1 + n and -1/k with k = sqrt(E1/E2), n = sqrt(2 (k - nu12) + E1/G12). Source: Lekhnitskii, as above
HOLES = [
    ((6.0, 3.0, 0.35, 1.2), 3.66991, -0.70711),
    ((3.0, 6.0, 0.175, 1.2), 2.88791, -1.41421),
    ((181.0, 10.3, 0.28, 7.17), 6.75048, -0.23855),
    ((10.3, 181.0, 0.28 * 10.3 / 181, 7.17), 2.37178, -4.19199),
]


def potentials(constants):
    e1, e2, n12, g12 = constants
    return orthotropic_hole((1 / e1, -n12 / e1, 1 / e2, 1 / g12))


@pytest.mark.parametrize(("constants", "across", "along"), HOLES)
def test_potentials_meet_the_published_factors(constants, across, along):
    exact = potentials(constants)
    assert exact(np.array([1e-9]), np.array([1.0]))[0][0] == pytest.approx(across, rel=1e-5)
    assert exact(np.array([1.0]), np.array([1e-9]))[1][0] == pytest.approx(along, rel=1e-4)


@pytest.mark.parametrize(("constants", "across", "along"), HOLES[:3])
def test_hole_in_an_orthotropic_plate(constants, across, along):
    e1, e2, n12, g12 = constants
    # Without Poisson's ratio through the thickness, plane stress and plane strain are one
    stiffness = orthotropic_stiffness((e1, e2, e2), (n12, 0.0, 0.0), (g12, g12, g12))
    turn = 1 / 6 if across > 6 else 1.0  # narrow peaks need smaller steps near them
    mesh, stress = with_hole(1e3 * stiffness, potentials(constants), cells=(16, 24, 1), outer=3.0, turn=turn)
    assert stress[node_at(mesh, (0, 1, 0)), 0] == pytest.approx(across, rel=0.01 if across < 6 else 0.04)
    assert stress[node_at(mesh, (1, 0, 0)), 1] == pytest.approx(along, rel=0.02)


def test_elliptic_membrane():
    # Source: benchmark LE1, The Standard NAFEMS Benchmarks, TNSB rev. 3 (1990): sigma_yy = 92.7 at (2, 0)
    mesh = ring((12, 20, 1), (2, 1), (3.25, 2.75), 0.1, grade=(growing(6.0), growing(6.0)))
    printed = field(mesh, material(isotropic_stiffness(210e3, 0.3)))
    loads = pressure_load(mesh, group(mesh, HIGH_X), pressure=-10.0)
    found, _, _ = solve(mesh, printed, held=[*mirrored(mesh), bottom(mesh)], loads=loads)
    stress = recover_stress(mesh, printed, found).node
    # The two sides of the one layer of tetrahedra differ a little; their mean is the membrane's
    both = [stress[node_at(mesh, (2, 0, z)), 1] for z in (0, 0.1)]
    assert np.mean(both) == pytest.approx(92.7, rel=0.01)


def test_thick_elliptic_plate():
    # Source: benchmark LE10, same collection: sigma_yy = -5.38 at (2, 0) on top, under 1 MPa of pressure
    mesh = ring((6, 9, 2), (2, 1), (3.25, 2.75), 0.6)
    printed = field(mesh, material(isotropic_stiffness(210e3, 0.3)))
    loads = pressure_load(mesh, group(mesh, HIGH_Z), pressure=1.0)
    rim = np.unique(mesh.triangles[mesh.face == HIGH_X])
    line = rim[np.abs(mesh.nodes[rim, 2] - 0.3) < 1e-9]
    held = [
        *mirrored(mesh),
        prescribe(mesh, rim, np.zeros(3), axes=(0, 1), name="rim"),
        prescribe(mesh, line, np.zeros(3), axes=(2,), name="line"),
    ]
    found, _, _ = solve(mesh, printed, held=held, loads=loads)
    stress = recover_stress(mesh, printed, found).node
    assert stress[node_at(mesh, (2, 0, 0.6)), 1] == pytest.approx(-5.38, rel=0.03)
    assert stress[node_at(mesh, (2, 0, 0)), 1] > 2
