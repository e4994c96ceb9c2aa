"""Bodies that meet at joints, against what is known in closed form."""

import numpy as np
import pytest
from helpers_fe import HIGH_X, HIGH_Z, LOW_X, LOW_Y, LOW_Z, box, field, group, material

from fem.errors import FreeBodyError, InputError
from fem.evidence.meeting import met, touching, two_blocks
from fem.evidence.pressed import SOFT, bar_to_a_stop, even_pressure
from fem.evidence.rubbing import belt, bolted_blocks, on_an_incline
from fem.evidence.small_parts import square_to
from fem.joining.facing import rigid_counterpart
from fem.joining.joint import Joint
from fem.loading.case import JOINTS, LoadCase
from fem.loading.loads import Load, force_load
from fem.loading.supports import held_face, spring_support
from fem.solving.cases import solve_cases, solved_at
from fem.solving.equilibrium import Equilibrium
from fem.solving.joined import joined_of
from fem.solving.joints import solve_joints
from fem.solving.motions import rigid_motions
from fem.solving.rigid import refuse_free_pieces
from fem.solving.ties import Locked, Ties
from fem.solving.tightened import _Slack, load_tightened, tighten
from fem.tensors import isotropic_stiffness

YOUNG = 2000.0
TURN = np.array([[2, -1, 2], [2, 2, -1], [-1, 2, 2]]) / 3


def seam(mesh, off, **how):
    return touching(mesh, HIGH_Z, off + LOW_Z, **how)


def equilibrium(mesh, printed, held, *joints, **how):
    return met(mesh, printed, held, *joints, **how)


@pytest.mark.parametrize("turn", [None, TURN])
@pytest.mark.parametrize("cells", [((4, 4, 2), (7, 5, 3)), ((3, 3, 1), (11, 10, 2))])
@pytest.mark.parametrize("kind", ["bearing", "bonded"])
def test_an_even_pressure_passes_a_seam_of_different_meshes_exactly(turn, cells, kind):
    stress, pressure = even_pressure(*cells, kind=kind, turn=turn)
    assert stress == pytest.approx(-5.0, abs=5e-6)
    assert pressure == pytest.approx(5.0, rel=1e-6)


def test_a_bonded_seam_pulls_and_a_bearing_one_parts():
    mesh, off = two_blocks((3, 3, 2), (4, 4, 2))
    printed = field(mesh, material(SOFT))
    held = [held_face(mesh, group(mesh, LOW_Z), fixed=("x", "y", "z"), name="base")]
    pull = force_load(mesh, group(mesh, off + HIGH_Z), force=np.array([30.0, 0, 100]))
    glued = solve_joints(equilibrium(mesh, printed, held, seam(mesh, off, kind="bonded")), pull)
    assert glued.state.force.sum() == pytest.approx(-100, rel=1e-8)
    with pytest.raises(FreeBodyError, match="pushed away"):
        solve_joints(equilibrium(mesh, printed, held, seam(mesh, off, friction=0.5)), pull)


@pytest.mark.parametrize(("force", "moved", "pushed"), [(200.0, None, 100.0), (80.0, 0.04, 0.0)])
def test_a_bar_with_a_gap_to_a_rigid_stop(force, moved, pushed):
    # Bar of 100 mm, 100 mm2, 2000 MPa, 0.05 mm before the stop: the stop takes F - E A g / L
    found = bar_to_a_stop(force).found
    assert found.state.force.sum() == pytest.approx(pushed, abs=0.3)
    if moved is not None:
        assert found.displacement[:, 0].max() == pytest.approx(moved, rel=1e-6)


def test_a_gap_between_bodies_that_nothing_else_holds_closes_first():
    mesh, off = two_blocks((3, 3, 2), (4, 4, 2), gap=0.7)
    printed = field(mesh, material(SOFT))
    held = [held_face(mesh, group(mesh, LOW_Z), fixed=("x", "y", "z"), name="base")]
    load = force_load(mesh, group(mesh, off + HIGH_Z), force=np.array([0, 0, -100.0]))
    found = solve_joints(equilibrium(mesh, printed, held, seam(mesh, off, friction=0.3, clearance=0.1)), load)
    upper = mesh.node_body == 1
    assert found.displacement[upper, 2].max() == pytest.approx(-0.8, abs=0.01)
    assert found.state.force.sum() == pytest.approx(100, rel=1e-7)


