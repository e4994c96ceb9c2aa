"""Foundations that only push: bases that let go on one side, and a beam that lifts off at its ends."""

import numpy as np
import pytest
from helpers_fe import HIGH_X, HIGH_Z, LOW_X, LOW_Y, LOW_Z, box, field, group, material
from scipy.optimize import brentq

from fem.loading.loads import force_load, wrench_load
from fem.loading.supports import Foundation, held_face
from fem.solving.contact import solve_contact
from fem.solving.equilibrium import Equilibrium
from fem.tensors import isotropic_stiffness

LENGTH, WIDTH, HEIGHT = 60.0, 20.0, 10.0


def base(off, *, push_only):
    """Deepest pressure [MPa], pressed length [mm] and contact of a stiff block loaded `off` [mm] from its middle."""
    mesh = box((LENGTH, WIDTH, HEIGHT), (24, 1, 1))
    stiffness = 0.01
    foundation = Foundation("ground", mesh.triangles_of((LOW_Z,)), stiffness, stiffness, push_only=push_only)
    equilibrium = Equilibrium(mesh, field(mesh, material(isotropic_stiffness(2e4, 0.0))), foundations=[foundation])
    at = np.array([LENGTH / 2 + off, WIDTH / 2, HEIGHT])
    down = np.array([0.0, 0.0, -1000.0])
    load = wrench_load(mesh, mesh.triangles_of((HIGH_Z,)), force=down, moment=np.zeros(3), at=at)
    found, record, contact = solve_contact(equilibrium, load)
    solution = equilibrium.balance(found, load, record, contact=contact)
    assert solution.force_error < 1e-8 and solution.moment_error < 1e-8
    low = mesh.nodes[:, 2] < 1e-9
    # A rigid base stays plane
    slope, level = np.polyfit(mesh.nodes[low, 0], found[low, 2], 1)
    zero = -level / slope if slope else 0.0
    deepest = -stiffness * min(level, level + slope * LENGTH)
    return deepest, LENGTH - zero if 0 < zero < LENGTH else LENGTH, contact


@pytest.mark.parametrize("off", [12.0, 18.0, 22.0])
def test_a_rigid_base_without_tension_presses_on_three_times_the_distance_to_its_edge(off):
    # Foundation engineering's rule beyond the kern (e > L/6): the pressure is a triangle whose resultant lies under
    # the load, so it is 3 (L/2 - e) long and 2 P / (3 b (L/2 - e)) high. It follows from equilibrium alone.
    deepest, pressed, contact = base(off, push_only=True)
    assert pressed == pytest.approx(3 * (LENGTH / 2 - off), rel=1e-3)
    assert deepest == pytest.approx(2 * 1000 / (3 * WIDTH * (LENGTH / 2 - off)), rel=1e-3)
    assert contact.steps < 10
    # A base that also pulls presses less: P/A (1 + 6 e/L)
    glued, _, _ = base(off, push_only=False)
    assert glued == pytest.approx(1000 / (LENGTH * WIDTH) * (1 + 6 * off / LENGTH), rel=0.005)
    assert off < 15 or glued < 0.9 * deepest


def test_within_the_kern_nothing_lets_go():
    deepest, pressed, contact = base(8.0, push_only=True)
    assert contact.steps == 1 and contact.pressing["ground"].all()
    assert pressed == LENGTH
    assert deepest == pytest.approx(1000 / (LENGTH * WIDTH) * (1 + 6 * 8 / LENGTH), rel=0.005)


def lifting_beam(beta, flexural, force):
    """Half the contact length [mm], deflection at the load [mm] and slope at lift-off of a weightless endless beam
    under one force on a foundation that only pushes.

    EI w'''' + k w = 0 on the pressed half, k = 4 beta^4 EI; no slope and half the force at the load; where the beam
    lifts off, no moment, no shear, and no deflection.
    """

    def rows(x):
        """Value and derivatives (4, 4) at x of the four solutions exp(+-bx) cos, sin(bx)."""
        out = []
        for power in (1 + 1j, -1 + 1j):
            r = beta * power
            each = np.array([r**d * np.exp(r * x) for d in range(4)])
            out += [each.real, each.imag]
        return np.array(out).T

    def solve(half):
        start, end = rows(0.0), rows(half)
        system = np.array([start[1], start[3], end[2], end[3]])
        weights = np.linalg.solve(system, [0.0, force / 2 / flexural, 0.0, 0.0])
        return start @ weights, end @ weights

    half = brentq(lambda c: solve(c)[1][0], 0.5 / beta, 2.0 / beta)
    start, end = solve(half)
    return half, start[0], end[1]


