"""Yes or no and by how much: the two forms of each criterion agree; thin walls; the search over a zone's phases."""

from __future__ import annotations

import numpy as np
import pytest

from fem.criteria.reserve import exceeded, largest_utilisation, may_fail, phase_reserve, utilisation, utilisations
from fem.criteria.strength import WALL_BUCKLING, Strength, WallBuckling, safe_sizes
from fem.criteria.zone import MeanStress, ZoneStrength, bead_stress, zone_reserve

PRINTED = Strength(np.array([60.0, 40, 25]), np.array([70.0, 60, 60]), np.array([15.0, 16, 25]))
METAL = Strength(yield_stress=250.0)
WALL = WallBuckling(along=8.0, up=5.0, shear=6.0, mode="wall between two joints, half a wave")
RNG = np.random.default_rng(17)


# ---- the quick look and the exact reserve


@pytest.mark.parametrize(
    ("strength", "size"), [(PRINTED, 20.0), (METAL, 110.0), (WALL, 4.0)], ids=["beads", "metal", "thin wall"]
)
def test_outside_a_criterion_means_a_reserve_below_one(strength, size):
    p, v = (RNG.normal(size=(6000, 6)) * size for _ in range(2))
    outside = exceeded(v, strength)
    exact = phase_reserve(np.zeros_like(v), v, strength)
    assert outside.keys() == exact.criteria.keys()
    inside = exceeded(p / 4, strength)
    with_start = exceeded(p / 4 + v, strength)
    exact_start = phase_reserve(p / 4, v, strength)
    for name, out in outside.items():
        assert 0.1 < out.mean() < 0.95, "the stresses must fall on both sides"
        assert np.array_equal(out, exact.criteria[name] < 1)
        # from a permanent stress that bears, the same
        begins = ~inside[name]
        assert begins.mean() > 0.5
        assert np.array_equal(with_start[name][begins], exact_start.criteria[name][begins] < 1)
        assert (exact_start.criteria[name][~begins] == 0).all()
    if strength is PRINTED:
        assert set(outside) == {"maximum_stress", "tsai_wu", "interlayer", "hill"}


def test_the_border_itself_is_outside():
    for name, edge in {"maximum_stress": [0, 0, 25.0, 0, 0, 0], "interlayer": [0, 0, 0, 9.0, 12.8, 0]}.items():
        stress = np.array([edge])  # (9 / 15)^2 + (12.8 / 16)^2 = 1
        assert exceeded(stress * (1 + 1e-9), PRINTED)[name].all()
        assert not exceeded(stress * (1 - 1e-9), PRINTED)[name].any()


def test_what_hill_cannot_judge_is_not_looked_at():
    low = Strength(np.array([60.0, 10, 60]), np.array([60.0, 10, 10.1]), np.array([15.0, 16, 25]))
    weak = Strength(np.array([60.0, 60, 4]), np.array([60.0, 60, 4]), np.array([15.0, 16, 25]))
    for strength in (low, weak):
        found = phase_reserve(np.zeros((1, 6)), np.ones((1, 6)), strength).criteria["hill"]
        assert ("hill" in exceeded(np.ones((1, 6)), strength)) == (found is not None)


# ---- thin walls


def one(**components):
    order = {"along": 0, "across": 1, "up": 2, "s23": 3, "s13": 4, "s12": 5}
    out = np.zeros((1, 6))
    for name, value in components.items():
        out[0, order[name]] = value
    return out


@pytest.mark.parametrize(
    ("p", "v", "expected"),
    [
        # c1 / 8 + c3 / 5 + (s13 / 6)^2 = 1
        (one(), one(along=-2.0), 4.0),
        (one(), one(up=-2.0), 2.5),
        (one(), one(s13=-2.0), 3.0),
        (one(), one(along=-4.0, up=-2.5), 1.0),
        (one(), one(along=-8.0, s13=6.0), (np.sqrt(5) - 1) / 2),  # x + x^2 = 1
        (one(), one(along=-8.0, up=30.0), 1.0),  # tension up the build helps nothing
        (one(along=-2.0), one(along=-2.0), 3.0),
        (one(along=-4.0), one(up=-5.0), 0.5),
        (one(along=4.0), one(along=-4.0), 3.0),  # a permanent tension must first be undone: (8 + 4) / 4
        (one(s13=3.0), one(along=-8.0), 0.75),
        (one(s13=3.0), one(s13=-3.0), 3.0),  # a shear that turns round
        (one(along=-4.0), one(along=4.0, up=-1.0), 5.0),  # closes at 1, then the other grows alone
        (one(along=-9.0), one(along=1.0), 0.0),
        (one(), one(along=2.0, up=3.0), np.inf),
        (one(), one(across=-50.0, s23=40.0, s12=40.0), np.inf),
    ],
)
def test_buckling_by_hand(p, v, expected):
    assert phase_reserve(p, v, WALL).reserve == pytest.approx(expected, rel=1e-12)
    found = phase_reserve(p, v, WALL)
    assert found.reserve == pytest.approx(expected, rel=1e-12)
    assert (found.modes, tuple(found.criteria)) == ((WALL.mode,), (WALL_BUCKLING,))