def test_a_block_on_an_incline_is_held_by_what_pushes_it_along():
    found = on_an_incline(0.28, friction=0.3).found
    assert found.state.shear.sum(axis=0)[:2] == pytest.approx([0.6 * 28, 0.8 * 28], rel=1e-7)


def test_without_friction_what_is_pressed_is_still_free_to_slide():
    mesh = box((20, 20, 10), (2, 2, 1))
    printed = field(mesh, material(SOFT))
    ground = Joint("ground", rigid_counterpart(mesh, mesh.triangles_of((LOW_Z,))))
    load = force_load(mesh, group(mesh, HIGH_Z), force=np.array([0, 0, -100.0]))
    with pytest.raises(FreeBodyError, match="slide along x, slide along y and turn about z"):
        solve_joints(equilibrium(mesh, printed, [], ground), load)


@pytest.mark.parametrize(
    "how", [{"kind": "glue"}, {"friction": -0.1}, {"friction": float("nan")}, {"kind": "bonded", "friction": 0.2}]
)
def test_joints_that_cannot_be_are_refused(how):
    mesh = box((20, 20, 10), (1, 1, 1))
    with pytest.raises(InputError):
        Joint("seam", rigid_counterpart(mesh, mesh.triangles_of((LOW_Z,))), **how)


def test_a_settled_state_rests_on_few_steps():
    mesh, off = two_blocks((8, 8, 4), (8, 8, 4))
    printed = field(mesh, material(SOFT))
    held = [held_face(mesh, group(mesh, LOW_Z), fixed=("x", "y", "z"), name="base")]
    joint = equilibrium(mesh, printed, held, seam(mesh, off, friction=0.3))
    pressed = force_load(mesh, group(mesh, off + HIGH_Z), force=np.array([100.0, 0, -1000]))
    _, record = joint.solve(pressed[None])
    found = solve_joints(joint, pressed)
    assert len(found.iterations) <= 8
    assert sum(found.iterations) <= 3 * record.iterations


def test_what_slips_around_a_post_settles_in_few_solves():
    held, found = belt(0.4, pull=100.0, bricks=40)
    assert held == pytest.approx(100 * np.exp(-0.4 * np.pi / 2), rel=0.02)
    assert len(found.found.iterations) <= 60


def test_a_tightened_bolt_shares_a_load_with_what_it_clamps_until_that_parts():
    # Members of E A / L = 40 kN/mm and a bolt of 60 kN/mm: the bolt takes 0.6 of a pull and opens at preload over 0.4
    # (the diagram of a preloaded joint; R. G. Budynas and J. K. Nisbett, Shigley's, section 8-7)
    both, pull = bolted_blocks(60e3)
    tight = tighten(both, np.array([1000.0]))
    assert tight.answer.state.force.sum() == pytest.approx(1000, rel=1e-7)
    for load, borne, clamp in ((0, 1000, 1000), (1000, 1600, 600), (2400, 2440, 40), (2700, 2700, 0)):
        found = load_tightened(both, tight, load * pull)
        assert found.pull[0] == pytest.approx(borne, rel=2e-3)
        assert found.answer.state.force.sum() == pytest.approx(clamp, abs=6)
        assert found.pull[0] - load == pytest.approx(found.answer.state.force.sum(), abs=1e-3)


