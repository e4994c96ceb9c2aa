"""Stiffness of bolts and members, the load that they share, and what keeps washers from spreading it."""

import math

import numpy as np
import pytest

from fem.errors import InputError
from fem.joining.bolt_plan import BoltPlan, pressing_seat
from fem.joining.bolt_sizes import bolt_size
from fem.joining.bolt_stiffness import bolt_resilience, grip_stiffness
from fem.joining.clamped_joint import ClampedJoint, Grip, Member, frustum_stiffness
from fem.joining.washer_spread import effective_overhang, spread_seat

M8 = bolt_size("M8").thread


# ---- bolts


def test_the_parts_of_a_bolt():
    """M8 in a grip of 30 mm, 10 mm of them shank, by hand; ISO 4014 head and a nut."""
    found = bolt_resilience(M8, modulus=205e3, length=30, shank=10, head_shape="hexagon")
    whole, core = math.pi / 4 * 64, math.pi / 4 * 6.4664**2
    by_hand = [0.5 * 8 / whole, 10 / whole, 20 / core, 0.5 * 8 / core, 0.4 * 8 / whole]
    parts = [found.head, found.shank, found.free_thread, found.engaged_thread, found.anchor]
    assert parts == pytest.approx([x / 205e3 for x in by_hand], rel=1e-4)
    assert found.total == pytest.approx(sum(parts)) and found.stiffness == pytest.approx(1 / sum(parts))


def test_what_makes_a_bolt_softer():
    socket = bolt_resilience(M8, modulus=205e3, length=30)
    assert bolt_resilience(M8, modulus=205e3, length=30, head_shape="hexagon").total > socket.total
    assert bolt_resilience(M8, modulus=195e3, length=30).total == pytest.approx(socket.total * 205 / 195)
    assert bolt_resilience(M8, modulus=205e3, length=30, shank=30).total < socket.total
    tapped = bolt_resilience(M8, modulus=205e3, length=30, anchor="tapped", anchor_modulus=70e3)
    assert tapped.anchor == pytest.approx(0.33 * 8 / (70e3 * M8.shank_area))
    # The grip alone, with the larger stress area, is stiffer: head, nut and engaged thread give as well
    bare = grip_stiffness(modulus=205e3, shank=0, shank_area=1, threaded=30, thread_area=M8.stress_area)
    assert 1.2 < bare / socket.stiffness < 1.6


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"shank": 31.0}, "shank of 31 mm in a grip of 30 mm"),
        ({"length": 0.0}, "grip of 0 mm"),
        ({"head_shape": "round"}, "no head 'round'"),
        ({"anchor": "glue"}, "no anchor 'glue'"),
        ({"anchor": "tapped"}, "needs the modulus of the part"),
    ],
)
def test_bolts_that_cannot_be_are_refused(changes, told):
    with pytest.raises(InputError, match=told):
        bolt_resilience(M8, **{"modulus": 205e3, "length": 30.0, **changes})


# ---- members


def test_layers_cut_differently_give_the_same():
    whole = Grip((Member(20, 2e3),), 16, 12, 9)
    cut = Grip((Member(3, 2e3), Member(9, 2e3), Member(8, 2e3)), 16, 12, 9)
    assert cut.stiffness == pytest.approx(whole.stiffness) and cut.length == whole.length
    turned = Grip(whole.members, 12, 16, 9)
    assert turned.stiffness == pytest.approx(whole.stiffness)


def test_a_narrow_member_is_a_tube():
    tube = Grip((Member(20, 2e3),), 16, 16, 9, outer=16)
    assert tube.stiffness == pytest.approx(2e3 * math.pi / 4 * (16**2 - 9**2) / 20)
    wide = Grip((Member(20, 2e3),), 16, 16, 9)
    between = Grip((Member(20, 2e3),), 16, 16, 9, outer=20)
    assert tube.stiffness < between.stiffness < wide.stiffness
    # By slices: a cone up to 20 mm, then a tube
    z = (np.arange(20000) + 0.5) / 20000 * 10
    width = np.minimum(16 + 2 * z * math.tan(math.radians(30)), 20)
    sliced = 2 * (10 / 20000 / (2e3 * math.pi / 4 * (width**2 - 81))).sum()
    assert between.stiffness == pytest.approx(1 / sliced, rel=1e-6)
    assert Grip((Member(20, 2e3),), 16, 16, 9, outer=1e3).stiffness == pytest.approx(wide.stiffness)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (((), 16, 16, 9), "at least one member"),
        (((Member(1, 1),), 9, 16, 9), "no wider than the hole"),
        (((Member(1, 1),), 16, 16, 9, 15), "wider than the member of 15 mm"),
    ],
)
def test_stacks_that_cannot_be_are_refused(given, told):
    with pytest.raises(InputError, match=told):
        Grip(*given)


def test_a_layer_needs_thickness_and_modulus():
    for wrong in ((0, 1), (1, 0), (math.nan, 1), (1, math.inf)):
        with pytest.raises(InputError, match="a thickness and a modulus"):
            Member(*wrong)


