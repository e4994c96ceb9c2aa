"""The best build direction of a pulled bar and of a cantilever are the ones that theory gives."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from helpers_cad import draw
from scanned_bars import BENT, FORCE, HEIGHT, LENGTH, LONG, PULLED, TIP, WIDTH, write

from fem.judging.orientation import angle_between, spacing
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid
from fem.printing.overhang import overhang_area
from fem.printing.polymer import load_card
from fem.study.file import read_study
from fem.study.orientation import story
from fem.study.orientation.prepared_scan import numbers_of_direction, prepare_scan
from fem.study.orientation.story import _spread, orient_study
from fem.study.shared_mesh import mesh_bodies, read_bodies

X = (1.0, 0.0, 0.0)


def first_state():
    return next(iter(load_card("pa12-cf").states.values()))


def expected(direction):
    """Reserve of a pull along x laid in beads along x's shadow in the layer, by hand from the card's strengths.

    With t the angle between the pull and the build direction: s11 = p sin^2 t, s33 = p cos^2 t, s13 = p sin t cos t.
    """
    pull = FORCE / (WIDTH * HEIGHT)
    cosine = abs(direction[0])
    sine = math.sqrt(max(1 - cosine**2, 0.0))
    s11, s33, s13 = pull * sine**2, pull * cosine**2, pull * sine * cosine
    strength = first_state().strength
    (xt, _, zt), (xc, _, zc), s = strength.tension, strength.compression, strength.shear[1]
    single = min(b / a if a > 0 else math.inf for a, b in ((s11, xt), (s33, zt), (s13, s)))
    interlayer = 1 / math.hypot(s33 / zt, s13 / s) if s33 > 0 else math.inf
    # Tsai and Wu (1971): F_i = 1/t - 1/c, F_ii = 1/(t c), F_13 = -sqrt(F11 F33)/2
    f11, f33 = 1 / (xt * xc), 1 / (zt * zc)
    a = f11 * s11**2 + f33 * s33**2 - math.sqrt(f11 * f33) * s11 * s33 + s13**2 / s**2
    b = (1 / xt - 1 / xc) * s11 + (1 / zt - 1 / zc) * s33
    return min(single, interlayer, (-b + math.sqrt(b * b + 4 * a)) / (2 * a))


@pytest.fixture(scope="module")
def pulled(tmp_path_factory, no_page):
    folder = tmp_path_factory.mktemp("pulled")
    return orient_study(write(folder, PULLED), directions=12, jobs=1, out=folder / "out")[0]


def test_every_direction_has_the_reserve_of_the_closed_form(pulled):
    assert len(pulled.answered) == 12 + 3 + 18
    for d in pulled.answered:
        assert d.reserve == pytest.approx(expected(d.direction), rel=2e-3)
        assert d.interlayer_MPa == pytest.approx(FORCE / (WIDTH * HEIGHT) * d.direction[0] ** 2, abs=0.02)


def test_the_best_lays_its_layers_along_the_pull(pulled):
    best = pulled.picks[0]
    assert best.why[0] == "highest reserve factor"
    assert angle_between(best.scanned.direction, X) == pytest.approx(90.0, abs=0.01)
    strength = first_state().strength
    assert best.scanned.reserve == pytest.approx(strength.tension[0] * WIDTH * HEIGHT / FORCE, rel=2e-3)
    worst = min(pulled.answered, key=lambda d: d.reserve)
    assert expected(worst.direction) == pytest.approx(min(expected(d.direction) for d in pulled.answered), rel=1e-9)
    along = next(d for d in pulled.answered if angle_between(d.direction, X) < 1e-6)
    assert along.reserve == pytest.approx(strength.tension[2] * WIDTH * HEIGHT / FORCE, rel=2e-3)
    assert along.reserve < 0.7 * best.scanned.reserve


def test_refined_directions_lie_around_the_best(pulled):
    finer = [d for d in pulled.directions if d.kind == "refined"]
    assert len(finer) == 18
    assert min(angle_between(d.direction, pulled.picks[0].scanned.direction) for d in finer) == pytest.approx(
        math.degrees(spacing(12) / 4)
    )


def test_a_small_mesh_is_scanned_as_it_is(pulled):
    assert not pulled.coarser and pulled.unknowns == pulled.own_unknowns
    assert all(p.own is None for p in pulled.picks)


def test_a_large_mesh_is_scanned_coarser_and_its_best_on_its_own(monkeypatch, tmp_path, no_page):
    monkeypatch.setattr(story, "SCAN_UNKNOWNS", 600)
    path = write(tmp_path, PULLED.replace("9 mm", "4 mm"))
    scan, _ = orient_study(path, directions=6, jobs=1, out=tmp_path / "out")
    assert scan.coarser and scan.size_mm > 4 and scan.unknowns < 0.5 * scan.own_unknowns
    assert scan.picks[0].why[0] == "highest reserve factor" and scan.picks[-1].scanned.kind == "study"
    for pick in scan.picks:
        assert pick.own is not None and pick.own is not pick.scanned
        assert pick.own.direction == pytest.approx(pick.scanned.direction)
        assert pick.numbers.reserve == pytest.approx(expected(pick.own.direction), rel=2e-3)


@pytest.fixture(scope="module")
def prepared(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bent")
    study = read_study(write(folder, BENT, length=LONG))
    body = study.bodies["bar"]
    return prepare_scan(study, mesh_solid(read_solid(body.solid, name="bar"), size=6.0, finest=1.5), body="bar")


def tip_of(young, shear):
    """Timoshenko's deflection of a cantilever of rectangular section, shear factor 5/6."""
    inertia = WIDTH * HEIGHT**3 / 12
    return TIP * LONG**3 / (3 * young * inertia) + TIP * LONG / (5 / 6 * shear * WIDTH * HEIGHT)