def test_a_bolt_that_pulls_again_bears_nothing_across():
    # Of three bolts the second goes loose, then pulls again: along its axis alone. The others never change.
    slack = _Slack(np.zeros(3, dtype=bool))
    assert slack.ties() is None and slack.stands(np.array([5.0, 1, 3]))
    assert not slack.stands(np.array([5.0, -1, 3]))
    assert slack.ties().tolist() == [False] * 6 + [True] * 6 + [False] * 6
    assert slack.stands(np.array([5.0, -2, 3]))
    assert not slack.stands(np.array([5.0, 2, 3]))
    again = slack.ties()
    assert again.tolist() == [False] * 7 + [True] * 5 + [False] * 6
    assert slack.stands(np.array([5.0, 2, 3]))
    # Springs of 10 N/mm, all moved by 0.5 mm, locked at 100 N and 0.2 mm: 100 + 10 (0.5 - 0.2) along, 5 across
    ties = Ties(np.eye(18), np.full(18, 10.0))
    locked = Locked(np.full(3, 100.0), np.full(3, 0.2), again)
    held, freed = [103.0, 5, 5, 5, 5, 5], [103.0, 0, 0, 0, 0, 0]
    assert locked.each(ties, np.full((6, 3), 0.5)) == pytest.approx(held + freed + held)
    assert locked.bearing(ties).stiffness.tolist() == [10.0] * 7 + [0.0] * 5 + [10.0] * 6
    gone = Locked(np.full(3, 100.0), np.full(3, 0.2), np.ones(18, dtype=bool))
    assert gone.bearing(ties) is None and not gone.along(ties).any()


def test_a_shank_bends_as_a_beam_does():
    # What a beam between its ends feels: a turn of the head alone makes 4 EI/L there, 2 EI/L at the thread
    both, _ = bolted_blocks(60e3)
    mesh, ties = both.mesh, both.joined.ties
    turn = rigid_motions(mesh.nodes, centre=np.array([10, 10, 20.0]))[:, :, 3]
    upper = (mesh.node_body == 1)[:, None]
    force = ties.forces(ties.stiffness * ties.motion(np.where(upper, turn, 0.0)))
    moment = np.cross(mesh.nodes - [10, 10, 20.0], force)
    assert moment[upper[:, 0]].sum(axis=0)[0] == pytest.approx(4 * 4e7 / 20, rel=1e-9)
    below = np.cross(mesh.nodes - [10, 10, 0.0], force)
    assert below[~upper[:, 0]].sum(axis=0)[0] == pytest.approx(2 * 4e7 / 20, rel=1e-9)
    assert ties.forces(ties.stiffness * ties.motion(turn)) == pytest.approx(0, abs=1e-6)


def test_what_joints_add_to_a_case_never_grows():
    """A gap of 0.05 mm to a stop: the bar's own load grows, the constant part of the stop stays, alone or not."""
    mesh = box((100, 10, 10), (12, 1, 1))
    printed = field(mesh, material(isotropic_stiffness(YOUNG, 0.0)))
    held = [square_to(mesh, LOW_X, LOW_Y, LOW_Z, name="symmetry")]
    stop = Joint("stop", rigid_counterpart(mesh, mesh.triangles_of((HIGH_X,)), clearance=0.05))
    both = equilibrium(mesh, printed, held, stop)
    pull = force_load(mesh, group(mesh, HIGH_X), force=np.array([200.0, 0, 0]))
    for permanent in (False, True):
        load = Load("pull", "force", pull, permanent, mesh.triangles_of((HIGH_X,)))
        ((solved,), _) = solve_cases(both, [LoadCase("on", {"pull": 1.0}, {"pull": load})], moves={})
        (case,) = solved.cases
        assert (case.growing, case.permanent) == (("pull",), (JOINTS,))
        whole = case.combined(tuple(case.factors), solved.units)
        assert whole[:, 0].max() == pytest.approx(0.05, rel=2e-3)
        again = solved_at(both, case, solved, factor=2.0)
        pushed = again.contact.state.force.sum()
        assert pushed == pytest.approx(2 * 200 - 100, rel=2e-3)


def test_a_soft_spring_holds_a_body_too():
    mesh, off = two_blocks((2, 2, 1), (3, 3, 1))
    printed = field(mesh, material(SOFT))
    soft = spring_support(mesh, group(mesh, LOW_Z), stiffness=np.array([0.5, 0.5, 0.5]), name="soft")
    joined_up = joined_of(mesh, printed, [seam(mesh, off, kind="bonded")])
    both = Equilibrium(mesh, printed, foundations=[soft], joined=joined_up)
    refuse_free_pieces(both, joined_up.law.closed(), where="joints", advice="")
    slide = spring_support(mesh, group(mesh, LOW_Z), stiffness=np.array([0.0, 0.5, 0.5]), name="soft")
    free = Equilibrium(mesh, printed, foundations=[slide], joined=joined_up)
    with pytest.raises(FreeBodyError, match="slide along x"):
        refuse_free_pieces(free, joined_up.law.closed(), where="joints", advice="")