# ---- the load that they share


def test_bolt_and_members_by_two_springs():
    """A second way: two springs of given lengths, pressed or not, balanced by bisection."""
    joint = ClampedJoint(bolt=40e3, members=60e3, preload=5e3)
    for load in (0.0, 3e3, 8e3, 8.34e3, 12e3):
        low, high = -1.0, 1.0  # how much longer the bolt gets [mm]
        for _ in range(80):
            more = (low + high) / 2
            pull, push = 5e3 + 40e3 * more, max(5e3 - 60e3 * more, 0.0)
            low, high = (more, high) if pull < load + push else (low, more)
        assert joint.bolt_force(load) == pytest.approx(pull, rel=1e-9)
        assert joint.clamp(load) == pytest.approx(push, abs=1e-6)
        assert joint.is_open(load) == (push == 0)


def test_the_slope_changes_where_it_opens():
    joint = ClampedJoint(5.21, 8.95, 14.4)
    below, above = joint.opens_at * 0.999, joint.opens_at * 1.001
    assert (joint.bolt_force(below) - joint.bolt_force(0)) / below == pytest.approx(joint.share)
    assert joint.bolt_force(above) == above
    # A joint that never opened would tell the bolt too little
    assert joint.bolt_force(40.0) > joint.preload + joint.share * 40.0


def test_load_factors_across_the_opening():
    joint = ClampedJoint(bolt=90e3, members=10e3, preload=5e3)
    factors = joint.load_factors(1e3, bears=20e3)
    assert joint.bolt_force(1e3 * factors.load) == pytest.approx(20e3)
    stiff = ClampedJoint(bolt=10e3, members=90e3, preload=5e3)
    factors = stiff.load_factors(1e3, bears=20e3)
    assert 1e3 * factors.load == pytest.approx(20e3) and factors.load > factors.separation
    assert stiff.bolt_force(1e3 * factors.load) == pytest.approx(20e3)


def test_a_joint_without_preload_is_refused():
    with pytest.raises(InputError, match="stiffnesses and a preload above zero"):
        ClampedJoint(1.0, 1.0, 0.0)


# ---- washers that bend


def test_the_overhang_by_finite_differences():
    """A second way: D w'''' + k w = 0 on 4000 points, level at the head's rim, free at the end."""
    from scipy.integrate import solve_bvp

    plate = 205e3 * 2.0**3 / (12 * (1 - 0.3**2))
    for overhang, k in ((5.0, 60.0), (5.0, 3000.0), (11.0, 300.0)):
        found = solve_bvp(
            lambda x, y, k=k: np.array([y[1], y[2], y[3], -k / plate * y[0]]),
            lambda a, b: np.array([a[0] - 1, a[1], b[2], b[3]]),
            np.linspace(0, overhang, 400),
            np.ones((4, 400)),
            tol=1e-9,
            max_nodes=50000,
        )
        assert found.success
        width = np.trapezoid(found.sol(np.linspace(0, overhang, 20001))[0], dx=overhang / 20000)
        assert effective_overhang(overhang, thickness=2.0, foundation=k) == pytest.approx(width, rel=1e-5)


def test_the_overhang_between_stiff_and_soft():
    assert effective_overhang(5, thickness=50, foundation=60) == pytest.approx(5, rel=1e-4)
    assert effective_overhang(0, thickness=2, foundation=60) == 0
    endless = (60 / (4 * 205e3 * 8 / (12 * 0.91))) ** -0.25
    assert effective_overhang(1e4, thickness=2, foundation=60) == pytest.approx(endless)
    assert effective_overhang(5, thickness=1, foundation=60) < effective_overhang(5, thickness=2, foundation=60)
    with pytest.raises(InputError, match="a thickness and a foundation above zero"):
        effective_overhang(5, thickness=0, foundation=60)


def test_a_plain_washer_presses_whole_on_a_polymer_and_not_on_steel():
    def part(plan, modulus):
        whole = pressing_seat(plan)
        stiffness = Grip((Member(20, modulus),), whole.outer, whole.outer, whole.inner).stiffness
        return spread_seat(plan, stiffness=stiffness).area / whole.area

    plain = BoltPlan("a", "M8", "8.8", torque=16e3)
    large = BoltPlan("a", "M8", "8.8", torque=16e3, washer="large")
    bare = BoltPlan("a", "M8", "8.8", torque=16e3, washer="none")
    assert part(plain, 2.5e3) > 0.98 and part(bare, 2.5e3) == 1
    assert part(large, 205e3) < part(large, 2.5e3) < 1
    assert part(large, 205e3) < 0.75


def test_a_frustum_is_a_tube_when_thin():
    thin = frustum_stiffness(18, 12, 1e-4, 1.0)
    assert thin * 1e-4 == pytest.approx(math.pi / 4 * (18**2 - 12**2), rel=1e-4)