def buckling_index(stress):
    return (
        np.maximum(-stress[:, 0], 0) / WALL.along
        + np.maximum(-stress[:, 2], 0) / WALL.up
        + (stress[:, 4] / WALL.shear) ** 2
    )


def test_buckling_is_met_at_the_reserve_and_not_before():
    p, v = RNG.normal(size=(4000, 6)) * 2.5, RNG.normal(size=(4000, 6)) * 4
    lam = phase_reserve(p, v, WALL).reserve
    failed = buckling_index(p) >= 1
    assert 0.1 < failed.mean() < 0.9
    assert np.array_equal(lam == 0, failed)
    met = np.isfinite(lam) & ~failed
    assert buckling_index(p[met] + lam[met, None] * v[met]) == pytest.approx(1, abs=1e-9)
    for share in (0.3, 0.7, 0.999):
        assert (buckling_index(p[met] + share * lam[met, None] * v[met]) < 1).all()
    turned = v[met] * [-1, 1, 1, 1, 1, 1]
    assert not np.allclose(phase_reserve(p[met], turned, WALL).reserve, lam[met], rtol=0.01), "the sign counts"


# ---- many phases at once


def phases(count, *, kinds=(PRINTED, METAL, WALL), seed=3):
    """Phases of all kinds with random turns and warmings."""
    chance = np.random.default_rng(seed)
    to_bead = chance.normal(size=(count, 6, 6)) * 0.4 + np.eye(6)
    strengths = [kinds[k % len(kinds)] for k in range(count)]
    to_bead[[isinstance(s, WallBuckling) for s in strengths]] *= 0.2
    return ZoneStrength(to_bead, chance.normal(size=(count, 6)) * 0.5, strengths)


def one_by_one(zone, permanent, growing):
    """Reserve (k, j) and mode (k, j) of every phase at every node, and each criterion's minimum, without any short
    cut."""
    reserve, mode, minima = [], [], {}
    for to_bead, thermal, strength in zip(zone.to_bead, zone.thermal, zone.strengths, strict=True):
        p, v = (s.stress @ to_bead.T + np.outer(s.warming, thermal) for s in (permanent, growing))
        found = phase_reserve(p, v, strength)
        reserve.append(found.reserve)
        mode.append(found.mode)
        for name, values in found.criteria.items():
            if values is not None:
                minima[name] = min(minima.get(name, np.inf), values.min())
    return np.array(reserve), np.array(mode), minima


@pytest.mark.parametrize("warm", [0.0, 3.0], ids=["cold", "warmed"])
@pytest.mark.parametrize("stays", [0.0, 2.0, 9.0], ids=["nothing permanent", "permanent", "some failed already"])
def test_the_search_finds_what_every_phase_looked_at_alone_finds(stays, warm):
    zone, n = phases(40), 1500
    chance = np.random.default_rng(8)
    size = chance.lognormal(0.0, 1.2, size=(n, 1))
    permanent = MeanStress(chance.normal(size=(n, 6)) * stays, chance.normal(size=n) * warm)
    growing = MeanStress(chance.normal(size=(n, 6)) * size * 4, chance.normal(size=n) * warm)
    growing.stress[::7], growing.warming[::7] = 0.0, 0.0
    found = zone_reserve(zone, permanent=permanent, growing=growing)
    reserve, mode, minima = one_by_one(zone, permanent, growing)
    assert np.allclose(found.reserve, reserve.min(axis=0), rtol=1e-10, atol=0)
    assert np.array_equal(found.phase, reserve.argmin(axis=0))
    assert np.array_equal(found.mode, mode[found.phase, np.arange(n)])
    assert len(np.unique(found.phase)) > 10 and np.isfinite(found.reserve).any()
    if stays > 2:
        assert (found.reserve == 0).any()
    elif stays == 0 and not warm:
        assert np.isinf(found.reserve).any() and found.reserve.min() > 0
    assert found.minima == pytest.approx(minima, rel=1e-10)
    shown = bead_stress(zone, growing, found.phase)
    for node in (0, 1, 700, n - 1):
        k = found.phase[node]
        own = zone.to_bead[k] @ growing.stress[node] + zone.thermal[k] * growing.warming[node]
        assert shown[node] == pytest.approx(own, abs=1e-12)


