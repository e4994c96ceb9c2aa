"""Stress over a material length: what is kept, what a surface becomes, and the size effect of a hole.

Sources: R. H. J. Peerlings et al., IJNME 39 (1996) 3391; J. M. Whitney and R. J. Nuismer, J. Compos. Mater. 8 (1974)
253 (mean stress over a length from a hole's edge).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers_cad import draw
from helpers_fe import box, field, material

from fem.judging.averaging import average_over, slopes_of
from fem.judging.stress import recover_stress
from fem.part.meshing import mesh_solid
from fem.part.quadrature import tet_volumes
from fem.part.solid import read_solid
from fem.part.tetmesh import joined
from fem.tensors import isotropic_stiffness

E, NU = 1000.0, 0.3


def stress_of(mesh, moved, *, length):
    """Stress (n, 6) at the nodes of an isotropic body with a material length [mm]."""
    made = replace(material(isotropic_stiffness(E, NU)), length=length)
    return recover_stress(mesh, field(mesh, made), moved).node


def bent(mesh, curvature=1e-3):
    """A beam along x bent about y: the stress along x is E curvature z, all others nothing."""
    x, y, z = mesh.nodes.T
    k = curvature
    return np.stack([k * x * z, -NU * k * y * z, -k / 2 * (x**2 + NU * (z**2 - y**2))], axis=1)


def far_from_ends(mesh, margin):
    x, y = mesh.nodes[:, 0], mesh.nodes[:, 1]
    return (np.abs(x - 10) < 10 - margin) & (np.abs(y - 3) < 3 - margin)


@pytest.mark.parametrize("length", [0.3, 2.0])
def test_uniform_stress_is_kept(length):
    mesh = box((20, 6, 8), (10, 3, 4))
    strain = 1e-3 * np.array([[1.0, 0.2, 0.1], [0.2, -0.4, 0.3], [0.1, 0.3, 0.6]])
    found, plain = (stress_of(mesh, mesh.nodes @ strain, length=each) for each in (length, 0.0))
    assert np.allclose(found, plain, rtol=0, atol=1e-6 * np.abs(plain).max())


@pytest.mark.parametrize(("cells", "length"), [((8, 2, 3), 0.9), ((20, 6, 16), 0.3), ((20, 6, 24), 2.0)])
def test_bending_is_read_half_a_length_under_the_surface(cells, length):
    # elements of 2.7 mm with a length of 0.9, of 0.5 mm with 0.3, and of 0.33 mm with 2: the same rule on each
    mesh = box((20, 6, 8), cells)
    found = stress_of(mesh, bent(mesh), length=length)[:, 0] / E / 1e-3
    some = far_from_ends(mesh, min(2 * length, 2.5))
    top = some & (np.abs(mesh.nodes[:, 2] - 8) < 1e-9)
    middle = some & (np.abs(mesh.nodes[:, 2] - 4) < 1e-9)
    assert top.any() and found[top] == pytest.approx(8 - length / 2, rel=0.015)
    if middle.any():
        assert found[middle] == pytest.approx(4.0, rel=0.01)
    assert abs(8 / (8 - length / 2) - 1) > 0.018, "the plain stress would miss"


def test_nothing_crosses_from_body_to_body():
    one = box((6, 6, 6), (6, 6, 6))
    beside = replace(
        one,
        nodes=one.nodes + np.array([6.0, 0, 0]),
        bodies=("other",),
        faces=tuple(replace(each, body="other") for each in one.faces),
    )
    mesh = joined([one, beside])
    first = mesh.nodes[:, 0] * (np.arange(len(mesh.nodes)) < len(one.nodes))
    moved = np.zeros_like(mesh.nodes)
    moved[:, 0] = 1e-3 * first
    made = replace(material(isotropic_stiffness(E, NU)), length=3.0)
    which = mesh.body
    stress = recover_stress(mesh, field(mesh, made, made, which=which), moved).node
    n = len(one.nodes)
    assert np.abs(stress[n:]).max() < 1e-9 * np.abs(stress[:n]).max()
    assert np.ptp(stress[:n, 0]) < 1e-6 * stress[0, 0], "nor does the loaded one lose anything"


def kirsch_moved(nodes, radius):
    """Displacement (n, 3) [mm] around a hole in an endless plate in plane strain, pulled by 1 MPa along x."""
    r, t = np.hypot(nodes[:, 0], nodes[:, 1]), np.arctan2(nodes[:, 1], nodes[:, 0])
    shear, kappa = E / 2 / (1 + NU), 3 - 4 * NU
    a = radius / r
    radial = (kappa - 1) / a + 2 * a + 2 * (1 / a + (kappa + 1) * a - a**3) * np.cos(2 * t)
    around = -2 * (1 / a + (kappa - 1) * a + a**3) * np.sin(2 * t)
    radial, around = (radius / 8 / shear * each for each in (radial, around))
    x, y = radial * np.cos(t) - around * np.sin(t), radial * np.sin(t) + around * np.cos(t)
    return np.stack([x, y, np.zeros_like(x)], axis=1)


@pytest.fixture(scope="module")
def plate(tmp_path_factory):
    """A plate of 24 x 24 x 2 mm with a hole of 2 mm radius."""
    path = tmp_path_factory.mktemp("plate") / "plate.step"

    def build(occ):
        whole, hole = occ.addBox(-12, -12, 0, 24, 24, 2), occ.addCylinder(0, 0, 0, 0, 0, 2, 2)
        occ.cut([(3, whole)], [(3, hole)])

    draw(path, build)
    return mesh_solid(read_solid(path, name="part"), size=2.0, finest=0.3)


def test_size_effect_of_a_hole(plate):
    # stress half a length from the edge of a hole of radius R over the far one, by Whitney and Nuismer's point
    # criterion: 1 + s^2 / 2 + 3 s^4 / 2 with s = R / (R + length / 2)
    moved, factors = kirsch_moved(plate.nodes, 2.0), []
    edge = np.hypot(plate.nodes[:, 0], plate.nodes[:, 1]) < 2.0 + 1e-6
    assert stress_of(plate, moved, length=0.0)[edge, 0].max() == pytest.approx(3.0, rel=0.04)
    for length in (0.2, 1.0, 2.0):
        s = 2 / (2 + length / 2)
        factors.append(stress_of(plate, moved, length=length)[edge, 0].max())
        # elements here have edges of 0.7 mm; on 0.25 mm all three come within 1 %
        assert factors[-1] == pytest.approx(1 + s**2 / 2 + 3 * s**4 / 2, rel=0.05)
    assert (np.diff(factors) < 0).all(), "the smaller a hole beside the length, the less it weakens"


def test_the_average_solves_the_equation_that_it_stands_for():
    # against dense matrices put together tetrahedron by tetrahedron
    mesh, length = box((4, 3, 2), (3, 2, 2)), 1.6
    tets, n = mesh.tets.astype(np.int64), len(mesh.nodes)
    slope = slopes_of(mesh.nodes[tets[:, :4]])
    given = {"place": tets, "weight": tet_volumes(mesh), "edge": mesh.edge_length}
    average = average_over(slope, length=length, **given)
    stress = np.random.default_rng(5).normal(size=(2, n, 6))
    found = average(stress)
    mass, stiff = np.zeros((2, n, n))
    for tet in mesh.tets[:, :4]:
        edges = mesh.nodes[tet[1:]] - mesh.nodes[tet[0]]
        volume, slope = abs(np.linalg.det(edges)) / 6, np.linalg.inv(edges) @ np.c_[-np.ones(3), np.eye(3)]
        mass[np.ix_(tet, tet)] += volume * (np.ones((4, 4)) + np.eye(4)) / 20
        stiff[np.ix_(tet, tet)] += volume * (length / 2) ** 2 * (slope.T @ slope)
    used = np.unique(mesh.tets[:, :4])
    inner = np.ix_(used, used)
    exact = np.linalg.solve((mass + stiff)[inner], mass[inner] @ stress[:, used])
    assert found[:, used] == pytest.approx(exact, abs=1e-7)
    assert np.abs(found - stress)[:, used].max() > 0.5, "and it does something"
    kept = mass.sum(axis=1)[used] / (mass.sum(axis=1) + np.diag(stiff))[used]
    assert average.kept[used] == pytest.approx(kept, rel=1e-9)
    at, one, two = average.middles[7]
    off = stress[:, at] - (stress[:, one] + stress[:, two]) / 2
    assert found[:, at] == pytest.approx((found[:, one] + found[:, two]) / 2 + average.kept[at] * off, abs=1e-12)
