"""Faces that press and rub against Hertz, Lamé, Coulomb and Euler; balance; and wrong answers that turn these red."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fem.errors import BeadworkError, FreeBodyError
from fem.evidence import meeting
from fem.evidence.bricks import HIGH_X, HIGH_Y, HIGH_Z, LOW_X, LOW_Y, LOW_Z, ring
from fem.evidence.meeting import each_of, meet, met, stacked, touching
from fem.evidence.pressed import (
    FINE,
    SOFT,
    bar_to_a_stop,
    cylinder_on_a_flat,
    even_pressure,
    fit_in_closed_form,
    pressed_rings,
)
from fem.evidence.register import chosen, run_checks
from fem.evidence.rubbing import belt, deflection_of_halves, friction, on_an_incline
from fem.evidence.small_parts import group, square_to
from fem.loading.loads import force_load
from fem.loading.supports import held_face


def test_a_cylinder_on_a_fine_mesh_presses_as_hertz_says():
    # R = 50 mm, 35 kN a mm of length, steel on aluminium: half width 6.215 mm, peak 3585 MPa (K. L. Johnson, Contact
    # Mechanics, 1985, section 4.2); the rows of evidence tell the same on a coarse mesh
    half_width, top = cylinder_on_a_flat(**FINE)
    assert half_width == pytest.approx(6.21463, rel=0.02)
    assert top == pytest.approx(3585.36, rel=0.01)


def test_rings_that_just_fit_do_not_press():
    found = pressed_rings(interference=0.0)
    assert found.mean_pressure == pytest.approx(0, abs=1e-9 * fit_in_closed_form()[0])


def test_without_friction_a_strap_keeps_its_pull():
    held, found = belt(0.0, pull=100.0)
    assert held == pytest.approx(100.0, rel=1e-6)
    assert np.abs(found.found.state.shear).max() == 0


# ---- balance


def pressed_arcs(mu):
    """A bush that is too large in a ring, pushed along its axis by a force on one end where friction holds it: the
    answer and the nodal loads (n, 3) [N] on both.
    """
    mesh, off = stacked(ring((1, 5, 3), 10, 15, 6.0), ring((2, 9, 4), 15, 25, 6.0))
    held = [
        square_to(mesh, LOW_Y, HIGH_Y, *(() if mu else (LOW_Z,)), name="bush"),
        held_face(mesh, group(mesh, off + HIGH_X), fixed=("x", "y", "z"), name="ring"),
    ]
    printed = each_of(mesh, SOFT, SOFT)
    joint = touching(mesh, off + LOW_X, HIGH_X, clearance=-0.05, finer=False, friction=mu)
    push = force_load(mesh, group(mesh, HIGH_Z), force=np.array([0, 0, -40.0 if mu else 0.0]))
    return meet(met(mesh, printed, held, joint), push), push


@pytest.mark.parametrize("mu", [0.0, 0.4])
def test_forces_balance_with_what_touches(mu):
    """Of each body alone: loads, supports and what its neighbour does to it; in sum, and about the origin."""
    found, push = pressed_arcs(mu)
    both, u = found.equilibrium, found.found.displacement
    state = found.found.state
    touch = both.joined.links.forces(state.total(both.joined.law.normal))  # what resists, as elastic forces do
    supports = both.elastic_forces(u) + touch - push
    free = np.einsum("nij,nj->ni", both.held.projector, supports)
    assert state.touching.all() and (np.abs(state.shear).max() > 0) == bool(mu)
    scale = np.abs(state.force).sum()
    assert np.abs(free).max() < 1e-8 * scale
    at = both.mesh.nodes
    for body in (0, 1):
        own = (both.mesh.node_body == body)[:, None]
        left = np.where(own, push + supports - touch, 0.0)
        assert np.abs(left.sum(axis=0)).max() < 1e-8 * scale
        assert np.abs(np.cross(at, left).sum(axis=0)).max() < 1e-8 * scale * both.mesh.diagonal
    # One body does to the other what it feels itself; shear turns the pair by no more than the facets lie apart
    facing = both.joined.joints[0].facing
    apart = np.linalg.norm(facing.opposite - facing.places, axis=1)
    turned = np.linalg.norm(np.cross(at, touch).sum(axis=0))
    assert np.abs(touch.sum(axis=0)).max() < 1e-10 * scale
    assert turned < 1e-8 * scale * both.mesh.diagonal + (np.linalg.norm(state.shear, axis=1) * apart).sum()
    if mu:  # the ring holds what pushes the bush through it
        carried = np.where((both.mesh.node_body == 1)[:, None], touch, 0.0).sum(axis=0)[2]
        assert abs(carried) == pytest.approx(40.0, rel=1e-7)


# ---- what wrong code would tell


def flipped(monkeypatch):
    """Normals that point into the first body."""
    true = meeting.faces_opposite
    monkeypatch.setattr(
        meeting, "faces_opposite", lambda *a, **k: replace(true(*a, **k), normals=-true(*a, **k).normals)
    )
    stop = meeting.rigid_counterpart
    monkeypatch.setattr(
        meeting, "rigid_counterpart", lambda *a, **k: replace(stop(*a, **k), normals=-stop(*a, **k).normals)
    )


def unlimited(monkeypatch):
    """Friction that holds whatever the pressure."""
    true = meeting.Joint
    monkeypatch.setattr(
        meeting, "Joint", lambda *a, friction=0.0, **k: true(*a, friction=math.inf if friction else 0.0, **k)
    )


def is_red(title):
    """Whether a check of evidence ends in an error or with a row beyond its limit."""
    try:
        return not all(row.within for one in run_checks(chosen(title)) for row in one.rows)
    except (BeadworkError, AssertionError):
        return True


def test_flipped_normals_turn_checks_red(monkeypatch):
    flipped(monkeypatch)
    with pytest.raises(FreeBodyError):
        even_pressure((2, 2, 1), (3, 3, 1), kind="bearing")
    assert bar_to_a_stop(200.0).found.displacement[:, 0].max() == pytest.approx(0.1, rel=0.01)  # through the stop
    assert is_red("a stop, and a seam") and is_red("press fit")


def test_friction_without_its_limit_turns_checks_red(monkeypatch):
    unlimited(monkeypatch)
    row = next(friction())
    assert row.computed == 0.4 and not row.within  # it sticks on all slopes


def test_a_block_that_must_slide_is_told_so():
    on_an_incline(0.28, friction=0.3)
    with pytest.raises(FreeBodyError, match="slide along"):
        on_an_incline(0.32, friction=0.3)


def test_glue_left_out_turns_a_check_red():
    assert deflection_of_halves("bearing") > 3.9 * deflection_of_halves("bonded")


def test_a_seam_that_misses_a_part_of_the_area_turns_a_check_red(monkeypatch):
    true = meeting.faces_opposite

    def half(*given, **how):
        found = true(*given, **how)
        return found.only(found.places[:, 0] < 10)

    monkeypatch.setattr(meeting, "faces_opposite", half)
    assert is_red("a stop, and a seam")