def test_another_order_of_phases_changes_names_alone():
    zone, n = phases(30), 400
    turned = ZoneStrength(zone.to_bead[::-1].copy(), zone.thermal[::-1].copy(), list(zone.strengths)[::-1])
    still, growing = (MeanStress(RNG.normal(size=(n, 6)) * f, np.zeros(n)) for f in (1.0, 5.0))
    one, other = (zone_reserve(z, permanent=still, growing=growing) for z in (zone, turned))
    assert one.reserve == pytest.approx(other.reserve, rel=1e-12)
    assert np.array_equal(one.phase, 29 - other.phase)
    fewer = ZoneStrength(zone.to_bead[:20], zone.thermal[:20], zone.strengths[:20])
    lost = zone_reserve(fewer, permanent=still, growing=growing)
    assert (lost.reserve > one.reserve * 1.01).any(), "a phase left out would be missed"


def test_a_stress_that_is_no_number_has_no_reserve():
    still, growing = (MeanStress(np.ones((5, 6)), np.zeros(5)) for _ in range(2))
    growing.stress[2, 4] = np.nan
    found = zone_reserve(phases(6), permanent=still, growing=growing)
    assert np.array_equal(np.isnan(found.reserve), [False, False, True, False, False])
    assert np.isnan(phase_reserve(still.stress, growing.stress, PRINTED).reserve).tolist() == [0, 0, 1, 0, 0]


def test_no_criterion_is_met_below_the_safe_size():
    zone = phases(60)
    way = RNG.normal(size=(4000, 6))
    way /= np.linalg.norm(way, axis=1)[:, None]
    for size, to_bead, strength in zip(
        safe_sizes(zone.to_bead, zone.strengths), zone.to_bead, zone.strengths, strict=True
    ):
        bead = (way * size) @ to_bead.T
        assert not any(v.any() for v in exceeded(bead * (1 - 1e-9), strength).values())
        # The bound is of use: some direction fails before three times that size
        assert phase_reserve(np.zeros_like(bead), bead, strength).reserve.min() < 3


@pytest.mark.parametrize("strength", [PRINTED, METAL, WALL], ids=["beads", "metal", "thin wall"])
def test_the_share_used_up_grows_with_the_stress(strength):
    places = RNG.normal(size=(30, 6, 7))
    states = RNG.normal(size=(50, 6)) * 3
    each = utilisations(places, states, strength)
    bead = np.einsum("kab,mb->kma", places[:, :, :6], states)
    assert each == pytest.approx(utilisation(bead, strength), rel=1e-12)
    assert utilisation(bead * 1.7, strength) == pytest.approx(1.7 * each, rel=1e-9)
    assert utilisation(-bead, strength) != pytest.approx(each, rel=1e-2) or strength is METAL
    most, where = largest_utilisation(places, states, strength)
    assert most == pytest.approx(each.max(axis=0), rel=1e-12)
    assert np.array_equal(where, each.argmax(axis=0))
    # At the reserve the share is one
    at = bead / each[:, :, None]
    assert utilisation(at, strength)[each > 0] == pytest.approx(1, rel=1e-9)


def test_which_may_fail_before_a_factor():
    p, v = RNG.normal(size=(4000, 6)) * 6, RNG.normal(size=(4000, 6)) * 12
    for strength in (PRINTED, METAL, WALL):
        reserve = phase_reserve(p, v, strength).reserve
        before = np.full(len(p), np.median(reserve[np.isfinite(reserve)]) + 0.1)
        told = may_fail(p, v, strength, before=before)
        assert np.array_equal(told, reserve < before)
        assert told.any() and (strength is WALL or not told.all())
