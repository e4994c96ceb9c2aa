"""Variants answered on one shared mesh: closed forms, sums of loads, what is kept, processes that are lost."""

import json
import math
from dataclasses import replace

import bars
import numpy as np
import pytest

from fem.errors import InputError
from fem.processes import Lost, work_through
from fem.study.file import read_study
from fem.study.run import answer, prepare
from fem.study.variants.expand import expand
from fem.study.variants.numbers import numbers_of_variant
from fem.study.variants.series import Countdown, answer_series, answer_variant, in_turn
from fem.study.variants.store import VariantStore
from fem.study.variants.story import put_side_by_side

WALLS = '[sweep]\n"bodies.bar.print.walls" = [0, 1, 2, 3, 8]\n'
DENSITY = '[variants]\nmetal = { "bodies.bar.metal" = "steel", reference = true, cost = 8 }\n[sweep]\n'
DENSITY += '"bodies.bar.print.infill.density" = [0.3, 0.6]\n"bodies.bar.print.walls" = [0]\n'


def told(folder, text, *, out="out", name="bar.toml", **more):
    study = read_study(bars.study(folder, text, name))
    return study, answer_series(expand(study), store=VariantStore(folder / out), **{"jobs": 1, **more})


def refusing(shared_mesh, studies):
    raise AssertionError(f"{[s.variant for s in studies]} would be computed")


@pytest.mark.parametrize("where", ["answer", "make_shared_mesh"])
def test_a_variant_that_fails_for_any_reason_is_a_row_with_it(own, monkeypatch, where):
    from fem.study.variants import series

    real = getattr(series, where)
    text = bars.PULLED + '[variants]\nwhole = {}\nfine = { "bodies.bar.mesh.size" = "7 mm" }\n'

    def failing(given, **more):
        study = given.study if where == "answer" else given
        if study.variant == "fine":
            raise ZeroDivisionError("of nothing")
        return real(given, **more)

    monkeypatch.chdir(own)
    monkeypatch.setattr(series, where, failing)
    _, (whole, fine) = told(own, text)
    assert whole.findings is not None and fine.findings is None
    assert "fault of the program itself: ZeroDivisionError: of nothing" in fine.error
    assert "in failing" in (own / "beadwork-fault.txt").read_text()


def test_more_processes_than_cores_and_memory_are_told(own):
    remarks = []
    told(own, bars.PULLED + WALLS.replace("[0, 1, 2, 3, 8]", "[1]"), jobs=1000, remark=remarks.append)
    assert len(remarks) == 1 and remarks[0].startswith("1,000 processes were asked for; ")


def test_ea_and_mass_of_a_bar_whose_walls_grow(bar):
    _, found = told(bar, bars.STRETCHED + WALLS, out="walls")
    strain = bars.SHIFT / bars.LENGTH
    stretch, mass = [], []
    for each in found:
        walls = each.variant.study.bodies["bar"].print.walls
        area = bars.bearing_area(walls, 0.3)
        case = each.findings.cases["stretched"]
        stretch.append(2 * case.strain_energy_mJ / (strain**2 * bars.LENGTH) / (bars.YOUNG * area))
        mass.append(each.findings.bodies["bar"].mass_g / (1e6 * bars.DENSITY * area * bars.LENGTH))
    # exact where one zone fills the bar; else as sampling tells what share a wall of 0.5 mm has in tetrahedra of 4 mm
    assert [stretch[0], stretch[-1], mass[0], mass[-1]] == pytest.approx([1.0] * 4, rel=1e-8)
    assert stretch == pytest.approx([1.0] * 5, rel=6e-3)
    assert mass == pytest.approx([1.0] * 5, rel=3e-3)
    areas = [bars.bearing_area(w, 0.3) for w in (0, 1, 2, 3, 8)]
    assert min(np.diff(areas) / areas[0]) > 0.2, "one wall more or less is far outside of the tolerance"


def test_what_a_step_buys_and_what_the_reference_is_worth(bar):
    study, found = told(bar, bars.PULLED + DENSITY, out="density")
    choice = put_side_by_side(study, [numbers_of_variant(each) for each in found])
    metal, light, dense = choice.variants
    for numbers, young, density in (
        (light, 0.3 * bars.YOUNG, 0.3 * bars.DENSITY),
        (dense, 0.6 * bars.YOUNG, 0.6 * bars.DENSITY),
        (metal, bars.STEEL_YOUNG, bars.STEEL_DENSITY),
    ):
        strain = bars.PRESSURE / young
        if numbers is not metal:
            aside = bars.POISSON * strain * math.hypot(bars.WIDTH, bars.DEPTH)
            assert numbers.deflection_mm == pytest.approx(math.hypot(strain * bars.LENGTH, aside), rel=1e-6)
            assert numbers.reserve == pytest.approx(bars.TENSION * young / bars.YOUNG / bars.PRESSURE, rel=1e-6)
        volume = bars.WIDTH * bars.DEPTH * bars.LENGTH
        assert numbers.mass_g == pytest.approx(1e6 * density * volume, rel=1e-9)
    (step,) = choice.steps
    gram = 0.3 * 1e6 * bars.DENSITY * bars.WIDTH * bars.DEPTH * bars.LENGTH
    assert (step.key, step.from_setting, step.to_setting) == ("bodies.bar.print.infill.density", "0.3", "0.6")
    assert step.stiffness == pytest.approx(1.0, rel=1e-6)
    assert step.reserve_per_g == pytest.approx(3.0 / gram, rel=1e-6)
    ratio = choice.ratios[light.name]
    assert ratio["mass"] == pytest.approx(0.3 * bars.DENSITY / bars.STEEL_DENSITY, rel=1e-9)
    assert ratio["cost"] == pytest.approx(light.cost / 8)
    assert choice.best == light.name and "lightest of the 2" in choice.reason
    assert choice.fronts["reserve"] == (light.name, dense.name)