def pressed_aside(friction, *, clearance=0.0):
    """A block pressed on another and pushed sideways, with the forces and the iterations of the same two glued."""
    mesh, off = two_blocks((6, 6, 4), (5, 5, 3))
    printed = field(mesh, material(SOFT))
    held = [held_face(mesh, group(mesh, LOW_Z), fixed=("x", "y", "z"), name="base")]
    if not friction:
        held.append(held_face(mesh, group(mesh, off + LOW_X), fixed=("x", "y"), name="guide"))
    glued = equilibrium(mesh, printed, held, seam(mesh, off, kind="bonded"))
    load = force_load(mesh, group(mesh, off + HIGH_Z), force=np.array([150.0 * bool(friction), 0, -1000]))
    both = equilibrium(mesh, printed, held, seam(mesh, off, friction=friction, clearance=clearance))
    return both, load, glued.solve(load[None])[1].iterations


@pytest.mark.parametrize(("friction", "steps", "solves"), [(0.0, 6, 4), (0.25, 9, 6)])
def test_what_touches_and_slips_settles_in_a_few_linear_solves(friction, steps, solves):
    both, load, linear = pressed_aside(friction, clearance=0.03)
    found = solve_joints(both, load)
    assert (found.state.touching.any() and np.linalg.norm(found.state.shear) > 0) or not friction
    assert len(found.iterations) <= steps
    assert max(found.iterations) <= 2 * linear
    assert sum(found.iterations) <= solves * linear
    again = solve_joints(both, 1.05 * load, begin=found.displacement)
    assert len(again.iterations) <= 4
    assert sum(again.iterations) <= 2.5 * linear
    left = (
        1.05 * load
        - both.elastic_forces(again.displacement)
        - both.joined.links.forces(again.state.total(both.joined.law.normal))
    )
    assert np.linalg.norm(both.free(left)) <= 1e-8 * np.linalg.norm(load)


def test_all_forces_balance_with_what_the_joints_bear():
    both, load, _ = pressed_aside(0.25, clearance=0.03)
    ((solved,), _) = solve_cases(
        both,
        [LoadCase("on", {"push": 1.0}, {"push": Load("push", "force", load, False, np.zeros(0, dtype=np.int32))})],
        moves={},
    )
    (case,) = solved.cases
    whole = case.combined(tuple(case.factors), solved.units)
    balance = both.balance(whole, load, solved.record, contact=solved.contact)
    assert max(balance.force_error, balance.moment_error) <= 1e-8
    upper = both.mesh.node_body == 1
    borne = sum(both.joint_forces(whole, solved.contact))
    assert (borne + load)[upper].sum(axis=0) == pytest.approx(0, abs=1e-8 * np.linalg.norm(load, axis=1).sum())
    again = solved_at(both, case, solved, factor=1.05)
    assert again.contact.steps <= 4


def test_a_bolted_pair_is_loaded_by_a_few_linear_solves():
    both, pull = bolted_blocks(60e3)
    linear = both.solve(pull[None])[1].iterations
    tight = tighten(both, [1000.0])
    assert sum(tight.answer.iterations) <= 4 * linear
    first = load_tightened(both, tight, 300 * pull)
    second = load_tightened(both, tight, 330 * pull, before=first.answer)
    for found in (first, second):
        assert len(found.answer.iterations) <= 4
        assert sum(found.answer.iterations) <= 2.5 * linear


def test_a_bolt_found_loose_gets_back_its_pull_alone():
    # Two bolts: the second begins as loose, is found so, and then pulls again
    slack = _Slack(np.array([False, True]))
    assert slack.ties().tolist() == [False] * 6 + [True] * 6
    assert slack.stands(np.array([3.0, -2.0]))
    assert not slack.stands(np.array([3.0, 1.0]))
    assert slack.ties().tolist() == [False] * 6 + [False] + [True] * 5
    assert slack.stands(np.array([3.0, 1.0]))
    # One that was only taken to be loose gets back all
    guessed = _Slack(np.array([True]))
    assert not guessed.stands(np.array([5.0])) and guessed.ties() is None
