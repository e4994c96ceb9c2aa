"""Springs, foundations that only push, reactions and the failing load, through the front door."""

import re

import numpy as np
import pytest
from helpers_cad import draw

from fem.errors import FreeBodyError
from fem.printing.polymer import load_card
from fem.study.file import read_study
from fem.study.orientation.prepared_scan import numbers_of_direction, prepare_scan
from fem.study.run import answer, prepare
from fem.telling.reactions import failing_load, reaction_rows

L, A = 40.0, 100.0
BAR = """
title = "Bar"
question = "How does it stand?"
[bodies.bar]
solid = "bar.step"
mesh = { size = "5 mm" }
metal = "6082-t6"
[faces]
left = { plane = { normal = [-1, 0, 0], at = "min" } }
right = { plane = { normal = [1, 0, 0], at = "max" } }
front = { plane = { normal = [0, -1, 0], at = "min" } }
bottom = { plane = { normal = [0, 0, -1], at = "min" } }
[supports.guide]
face = "front"
fixed = ["y"]
[supports.floor]
face = "bottom"
fixed = ["z"]
[supports.stop]
face = "left"
"""
PUSH = '[loads.push]\nface = "right"\nforce = ["-1 kN", "0 N", "0 N"]\n'
PULL = '[loads.pull]\nface = "right"\nforce = ["1 kN", "0 N", "0 N"]\n'
ONLY_PUSHES = 'foundation = { normal = "20 N/mm^3", push_only = true }\n'