def test_sums_of_unit_loads_equal_what_is_solved_at_once(own):
    both = bars.STUDY.replace("CASE", "both = { pull = 1.5, side = -0.7 }").replace(
        "[cases]", '[loads.side]\nface = "head"\nforce = ["9 N", "4 N", "0 N"]\n[cases]'
    )
    ready = prepare(read_study(bars.study(own, both)))
    found = answer(ready).scene.cases["both"].displacement
    from fem.solving.equilibrium import Equilibrium
    from fem.study.prepare import supports_of

    held, foundations = supports_of(ready.study, ready.mesh, ready.groups)
    forces = 1.5 * ready.loads["pull"].forces - 0.7 * ready.loads["side"].forces
    solved, _ = Equilibrium(ready.mesh, ready.printed, held=held, foundations=foundations).solve(forces[None])
    assert np.abs(found - solved[0]).max() < 1e-9 * np.abs(solved[0]).max()
    other = replace(ready, study=replace(ready.study, cases={"both": {"pull": 1.5, "side": -0.700001}}))
    wrong = answer(other).scene.cases["both"].displacement
    assert np.abs(wrong - solved[0]).max() > 1e-9 * np.abs(solved[0]).max()


def test_one_ground_gives_what_a_study_of_its_own_gives(own):
    sweep = '[sweep]\n"bodies.bar.print.walls" = [1, 3]\n"bodies.bar.print.infill.density" = [0.3, 0.6]\n'
    _, found = told(own, bars.PULLED + sweep)
    assert len({each.findings.cases["pulled"].maximum_displacement_mm for each in found}) == 4
    for each in found:
        alone = answer(prepare(each.variant.study)).findings
        assert alone.cases == each.findings.cases and alone.bodies == each.findings.bodies


def test_a_preconditioner_serves_again_where_the_material_stays(own, monkeypatch):
    from fem.solving import multigrid

    made, plain = [], multigrid.Preconditioner
    monkeypatch.setattr(multigrid, "Preconditioner", lambda *a, **k: made.append(1) or plain(*a, **k), raising=True)
    text = """[variants]
plain = {}
dearer = { "bodies.bar.print.price_per_kg" = 99 }
thicker = { "bodies.bar.print.walls" = 3 }
"""
    _, found = told(own, bars.PULLED + text)
    assert not any(each.error for each in found) and len(made) == 2
    # Two at once never share one: what is at work in one thread of a cluster's worker is not given to another
    ready = prepare(expand(read_study(bars.study(own, bars.PULLED + text)))[0].study)
    answer(ready)
    assert ready.shared_mesh.take_earlier() is not None and ready.shared_mesh.take_earlier() is None
    first, second = (each.findings.cases["pulled"] for each in found[:2])
    assert first.maximum_displacement_mm == pytest.approx(second.maximum_displacement_mm, rel=1e-9)


def test_an_invalid_variant_does_not_stop_the_others(own):
    text = bars.PULLED + '[variants]\nloose = { "supports.foot.fixed" = ["x"] }\nfine = {}\n'
    text += 'no_card = { "bodies.bar.metal" = "unobtainium" }\n[sweep]\n"bodies.bar.print.walls" = [-1]\n'
    study, found = told(own, text)
    loose, fine, no_card, minus = [numbers_of_variant(each) for each in found]
    assert "free to slide along z" in loose.error
    assert fine.answered and fine.findings_file.startswith("variants/fine-")
    assert "no card is named" in no_card.error and "walls: must be at least 0" in minus.error
    assert put_side_by_side(study, [loose, fine, no_card, minus]).best == "fine"


def test_nothing_is_computed_twice(own):
    text = (
        bars.PULLED
        + '[variants]\nplain = {}\ntwin = { "bodies.bar.print.walls" = 2 }\nmore = { "cases.pulled.pull" = 1.2 }\n'
    )
    counted = []

    def counting(shared_mesh, studies):
        counted.extend(s.variant for s in studies)
        yield from work_through(studies, work=answer_variant, shared=shared_mesh, jobs=1)

    _, first = told(own, text, worker=counting)
    assert counted == ["plain", "more"], "twin is plain in other words"
    assert len(list((own / "out" / "variants").iterdir())) == 3
    _, again = told(own, text, worker=refusing)
    assert [a.findings for a in again] == [f.findings for f in first]
    # other words, names and requirements are told anew without computing
    other = text.replace("How many walls?", "How many?").replace("reserve = 2.0", "reserve = 3.5")
    other = other.replace("plain = {}", "renamed = {}")
    _, renamed = told(own, other, worker=refusing)
    assert renamed[0].findings.question == "How many?"
    assert json.loads((own / "out" / renamed[0].file).read_text())["inputs"]["variant"] == "renamed"
    assert [len(numbers_of_variant(each).missed) for each in (first[2], renamed[2])] == [0, 1]


