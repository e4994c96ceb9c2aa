"""A case as its load grows: where a joint opens and slips, from points made by hand and from a solved block."""

import numpy as np
import pytest
from helpers_fe import HIGH_Z, LOW_Z, field, group, material
from helpers_joints import seam, two_blocks

from fem.judging.load_trace import LoadTrace
from fem.judging.path import Between, JointAtLoad, PathPoint, opens, slips
from fem.judging.recovered import RecoveredStress
from fem.loading.case import LoadCase
from fem.loading.loads import Load, pressure_load, wrench_load
from fem.loading.supports import held_face
from fem.solving.cases import solve_cases
from fem.solving.equilibrium import Equilibrium
from fem.solving.joined import joined_of
from fem.tensors import isotropic_stiffness


def points(*each):
    """A path of (factor, touching, slipping)."""
    return [
        PathPoint(f, 0.1 * f, 5.0, "reserve", {"seat": JointAtLoad((0.0, 0.0, 1.0), touch, slip, 0.0, 0.0)})
        for f, touch, slip in each
    ]


def test_changes_lie_between_the_two_solved_factors_around_them():
    path = points((0, 1, 0), (0.5, 1, 0.2), (0.8, 0.9, 0.6), (1.2, 0.5, 0.5), (1.5, 0.4, 0.4))
    assert opens(path, "seat") == Between(0.5, 0.8)
    assert slips(path, "seat") == Between(0.8, 1.2)
    assert opens(path[:2], "seat") is None and slips(path[:2], "seat") is None


def test_a_joint_that_begins_open_or_slipping_does_so_from_the_start():
    assert opens(points((0, 0, 0), (1, 0.3, 0)), "seat") == Between(0, 0)
    assert opens(points((0.5, 0.6, 0.6), (1, 0.6, 0.6)), "seat") == Between(0.5, 0.5)
    assert slips(points((0.5, 0.6, 0.6), (1, 0.6, 0.6)), "seat") == Between(0.5, 0.5)
    # Clamped on part of its area, it opens where it loses some of that part
    assert opens(points((0, 0.4, 0), (1, 0.4, 0), (2, 0.3, 0)), "seat") == Between(1, 2)


def test_a_pressed_block_opens_where_bending_takes_all_pressure_from_its_edge():
    # 5 MPa on 20 x 20 mm, and a moment that takes 8 MPa from the edge: M = 8 b h^2 / 6; it opens at 5/8 of it. With
    # Poisson's ratio 0 the clamped base disturbs nothing, and stress is linear until then.
    mesh, off = two_blocks((4, 4, 1), (5, 4, 1))
    printed = field(mesh, material(isotropic_stiffness(2000.0, 0.0)))
    held = [held_face(mesh, group(mesh, LOW_Z), fixed=("x", "y", "z"), name="base")]
    solved_by = Equilibrium(
        mesh, printed, held=held, joined=joined_of(mesh, printed, [seam(mesh, off, friction=0.3)])
    )
    top = group(mesh, off + HIGH_Z)
    turn = wrench_load(
        mesh, top.triangles, force=np.zeros(3), moment=np.array([0, 8 * 20 * 400 / 6, 0]), at=top.centre
    )
    loads = {
        name: Load(name, "force", forces, permanent, top.triangles, {})
        for name, forces, permanent in (
            ("press", pressure_load(mesh, top, pressure=5.0), True),
            ("turn", turn, False),
        )
    }
    case = LoadCase("all", {"press": 1.0, "turn": 1.0}, loads)
    (solved,), _ = solve_cases(solved_by, [case], moves={})
    recovered = RecoveredStress(mesh, printed, solved)
    trace = LoadTrace(solved.cases[0], recovered, solved_by)
    stress = recovered.of(solved.cases[0], tuple(solved.cases[0].factors))
    trace.took(1.0, solved, stress, asked_by="case")
    path = trace.completed(1.5)
    assert [p.factor for p in path] == [0.0, 0.5, 0.75, 1.0]
    assert [p.asked_by for p in path] == ["path", "path", "path", "case"]
    found = opens(path, "seam")
    assert found.low < 5 / 8 < found.high and found.high - found.low <= 0.25 + 1e-9
    at = {p.factor: p.joints["seam"] for p in path}
    assert at[0.0].touching == pytest.approx(1.0) and at[0.0].gap_max_mm == 0
    assert at[1.0].touching < 0.9 and at[1.0].gap_max_mm > 0
    assert all(np.abs(j.force_N) == pytest.approx([0, 0, 2000], abs=0.01) for j in at.values())
    moved = [p.maximum_displacement_mm for p in path]
    assert moved == sorted(moved)
