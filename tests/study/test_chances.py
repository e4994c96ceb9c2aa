"""The chance of a reserve factor in a whole study, against what the same study says when it is solved anew."""

from dataclasses import replace

import numpy as np
import pytest
from helpers_bar import STUDY
from helpers_cad import draw

from fem.errors import InputError
from fem.judging.chance import _ranked, chance_of
from fem.judging.recovery import Recovery
from fem.loading.case import LoadCase
from fem.solving.equilibrium import Equilibrium
from fem.solving.sensitivity import stiffness_change
from fem.solving.units import solve_units
from fem.study import solved as solved_study
from fem.study.chances import places_of, scatter_of
from fem.study.file import read_study
from fem.study.prepare import joints_of, supports_of
from fem.study.run import answer, prepare
from fem.study.solved import solve_cases_of

PULL = 'force = ["500 N", "0 N", "0 N"]'
FOUNDATION = 'foundation = { normal = "400 N/mm^3", tangential = "100 N/mm^3" }'
NO_BEADS = "[judge]\nzoom = 0\n"


@pytest.fixture
def bar(tmp_path):
    """A study of the bar, its text changed word for word."""
    draw(tmp_path / "bar.step", lambda occ: occ.addBox(0, 0, 0, 20.0, 6.0, 6.0))

    def study(*changes, more=NO_BEADS):
        text = STUDY.format(mesh=2.5) + more
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        (tmp_path / "bar.toml").write_text(text)
        return read_study(tmp_path / "bar.toml")

    return study


@pytest.fixture
def equilibria(monkeypatch):
    """The equilibria that a study is solved with, with their cases."""
    seen = []
    monkeypatch.setattr(solved_study, "places_of", lambda *given: seen.append(given) or places_of(*given))
    return seen


def test_places_judge_as_the_whole_part_does(bar):
    """All at its mean: the stored stresses come to the reserve factor of the case, and scale with a factor."""
    ready = prepare(
        bar(
            (PULL, PULL + "\nscatter = 0.1"),
            ("bending = { bending = 1.0 }", "bending = { bending = 1.0, tension = 0.3 }"),
        )
    )
    solved = solve_cases_of(ready)
    for name, places in solved.places.items():
        _, least = _ranked(places, scatter_of(ready))
        assert least == pytest.approx(solved.answers[name].findings.reserve.minimum, rel=1e-9)
    assert {part.name for part in solved.places["bending"].parts} == {"tension", ""}


def test_nothing_is_left_out_that_could_be_the_least(bar, monkeypatch):
    """Looked at all over and with no first look, the chance is the same."""
    ready = prepare(
        bar(
            (PULL, PULL + "\nscatter = 0.2"),
            ("tension = { tension = 1.0 }", "tension = { tension = 0.4, bending = 0.5 }"),
        )
    )
    solved = solve_cases_of(ready)
    few, least = solved.places["tension"], solved.answers["tension"].findings.reserve.minimum
    limits = (0.9 * least, 1.05 * least)
    monkeypatch.setattr("fem.judging.places.MOST_NODES", 10**6)
    monkeypatch.setattr("fem.judging.chance.CLOSE", 1.6)
    whole = solve_cases_of(ready).places["tension"]
    assert sum(len(f.nodes) for f in whole.families) > 3 * sum(len(f.nodes) for f in few.families)
    every = chance_of(whole, scatter=scatter_of(ready), limits=limits)
    monkeypatch.undo()
    some = chance_of(few, scatter=scatter_of(ready), limits=limits)
    assert some.above == pytest.approx(every.above, abs=1e-3)
    assert 0.01 < every.above[1] < every.above[0] < 0.99


def test_the_derivative_with_stiffness_is_that_of_a_part_solved_stiffer(bar, equilibria):
    """On a foundation that stays: 0.1 % stiffer, solved anew by a matrix of its own."""
    ready = prepare(bar(('fixed = ["x", "y", "z"]', FOUNDATION)))
    solve_cases_of(ready)
    _, equilibrium, recovered, _ = equilibria[0]
    solved = recovered.solved
    found = stiffness_change(equilibrium, solved, ready.loads)
    step = 1e-3
    stiffer = replace(ready.printed, stiffness_table=ready.printed.stiffness_table * (1 + step))
    again = Equilibrium(ready.mesh, stiffer, foundations=tuple(equilibrium.foundations.values()))
    for name, unit in solved.units.items():
        difference = (again.solve(ready.loads[name].forces[None])[0][0] - unit) / step
        assert np.abs(found[name] - difference).max() <= 5e-3 * np.abs(difference).max()
    # held rigidly it would be the displacement itself: on a foundation, much of which stays, it is not
    assert np.abs(found["tension"] + solved.units["tension"]).max() > 0.05 * np.abs(solved.units["tension"]).max()