def test_what_is_damaged_or_of_another_version_is_never_taken(own, monkeypatch):
    text = bars.PULLED + '[variants]\nplain = {}\nthick = { "bodies.bar.print.walls" = 3 }\n'
    text += 'more = { "cases.pulled.pull" = 1.2 }\n'
    _, (plain, thick, more) = told(own, text)
    whole = (own / "out" / plain.file).read_text()
    (own / "out" / plain.file).write_text(whole[: len(whole) // 2])
    # An edited variant that tells a far too high reserve, and one file under another's name
    found = (own / "out" / thick.file).read_text()
    least = f'"minimum": {thick.findings.cases["pulled"].reserve.minimum!r}'
    assert least in found
    (own / "out" / thick.file).write_text(found.replace(least, '"minimum": 931.0'))
    store = VariantStore(own / "out")
    assert store.count([each.variant.study for each in (plain, thick, more)]) == 1
    assert store.not_taken() == {"an earlier version of Beadwork, or damaged,": 2}
    (own / "out" / thick.file).write_bytes((own / "out" / more.file).read_bytes())
    names = []

    def counting(shared_mesh, studies):
        names.extend(s.variant for s in studies)
        yield from work_through(studies, work=answer_variant, shared=shared_mesh, jobs=1)

    _, again = told(own, text, worker=counting)
    assert sorted(names) == ["plain", "thick"]
    assert [a.findings.cases for a in again] == [each.findings.cases for each in (plain, thick, more)]
    monkeypatch.setattr("fem.study.variants.store.program_version", lambda: "99.0")
    monkeypatch.setattr("fem.study.fingerprint.program_version", lambda: "99.0")
    assert store.not_taken() == {f"Beadwork {plain.findings.beadwork}": 3}
    assert store.count([plain.variant.study]) == 0


def test_a_full_disk_is_told_in_one_line(own, monkeypatch):
    def full(source, target):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("fem.judging.sealed.os.replace", full)
    with pytest.raises(InputError, match=r"cannot be kept \(No space left on device\)\. Make room"):
        told(own, bars.PULLED + "[variants]\nplain = {}\n")
    assert list((own / "out" / "variants").iterdir()) == []


def test_a_stopped_run_goes_on(own):
    text = bars.PULLED + '[sweep]\n"bodies.bar.print.walls" = [0, 1, 2]\n'

    def stopped(shared_mesh, studies):
        yield 0, answer_variant(shared_mesh, studies[0])
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        told(own, text, worker=stopped)
    names = []

    def rest(shared_mesh, studies):
        names.extend(s.variant for s in studies)
        yield from work_through(studies, work=answer_variant, shared=shared_mesh, jobs=1)

    _, found = told(own, text, worker=rest)
    assert names == ["1 wall", "2 walls"] and all(each.findings for each in found)


def test_a_variant_whose_numbers_are_none_is_told_and_stops_nothing(own):
    text = bars.PULLED + '[variants]\nplain = {}\nthick = { "bodies.bar.print.walls" = 3 }\n'

    def spoiling(shared_mesh, studies):
        for i, study in enumerate(studies):
            found = answer_variant(shared_mesh, study)
            yield i, replace(found, peak_memory_MB=math.nan if study.variant == "plain" else 1.0)

    _, (plain, thick) = told(own, text, worker=spoiling)
    assert "no number" in plain.error and thick.findings is not None


def test_what_kills_every_process_is_given_up(own):
    study, found = told(
        own, bars.PULLED + '[sweep]\n"bodies.bar.print.walls" = [2]\n', worker=lambda g, s: iter([(0, Lost())])
    )
    assert "ended from outside" in numbers_of_variant(found[0]).error
    assert study.sweep


def test_equal_cells_come_far_apart(own):
    text = (
        bars.PULLED + '[sweep]\n"bodies.bar.print.walls" = [1, 2]\n"bodies.bar.print.infill.density" = [0.2, 0.4]\n'
    )
    studies = [v.study for v in expand(read_study(bars.study(own, text)))]
    order = in_turn(sorted(studies, key=lambda s: s.bodies["bar"].print.infill_density))
    assert order == [0, 2, 1, 3]


def test_the_countdown_counts_from_the_first_variant():
    said = []
    tally = Countdown(lambda stage, share: said.append(stage), total=2, known=0)
    tally(1, "a")
    tally(1, "b")
    assert said[0] == "variant 1 of 2"
    assert said[1].startswith("variant 2 of 2, about ") and said[1].endswith("left; done: a")
    assert said[2] == "all variants done"