def test_a_beam_lifts_off_its_foundation_beside_a_load():
    # Y. Weitsman treated it in 1970 (On foundations that react in compression only; from memory); the closed form is
    # solved above on its own and gives the half length pi / (2 beta)
    thick, young, force, end = 4.0, 2000.0, 2.0, 150.0
    flexural = young * thick**4 / 12
    beta = np.pi / 2 / 80.0
    stiffness = 4 * beta**4 * flexural / thick
    half, middle, slope = lifting_beam(beta, flexural, force)
    assert half == pytest.approx(np.pi / (2 * beta), rel=1e-9)
    mesh = box((end, thick, thick), (50, 1, 1))
    # Half the beam, its other half mirrored at x = 0
    held = [
        held_face(mesh, group(mesh, LOW_X), fixed=("x",), name="mirror"),
        held_face(mesh, group(mesh, LOW_Y), fixed=("y",), name="side"),
    ]
    foundation = Foundation("ground", mesh.triangles_of((LOW_Z,)), stiffness, 0.0, push_only=True)
    equilibrium = Equilibrium(
        mesh, field(mesh, material(isotropic_stiffness(young, 0.0))), held=held, foundations=[foundation]
    )
    load = force_load(mesh, group(mesh, LOW_X), force=np.array([0, 0, -force / 2]))
    found, _, contact = solve_contact(equilibrium, load)

    def shape(displacement):
        low = np.flatnonzero((mesh.nodes[:, 2] < 1e-9) & (mesh.nodes[:, 1] < 1e-9))
        low = low[np.argsort(mesh.nodes[low, 0])]
        return mesh.nodes[low, 0], displacement[low, 2]

    x, w = shape(found)
    off = np.flatnonzero(w > 0)[0]
    lift = x[off - 1] + (x[off] - x[off - 1]) * w[off - 1] / (w[off - 1] - w[off])
    assert lift == pytest.approx(half, rel=0.02)
    assert w[0] == pytest.approx(-middle, rel=0.02)
    # What has lifted off is straight
    assert w[-1] == pytest.approx(-slope * (end - half), rel=0.04)
    assert contact.steps < 20
    # Glued to its foundation the beam crosses its level a third farther from the load, and its end stays down
    (glued,), _ = equilibrium.solve(load[None])
    x, w_glued = shape(glued)
    off = np.flatnonzero(w_glued > 0)[0]
    assert x[off] > 1.35 * half
    assert abs(w_glued[-1]) < 0.2 * w[-1]


@pytest.mark.parametrize(("reduced", "lifts"), [(0.93, False), (1.15, True)])
def test_a_beam_pressed_at_both_ends_lifts_off_in_the_middle_beyond_a_length(reduced, lifts):
    # A. D. Lovcov, Engineering Journal of Don (2025) no. 10, 10480: with a force at each end it separates from
    # the foundation where its reduced length beta l exceeds pi, whatever the force
    thick, young, beta = 4.0, 2000.0, np.pi / 160
    stiffness = 4 * beta**4 * young * thick**3 / 12
    mesh = box((reduced * np.pi / beta, thick, thick), (40, 1, 1))
    held = [held_face(mesh, group(mesh, LOW_Y), fixed=("y",), name="side")]
    # A little tangential stiffness keeps it from sliding along
    foundation = Foundation("ground", mesh.triangles_of((LOW_Z,)), stiffness, 1e-4 * stiffness, push_only=True)
    equilibrium = Equilibrium(
        mesh, field(mesh, material(isotropic_stiffness(young, 0.0))), held=held, foundations=[foundation]
    )
    load = sum(force_load(mesh, group(mesh, face), force=np.array([0, 0, -1.0])) for face in (LOW_X, HIGH_X))
    _, _, contact = solve_contact(equilibrium, load)
    middle = np.abs(equilibrium.points("ground").place[..., 0] - mesh.box[1, 0] / 2) < 6
    assert (~contact.pressing["ground"][middle]).all() if lifts else contact.pressing["ground"].all()
