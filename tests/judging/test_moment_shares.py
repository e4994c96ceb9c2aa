"""Who carries a moment, by hand."""

from types import SimpleNamespace

import numpy as np
import pytest

from fem.judging.moment_shares import connections_of, moment_shares

NONE = (0.0, 0.0, 0.0)


def test_a_couple_of_two_forces_is_shared_in_halves():
    # 1 kN up at x = 30, 1 kN down at x = -30: 60 N m about -y, half of it each
    found = moment_shares({"bolt": ((0, 0, 1e3), NONE, (30, 0, 0)), "floor": ((0, 0, -1e3), NONE, (-30, 0, 0))})
    assert found.moment == pytest.approx((0, -60e3, 0)) and found.force == pytest.approx(NONE)
    assert found.about == pytest.approx(NONE)
    assert found.shares == pytest.approx({"bolt": 0.5, "floor": 0.5})


def test_walls_and_bolts_share_by_their_moments_along_the_whole_one():
    # Walls turn 85 N m about y and 20 N m about x, the bolts' couple 15 N m about y; x cancels with the floor's
    each = {
        "walls": (NONE, (20e3, 85e3, 0), (0, 0, 10)),
        "bolts": (NONE, (0, 15e3, 0), (0, 0, -10)),
        "floor": (NONE, (-20e3, 0, 0), (0, 0, 0)),
    }
    assert moment_shares(each).shares == pytest.approx({"walls": 0.85, "bolts": 0.15, "floor": 0.0})


def test_shares_add_up_to_one_about_any_place_and_the_whole_follows_the_force():
    rng = np.random.default_rng(8)
    each = {name: tuple(tuple(v) for v in rng.normal(size=(3, 3))) for name in "abc"}
    force = np.sum([f for f, _, _ in each.values()], axis=0)
    for about in (NONE, (4.0, -3.0, 9.0)):
        found = moment_shares(each, about=about)
        assert sum(found.shares.values()) == pytest.approx(1.0, rel=1e-12)
        at_origin = np.array(moment_shares(each, about=NONE).moment)
        assert found.moment == pytest.approx(at_origin - np.cross(about, force), rel=1e-12)


def test_moments_that_cancel_are_shared_by_none():
    found = moment_shares({"a": (NONE, (5.0, 0, 0), NONE), "b": (NONE, (-5.0, 0, 0), NONE)})
    assert found.shares == {}


def test_a_joint_told_on_the_other_body_turns_its_signs():
    joint = {"force_N": (1.0, 2.0, 3.0), "moment_Nmm": (4.0, 5.0, 6.0), "at_mm": (7.0, 8.0, 9.0)}
    case = SimpleNamespace(
        joints={
            "one": SimpleNamespace(**joint, bodies=("cap", "post")),
            "other": SimpleNamespace(**joint, bodies=("post", "cap")),
            "ground": SimpleNamespace(**joint, bodies=("cap",)),
        },
        bolts={},
    )
    (pair, each), *rest = connections_of(case).items()
    assert pair == ("cap", "post") and not rest
    assert each["one"] == ((1, 2, 3), (4, 5, 6), (7, 8, 9))
    assert each["other"] == ((-1, -2, -3), (-4, -5, -6), (7, 8, 9))