def test_one_solve_and_one_recovery_serve_all_cases_and_the_solve_begins_at_what_forces_move(
    bar, equilibria, monkeypatch
):
    ready = prepare(bar(('fixed = ["x", "y", "z"]', FOUNDATION)))
    solve_cases_of(ready)
    ready, equilibrium, recovered, answers = equilibria[0]
    loads, solves, recoveries = len(recovered.loads), [], []
    solve, stress = Equilibrium.solve, Recovery.stress

    def watched(self, right, **given):
        found, record = solve(self, right, **given)
        solves.append((len(right), record.iterations, right, given))
        return found, record

    monkeypatch.setattr(Equilibrium, "solve", watched)
    monkeypatch.setattr(Recovery, "stress", lambda *given: recoveries.append(len(given[1])) or stress(*given))
    places_of(ready, equilibrium, recovered, answers)
    assert len(recovered.solved.cases) > 1 and recoveries == [loads]
    ((columns, iterations, right, given),) = solves
    assert columns == loads
    from_rest = solve(equilibrium, right, **(given | {"guess": None}))[1].iterations
    assert 0 < iterations < from_rest


def test_where_nothing_gives_way_no_derivative_is_solved_for(bar, equilibria):
    ready = prepare(bar())
    solved = solve_cases_of(ready)
    _, equilibrium, recovered, _ = equilibria[0]
    assert stiffness_change(equilibrium, recovered.solved, ready.loads) is None
    assert not any(f.change.any() for p in solved.places.values() for f in p.families)


def test_a_required_chance_is_a_row_of_the_requirements_and_scatter_lowers_it(bar):
    asked = "[requirements]\nreserve = 0.5\nchance = 0.95\n" + NO_BEADS
    calm = answer(prepare(bar(more=asked))).findings
    gusty = answer(prepare(bar((PULL, PULL + "\nscatter = 0.5"), more=asked))).findings
    rows = [next(r for r in f.requirements if r.name == "chance") for f in (calm, gusty)]
    assert [(r.limit, r.where, r.decided) for r in rows] == [
        (0.95, "tension", "met"),
        (0.95, "tension", "not met"),
    ]
    assert rows[1].value < rows[0].value - 0.05
    reserve = gusty.cases["tension"].reserve
    assert reserve.chance_met == rows[1].value and reserve.chance_limit == 0.5
    assert reserve.chance_above_1 < reserve.chance_met
    assert reserve.chance_inputs[0].name == "load tension"
    # what gusts do to one load is no matter of the other cases
    assert gusty.cases["torsion"].reserve == calm.cases["torsion"].reserve


@pytest.mark.parametrize("scatter", ["-0.1", "1.0", '"10 %"', "nan"])
def test_a_scatter_that_cannot_be_is_refused(bar, scatter):
    with pytest.raises(InputError, match=r"loads\.tension\.scatter"):
        bar((PULL, f"{PULL}\nscatter = {scatter}"))


@pytest.mark.parametrize("chance", ["0.0", "1.0", "99"])
def test_a_chance_that_cannot_be_is_refused(bar, chance):
    with pytest.raises(InputError, match=r"requirements\.chance"):
        bar(more=f"[requirements]\nchance = {chance}\n")


def test_a_kept_variant_whose_chance_is_of_another_reserve_is_solved_again(bar):
    """Requirements are compared anew with what is kept; a chance is of one required reserve factor alone."""
    from fem.study.variants.store import _says_chance

    asked = "[requirements]\nreserve = {}\nchance = 0.95\n" + NO_BEADS
    study = bar(more=asked.format(0.3))
    found = answer(prepare(study)).findings
    assert _says_chance(study, found)
    assert not _says_chance(bar(more=asked.format(0.4)), found)
    assert _says_chance(bar(more="[requirements]\nreserve = 0.4\n" + NO_BEADS), found)