def test_a_cantilever_is_stiffest_with_its_layers_along_it(prepared):
    state = first_state()
    e, (g23, g13, g12) = state.E, [state.G[k] for k in ("23", "13", "12")] if isinstance(state.G, dict) else state.G
    up, side, along = (numbers_of_direction(prepared, d) for d in ((0, 0, 1), (0, 1, 0), (1, 0, 0)))
    assert up.deflection_mm == pytest.approx(tip_of(e[0], g13), rel=0.02)
    assert side.deflection_mm == pytest.approx(tip_of(e[0], g12), rel=0.02)
    assert along.deflection_mm == pytest.approx(tip_of(e[2], g23), rel=0.02)
    assert along.reserve < 0.8 * min(up.reserve, side.reserve)
    stress = 6 * TIP * LONG / (WIDTH * HEIGHT**2)
    assert along.interlayer_MPa == pytest.approx(stress, rel=0.35) and up.interlayer_MPa < 0.5 * stress
    assert up.rotation_deg["right"] == pytest.approx(
        math.degrees(TIP * LONG**2 / (2 * e[0] * WIDTH * HEIGHT**3 / 12)), rel=0.02
    )
    assert along.height_mm == pytest.approx(LONG) and up.overhang_mm2 == 0


def with_raster(prepared, *angles, walls=0):
    keys = replace(prepared.keys, raster=angles, walls=walls)
    body = replace(prepared.plan, print=keys)
    return replace(prepared, study=replace(prepared.study, bodies={"bar": body}))


def test_a_direction_and_its_opposite_bear_the_same(prepared):
    way = np.array([0.3, 0.5, 0.8])
    plain = with_raster(prepared, 30.0, -30.0)
    first, second = numbers_of_direction(plain, tuple(way)), numbers_of_direction(plain, tuple(-way))
    assert second.reserve == pytest.approx(first.reserve, rel=1e-6)
    assert second.deflection_mm == pytest.approx(first.deflection_mm, rel=1e-7)
    assert (second.overhang_mm2, second.overhang_opposite_mm2) == pytest.approx(
        (first.overhang_opposite_mm2, first.overhang_mm2)
    )
    # Walls are found from samples, which fall elsewhere upside down
    first, second = (
        numbers_of_direction(with_raster(prepared, 30.0, -30.0, walls=2), tuple(s * way)) for s in (1, -1)
    )
    assert second.reserve == pytest.approx(first.reserve, rel=0.01)
    assert second.deflection_mm == pytest.approx(first.deflection_mm, rel=0.01)
    # One raster alone is another print upside down, unless its angle is negated
    lone = numbers_of_direction(with_raster(prepared, 30.0), tuple(way))
    turned = numbers_of_direction(with_raster(prepared, 30.0), tuple(-way))
    negated = numbers_of_direction(with_raster(prepared, -30.0), tuple(-way))
    assert abs(turned.deflection_mm / lone.deflection_mm - 1) > 1e-3
    assert negated.deflection_mm == pytest.approx(lone.deflection_mm, rel=1e-7)
    assert LENGTH < LONG


def test_a_part_that_stands_skew_is_tried_on_its_own_flats(tmp_path):
    def skew(occ):
        occ.addBox(0, 0, 0, 40, 20, 10)
        occ.rotate([(3, 1)], 0, 0, 0, 1, 0.4, -0.3, 0.5)

    draw(tmp_path / "skew.step", skew)
    (tmp_path / "skew.toml").write_text(
        'title = "Skew"\n[bodies.block]\nsolid = "skew.step"\nmesh = { size = "10 mm" }\n'
        '[bodies.block.print]\npolymer = "pa12-cf"\nbuild_direction = [0, 0, 1]\n'
        "[faces]\nlow = { id = 1 }\nhigh = { id = 2 }\n"
        '[supports.hold]\nface = "low"\nfixed = ["x", "y", "z"]\n'
        '[loads.pull]\nface = "high"\nforce = ["0 N", "100 N", "0 N"]\n'
    )
    study = read_study(tmp_path / "skew.toml")
    solids = read_bodies(study)
    prepared = prepare_scan(study, mesh_bodies(study, solids, {"block": (10.0, 5.0)}), body="block")
    flats = np.array([d for kind, d in _spread(prepared, 12, axis=2) if kind == "flat"])
    # A box has three directions, each once whichever way it stands
    assert len(flats) == 3
    assert np.abs(flats @ flats.T) == pytest.approx(np.eye(3), abs=1e-6)
    areas = sorted(overhang_area(prepared.skin, direction=d, bed=0.2) for d in flats)
    assert areas == pytest.approx([0, 0, 0], abs=1e-6)