@pytest.fixture(scope="module")
def bar(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bar")
    draw(folder / "bar.step", lambda occ: occ.addBox(0, 0, 0, L, 10, 10))
    return folder


def ready(folder, text):
    path = folder / "bar.toml"
    path.write_text(BAR + text)
    return prepare(read_study(path))


def solved(folder, text):
    return answer(ready(folder, text)).findings


def card():
    state = next(iter(load_card("6082-t6").states.values()))
    return float(state.E[0]), float(state.strength.yield_stress)


def test_a_spring_and_a_bar_in_a_row(bar):
    young, yield_stress = card()
    found = solved(bar, 'spring = { x = "4 kN/mm" }\n' + PULL + "[watch]\nfaces = ['right']\n").cases["all"]
    assert found.faces["right"].displacement_mm[0] == pytest.approx(1000 / 4000 + 1000 * L / (young * A), rel=1e-6)
    assert found.failing_load_N == pytest.approx(yield_stress * A, rel=1e-4)
    assert failing_load(found) == "25.0 kN"
    told = {r.support: r for r in found.reactions}
    assert set(told) == {"stop", "guide", "floor"}
    assert told["stop"].force_N[0] == pytest.approx(-1000, rel=1e-8)
    assert np.sum([r.force_N for r in found.reactions], axis=0) == pytest.approx([-1000, 0, 0], abs=1e-6)
    about = np.sum([r.origin_moment_Nmm for r in found.reactions], axis=0)
    assert about == pytest.approx(-np.array(found.applied_Nmm), abs=1e-4)
    assert found.foundations == {}
    row = next(row for row in reaction_rows(found) if row[0] == "stop")
    assert float(row[1]) == -1000 and row[2:4] == ("0", "0")


def test_a_foundation_that_pulls_is_told(bar):
    text = 'foundation = { normal = "20 N/mm^3" }\n'
    found = solved(bar, text + PULL)
    assert any(
        re.search(r"all: foundation stop pulls on the part, with (1000|1000.0|999.9+) N over 100 %", c.text)
        for c in found.cautions
    )
    pressed = solved(bar, text + PUSH)
    assert not any("pulls on" in c.text for c in pressed.cautions)
    assert pressed.cases["all"].foundations["stop"].push_N == pytest.approx(1000, rel=1e-6)
    # The stop's springs alone give by force over stiffness and area
    assert pressed.cases["all"].maximum_displacement_mm > 1000 / 20 / A


def test_a_bar_on_a_stop_that_only_pushes(bar):
    found = solved(bar, ONLY_PUSHES + PUSH).cases["all"]
    assert found.foundations["stop"].lifted_area_fraction == 0
    assert found.reserve.minimum == pytest.approx(card()[1] / 10, rel=1e-3)
    with pytest.raises(FreeBodyError, match=r"cases.all: the part lifts off foundation stop.*free to slide along x"):
        solved(bar, ONLY_PUSHES + PULL)


def test_a_preloaded_part_fails_where_it_lifts_off_and_not_where_its_material_does(bar):
    # Pressed on with 13 kN, pulled off with 5 kN: at 2.6 times the pull nothing presses any longer, while the metal
    # alone would bear (130 MPa + yield) / 50 MPa times
    preload = PUSH.replace("loads.push", "loads.press").replace("-1 kN", "-13 kN") + "permanent = true\n"
    text = ONLY_PUSHES + preload + PULL.replace("1 kN", "5 kN")
    found = solved(bar, text)
    case = found.cases["all"]
    assert case.reserve.minimum == pytest.approx(2.6, rel=0.01) and case.reserve.minimum <= 2.6
    assert case.reserve.mode.startswith("comes free of what holds it")
    assert case.failing_load_N == pytest.approx(13000, rel=0.01)
    assert case.reactions[0].force_N[0] == pytest.approx(8000, rel=1e-6)
    assert any("lifted off its foundation and is free to move" in c.text for c in found.cautions)
    glued = solved(bar, text.replace(", push_only = true", "")).cases["all"]
    assert glued.reserve.minimum == pytest.approx((card()[1] + 130) / 50, rel=1e-3)


def test_each_case_has_its_own_contact_and_directions_see_it_too(bar):
    # Pressed beside its middle the bar tips: the stop lets go on one side, on the other in the second case
    tip = "".join(
        f"[loads.{name}]\nface = 'right'\n"
        f"wrench = {{ force = ['-1 kN', '0 N', '0 N'], at = ['40 mm', '{y} mm', '5 mm'] }}\n"
        for name, y in (("near", 1), ("far", 9))
    )
    text = (
        ONLY_PUSHES + tip + "[cases]\nnear = { near = 1.0 }\nfar = { far = 1.0 }\nboth = { near = 1.0, far = 1.0 }\n"
    )
    text = text.replace("[supports.guide]", "")
    made = ready(bar, text)
    found = answer(made).findings.cases
    assert all(found[name].foundations["stop"].lifted_area_fraction < 0.9 for name in ("near", "far"))
    assert found["both"].foundations["stop"].lifted_area_fraction < 1e-6
    assert all(max(c.force_error, c.moment_error) < 1e-7 for c in found.values())
    prepared = prepare_scan(made.study, made.mesh, body="bar")
    from fem.loading.case import LoadCase

    cases = [LoadCase(n, f, made.loads) for n, f in made.study.cases.items()]
    groups = [part for units in prepared.solved(made.printed, cases) for part in units.parts]
    assert [g.cases[0].name for g in groups] == ["near", "far", "both"]
    for group in groups:
        (case,) = group.cases
        moved = np.linalg.norm(case.combined(tuple(case.factors), group.units), axis=1).max()
        assert moved == pytest.approx(found[case.name].maximum_displacement_mm, rel=1e-5)


def test_the_scan_of_directions_judges_push_only_supports_as_a_run_does(bar):
    """Pressed on by a permanent load and pulled off by a growing one: the contact changes before it fails."""
    pull = (
        "[loads.press]\nface = 'right'\nforce = ['-13 kN', '0 N', '0 N']\npermanent = true\n"
        "[loads.pull]\nface = 'right'\nforce = ['5 kN', '0 N', '0 N']\n"
    )
    printed = BAR.replace('metal = "6082-t6"', 'print = { polymer = "pa12-cf", walls = 0 }')
    path = bar / "scanned.toml"
    path.write_text(printed + ONLY_PUSHES + pull + "[cases]\nall = { press = 1.0, pull = 1.0 }\n")
    made = prepare(read_study(path))
    run = answer(made).findings.cases["all"].reserve
    prepared = prepare_scan(made.study, made.mesh, body="bar")
    scanned = numbers_of_direction(prepared, (0.0, 0.0, 1.0))
    assert (scanned.reserve, scanned.mode) == (pytest.approx(run.minimum, rel=5e-3), run.mode)


def test_a_warm_plate_with_a_hole_on_soft_springs_keeps_no_energy(bar):
    # The sides of its tetrahedra are curved: free expansion must be taken out of the same volume that was warmed
    draw(
        bar / "hole.step",
        lambda o: o.cut([(3, o.addBox(0, 0, 0, L, 20, 8))], [(3, o.addCylinder(20, 10, -1, 0, 0, 10, 7))]),
    )
    text = BAR[: BAR.index("[supports")].replace("bar.step", "hole.step").replace("5 mm", "8 mm")
    text += '[supports.rubber]\nface = "bottom"\nspring = "0.01 N/mm"\n'
    (bar / "warm.toml").write_text(text + '[loads.sun]\ntemperature_change = { by = "30 K" }\n')
    found = answer(prepare(read_study(bar / "warm.toml"))).findings.cases["all"]
    assert found.maximum_displacement_mm > 5e-3
    # Warmed between rigid walls it would keep some 700 mJ
    assert abs(found.strain_energy_mJ) < 1e-3


@pytest.mark.parametrize(
    ("fixed", "stiffness", "press", "lift", "bound"),
    [
        # At failure nearly all of the foundation has let go: what either load alone would do there means nothing
        ('"x", "y", "z"', 5.0, (0, -1500, 32), (0, 0, 170), 14),
        # It is free at four times the load, and fails before by what the contact at factor one does not tell
        ('"x", "y"', 16.0, (162, -1600, 21.6), (130, 180, 400), 3.6),
    ],
)
def test_the_part_just_fails_at_the_reserve_factor_of_its_growing_load(bar, fixed, stiffness, press, lift, bound):
    draw(bar / "flat.step", lambda occ: occ.addBox(0, 0, 0, L, 14, 8))
    text = BAR[: BAR.index("[supports")].replace("bar.step", "flat.step").replace("5 mm", "6 mm")
    text += 'top = { plane = { normal = [0, 0, 1], at = "max" } }\n'
    text += f'[supports.stop]\nface = "left"\nfixed = [{fixed}]\n'
    text += f'[supports.base]\nface = "bottom"\nfoundation = {{ normal = "{stiffness} N/mm^3"'
    text += f', tangential = "{stiffness / 10} N/mm^3", push_only = true }}\n[loads.press]\nface = "top"\n'
    text += (
        f'wrench = {{ force = ["0 N", "{press[0]} N", "{press[1]} N"], at = ["{press[2]} mm", "7 mm", "8 mm"] }}\n'
    )
    growing = f'[loads.lift]\nface = "right"\nforce = ["{lift[0]} N", "{lift[1]} N", "{lift[2]} N"]\n'

    def reserve(*, permanent, factor):
        path = bar / "grown.toml"
        cases = f"[cases]\nall = {{ press = 1.0, lift = {factor!r} }}\n"
        path.write_text(text + ("permanent = true\n" if permanent else "") + growing + cases)
        return answer(prepare(read_study(path))).findings.cases["all"].reserve

    found = reserve(permanent=True, factor=1.0)
    assert found.mode == "yield (von Mises)" and found.minimum < bound
    # Without permanent loads all grow together and press at the same points: the reserve is that of one stress field
    assert reserve(permanent=False, factor=found.minimum).minimum == pytest.approx(1, abs=5e-3)
    assert reserve(permanent=False, factor=0.9 * found.minimum).minimum > 1.02