JOINED = """
title = "Two halves that a permanent push presses together"
[bodies.low]
solid = "low.step"
mesh = { size = "6 mm" }
[bodies.low.print]
polymer = "pla"
build_direction = [0, 0, 1]
infill = { pattern = "solid" }
[bodies.high]
solid = "high.step"
metal = "6082-t6"
mesh = { size = "6 mm" }
[faces]
root = { body = "low", plane = { normal = [-1, 0, 0], at = "min" } }
end = { body = "low", plane = { normal = [1, 0, 0], at = "max" } }
start = { body = "high", plane = { normal = [-1, 0, 0], at = "min" } }
tip = { body = "high", plane = { normal = [1, 0, 0], at = "max" } }
[supports.wall]
face = "root"
fixed = ["x", "y", "z"]
[joints.seam]
faces = ["end", "start"]
friction = 0.3
[loads.push]
face = "tip"
force = ["-400 N", "0 N", "0 N"]
[loads.bend]
face = "tip"
force = ["0 N", "0 N", "-36 N"]
scatter = 0.2
[cases.all]
push = 1
bend = 1
"""


def test_with_a_joint_the_chance_is_that_of_solving_anew(tmp_path):
    """The bend opens the joint the farther the larger it is; contact is taken as it is at the mean of the bend."""
    draw(tmp_path / "low.step", lambda occ: occ.addBox(0, 0, 0, 24, 12, 12))
    draw(tmp_path / "high.step", lambda occ: occ.addBox(24, 0, 0, 24, 12, 12))
    (tmp_path / "halves.toml").write_text(JOINED + NO_BEADS)
    ready = prepare(read_study(tmp_path / "halves.toml"))
    mean = solve_cases_of(ready)
    off = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    anew = [
        solve_cases_of(prepare(ready.study.with_({"cases": {"all": {"push": 1.0, "bend": 1 + 0.2 * z}}})))
        for z in off
    ]
    assert anew[0].answers["all"].findings.joints["seam"].touching == pytest.approx(1)
    assert anew[-1].answers["all"].findings.joints["seam"].touching < 0.75
    reserves = [found.answers["all"].findings.reserve.minimum for found in anew]
    told = reserves[2]
    draws = np.random.default_rng(14).standard_normal(100_000)
    scatter = replace(scatter_of(ready), strength={}, stiffness={})
    for limit in (0.9 * told, 1.1 * told):
        chance = chance_of(mean.places["all"], scatter=scatter, limits=(limit,), told=told)
        assert chance.above[0] == pytest.approx(np.mean(np.interp(draws, off, reserves) >= limit), abs=0.03)
    assert "chance_contact" in {caution.kind for caution in mean.remarks}


def test_a_joined_body_feels_its_own_stiffness_alone(tmp_path):
    """A rod held at both ends, of two glued halves: what one half's stiffness changes in it, by differences."""
    draw(tmp_path / "low.step", lambda occ: occ.addBox(0, 0, 0, 24, 12, 12))
    draw(tmp_path / "high.step", lambda occ: occ.addBox(24, 0, 0, 24, 12, 12))
    text = JOINED.replace("friction = 0.3", 'kind = "bonded"').replace(
        "[joints", '[supports.other]\nface = "tip"\nfoundation = { normal = "200 N/mm^3" }\n[joints'
    )
    (tmp_path / "halves.toml").write_text(text + NO_BEADS)
    ready = prepare(read_study(tmp_path / "halves.toml"))
    (units,) = [*_units_of(ready, ready.printed)]
    changes = stiffness_change(units.equilibrium, units.parts[0], ready.loads)
    own = ready.mesh.node_body == ready.mesh.bodies.index("low")
    table = ready.printed.stiffness_table.copy()
    table[np.unique(ready.printed.material[ready.mesh.tets_of("low")])] *= 1.01
    (stiffer,) = [*_units_of(ready, replace(ready.printed, stiffness_table=table))]
    for name, change in changes.items():
        apart = (stiffer.parts[0].units[name] - units.parts[0].units[name]) / 0.01
        size = np.abs(apart[own]).max()
        assert np.abs(change[own] - apart[own]).max() < 0.03 * size
        # Negative control: with the other half as stiff as before, less changes than were both stiffer
        assert np.abs(units.parts[0].units[name][own] + apart[own]).max() > 0.03 * size


def _units_of(ready, printed):
    held, foundations = supports_of(ready.study, ready.mesh, ready.groups)
    joints = joints_of(ready.study, ready.mesh, ready.groups)
    cases = [LoadCase(name, factors, ready.loads) for name, factors in ready.study.cases.items()]
    return solve_units(
        ready.mesh,
        printed,
        cases,
        held=held,
        foundations=foundations,
        joints=joints,
        pattern=ready.shared_mesh.pattern,
    )
