"""Whole studies: closed forms through the front door, and input that must be refused before anything is written."""

import json
import shutil

import numpy as np
import pytest
from helpers_cad import draw

from fem.cli import main
from fem.errors import FreeBodyError, InputError
from fem.study.check import check_study
from fem.study.file import read_study
from fem.study.run import answer, prepare, run_study

BAR = """
title = "Bar"
question = "How far does it stretch?"
[bodies.bar]
solid = "bar.step"
mesh = { size = "5 mm" }
metal = "6082-t6"
[faces]
left = { plane = { normal = [-1, 0, 0], at = "min" } }
right = { plane = { normal = [1, 0, 0], at = "max" } }
[supports.wall]
face = "left"
fixed = ["x"]
[supports.guide]
face = "front"
fixed = ["y"]
[supports.floor]
face = "bottom"
fixed = ["z"]
"""
FACES = """
front = { plane = { normal = [0, -1, 0], at = "min" } }
bottom = { plane = { normal = [0, 0, -1], at = "min" } }
"""
BAR = BAR.replace("[supports.wall]", FACES + "[supports.wall]")
PULL = '[loads.pull]\nface = "right"\nforce = ["1 kN", "0 N", "0 N"]\n'
WATCH = "[watch]\nfaces = ['right']\n"
L, A = 40.0, 100.0


@pytest.fixture(scope="module")
def bar(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bar")
    draw(folder / "bar.step", lambda occ: occ.addBox(0, 0, 0, L, 10, 10))
    return folder


def study(folder, text, name="bar.toml"):
    path = folder / name
    path.write_text(text)
    return path


def solved(folder, text, name="bar.toml"):
    return answer(prepare(read_study(study(folder, text, name)))).findings


def modulus(findings_or_card="6082-t6"):
    from fem.printing.polymer import load_card

    state = next(iter(load_card(findings_or_card).states.values()))
    return float(state.E[0]), float(state.strength.yield_stress)


def test_a_pulled_bar_stretches_and_yields_as_it_must(bar):
    young, yield_stress = modulus()
    found = solved(
        bar, BAR + PULL + "[watch]\nfaces = ['right']\n[cases]\none = { pull = 1.0 }\ntwo = { pull = -2.0 }\n"
    )
    one = found.cases["one"]
    assert one.faces["right"].displacement_mm[0] == pytest.approx(1000 * L / (young * A), rel=1e-6)
    assert one.reserve.minimum == pytest.approx(yield_stress / 10.0, rel=1e-4)
    assert found.cases["two"].reserve.minimum == pytest.approx(yield_stress / 20.0, rel=1e-4)
    assert one.strain_energy_mJ == pytest.approx(0.5 * 1000 * 1000 * L / (young * A), rel=1e-6)
    assert one.reaction_N[0] == pytest.approx(-1000, rel=1e-8)
    assert max(one.force_error, one.moment_error) < 1e-8
    assert found.stiffness["right"].compliance[0][0] == pytest.approx(L / (young * A), rel=1e-6)


def test_permanent_loads_do_not_grow(bar):
    _, yield_stress = modulus()
    preload = PULL.replace("pull", "preload").replace("1 kN", "13 kN") + "permanent = true\n"
    found = solved(bar, BAR + preload + PULL + "[cases]\nboth = { preload = 1.0, pull = 1.0 }\n")
    assert found.cases["both"].reserve.minimum == pytest.approx((yield_stress - 130) / 10, rel=1e-4)
    alone = solved(bar, BAR + preload + "[cases]\nalone = { preload = 1.0 }\n")
    assert alone.cases["alone"].reserve.minimum == pytest.approx(yield_stress / 130, rel=1e-4)
    assert any("permanent loads alone" in c.text for c in alone.cautions)


def test_a_displacement_holds_only_the_cases_that_name_it(bar):
    young, _ = modulus()
    move = '[loads.move]\nface = "right"\ndisplacement = { x = "0.02 mm" }\n'
    text = (
        BAR + move + PULL + "[watch]\nfaces = ['right']\n[cases]\nmoved = { move = 2.0 }\npulled = { pull = 1.0 }\n"
    )
    found = solved(bar, text)
    assert found.cases["moved"].faces["right"].displacement_mm[0] == pytest.approx(0.04, rel=1e-6)
    assert found.cases["moved"].strain_energy_mJ == pytest.approx(0.5 * young * A / L * 0.04**2, rel=1e-6)
    assert found.cases["pulled"].faces["right"].displacement_mm[0] == pytest.approx(1000 * L / (young * A), rel=1e-6)
    alone = solved(bar, BAR + move + "[cases]\nmoved = { move = 2.0 }\n")
    assert alone.cases["moved"].strain_energy_mJ == pytest.approx(found.cases["moved"].strain_energy_mJ, rel=1e-6)


def test_a_bar_that_follows_its_moved_face_bears_nothing_and_says_so(bar):
    alone = BAR[: BAR.index("[supports.wall]")]
    move = '[loads.move]\nface = "right"\ndisplacement = { x = "0.3 mm", y = "0 mm", z = "0 mm" }\n'
    found = solved(bar, alone + move + WATCH)
    one = found.cases["all"]
    assert one.faces["right"].displacement_mm == pytest.approx((0.3, 0, 0), abs=1e-9)
    assert np.isinf(one.reserve.minimum) and one.reaction_N == (0, 0, 0)
    assert any("follows it without any stress" in c.text for c in found.cautions)
    # Neither is the missing stiffness of a watched face passed over
    assert not found.stiffness and any("stiffness of watched faces is not told" in c.text for c in found.cautions)


def test_warming_a_free_bar_stretches_it_without_stress(bar):
    warm = '[loads.warm]\ntemperature_change = { by = "40 K" }\n'
    found = solved(bar, BAR + warm + "[cases]\nhot = { warm = 1.0 }\n[points]\nend = ['40 mm', '0 mm', '0 mm']\n")
    end = found.cases["hot"].points["end"]
    assert end.displacement_mm[0] == pytest.approx(40 * 23.4e-6 * L, rel=0.02)
    assert np.abs(end.stress_MPa).max() < 1e-3
    assert found.cases["hot"].strain_energy_mJ == pytest.approx(0.0, abs=1e-6)


def test_gravity_pulls_the_mass(bar):
    field = '[loads.weight]\nacceleration = ["-9.80665 m/s^2", "0 m/s^2", "0 m/s^2"]\n'
    found = solved(bar, BAR + field + "[cases]\nhang = { weight = 1.0 }\n")
    mass = found.bodies["bar"].mass_g
    assert found.cases["hang"].applied_N[0] == pytest.approx(-mass / 1000 * 9.80665, rel=1e-9)


def test_a_load_on_a_held_face_is_refused_not_met(bar):
    lost = '[loads.lost]\nface = "left"\nforce = ["1 kN", "0 N", "0 N"]\n'
    with pytest.raises(InputError, match="never feel it"):
        solved(bar, BAR + lost + "[cases]\none = { lost = 1.0 }\n[requirements]\nreserve = 2.0\n")


def test_a_body_free_to_move_is_refused_with_its_motions(bar):
    loose = BAR.replace('[supports.guide]\nface = "front"\nfixed = ["y"]\n', "")
    text = loose + PULL + "[cases]\none = { pull = 1.0 }\n"
    for verb in (lambda s: check_study(read_study(s)), lambda s: answer(prepare(read_study(s)))):
        with pytest.raises(FreeBodyError, match="free to slide along y"):
            verb(study(bar, text, "loose.toml"))


def test_results_are_put_in_place_and_nothing_else_is_touched(bar, monkeypatch):
    path = study(bar, BAR + PULL + "[cases]\none = { pull = 1.0 }\n[requirements]\nreserve = 100\n", "whole.toml")
    out = bar / "out"
    assert main(["run", str(path), "--out", str(out), "--strict"]) == 3
    assert {p.name for p in out.iterdir()} == {"findings.json", "fields.vtu", "part.json", "pictures", "report.html"}
    found = json.loads((out / "findings.json").read_text())
    assert found["requirements"][0]["met"] is False
    (out / "notes.txt").write_text("mine")
    before = (out / "findings.json").read_text()

    def stopped(*_args, **_kwargs):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("fem.telling.tell", stopped)
        assert main(["run", str(path), "--out", str(out)]) == 130
    assert (out / "findings.json").read_text() == before
    run_study(path, out=out)
    assert (out / "notes.txt").read_text() == "mine"
    assert sorted(p.name for p in bar.iterdir() if p.name.startswith(".")) == []


def test_foreign_folders_are_refused_before_any_work(bar, capsys):
    path = study(bar, BAR + PULL + "[cases]\none = { pull = 1.0 }\n", "whole.toml")
    foreign = bar / "foreign"
    foreign.mkdir()
    (foreign / "photo.txt").write_text("mine")
    assert main(["run", str(path), "--out", str(foreign)]) == 2
    assert main(["run", str(path), "--out", "."]) == 2
    assert main(["run", str(path), "--out", str(path)]) == 2
    lines = [line for line in capsys.readouterr().err.splitlines() if line]
    assert len(lines) == 3
    assert all(line.startswith("beadwork: ") for line in lines)
    assert (foreign / "photo.txt").read_text() == "mine"
    shutil.rmtree(foreign)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('normal = [1, 0, 0], at = "max"', 'normal = [1, 1, 0], at = "max"', "no face matches"),
        ('solid = "bar.step"', 'solid = "bat.step"', "bar.step"),
        ('metal = "6082-t6"', 'metal = "6082-t7"', "6082-t6"),
        ('"1 kN"', '"1 kg"', "not a force"),
        ('size = "5 mm"', 'sise = "5 mm"', "size"),
        ('size = "5 mm"', 'size = "5 um"', "GB"),
    ],
)
def test_bad_input_is_one_line_and_status_two(bar, capsys, old, new, words):
    text = BAR + PULL + "[cases]\none = { pull = 1.0 }\n"
    assert old in text
    assert main(["check", str(study(bar, text.replace(old, new), "bad.toml"))]) == 2
    err = [line for line in capsys.readouterr().err.splitlines() if not line.endswith("%)")]
    assert len(err) == 1
    assert words in err[0]


@pytest.mark.parametrize(
    ("build", "raster", "axis", "mode"),
    [
        ([0, 0, 1], 0, 0, "along the bead"),
        ([0, 0, 1], 90, 1, "across the bead"),
        ([1, 0, 0], 0, 2, "interlayer tension"),
    ],
)
def test_a_printed_bar_bears_what_its_beads_bear_that_way(bar, build, raster, axis, mode):
    from fem.printing.polymer import load_card

    print_keys = f"""
[bodies.bar.print]
polymer = "pa12-cf"
state = "dry"
build_direction = {build}
bead = {{ width = "0.45 mm", height = "0.2 mm" }}
walls = 0
raster = [{raster}]
infill = "solid"
"""
    text = BAR.replace('metal = "6082-t6"\n', print_keys) + PULL + WATCH + "[cases]\none = { pull = 1.0 }\n"
    found = solved(bar, text, "printed.toml")
    state = load_card("pa12-cf").states["dry"]
    one = found.cases["one"]
    # 1 kN on 100 mm² is 10 MPa along x, and nothing else
    assert one.reserve.minimum == pytest.approx(state.strength.tension[axis] / 10, rel=1e-4)
    assert mode in one.reserve.mode
    assert one.faces["right"].displacement_mm[0] == pytest.approx(10 / state.E[axis] * L, rel=1e-5)


def test_single_values_of_a_card_are_set_in_the_study_and_flagged(bar):
    """Half the modulus along the bar gives twice the stretch, and the report says whose value it is."""
    case = "[cases]\none = { pull = 1.0 }\n"
    plain = solved(bar, BAR + PULL + case)
    printed = BAR.replace(
        'metal = "6082-t6"', 'print = { polymer = "pla", walls = 0, raster = [0], raster_zero = [1, 0, 0] }'
    )
    first = solved(bar, printed + PULL + case)
    own = printed.replace(
        "raster_zero = [1, 0, 0] }", 'raster_zero = [1, 0, 0], card = { E = ["1.5 GPa", "1.4 GPa", "1.3 GPa"] } }'
    )
    second = solved(bar, own + PULL + case)
    assert plain.cases["one"].maximum_displacement_mm < first.cases["one"].maximum_displacement_mm
    assert second.cases["one"].maximum_displacement_mm > 1.5 * first.cases["one"].maximum_displacement_mm
    assert "E (set in the study)" in second.bodies["bar"].estimates
    assert "E (set in the study)" not in first.bodies["bar"].estimates
    with pytest.raises(InputError, match=r"bodies.bar: print.card"):
        solved(bar, printed.replace("raster = [0]", 'raster = [0], card = { tensoin = "3 MPa" }') + PULL + case)


def test_a_card_read_at_another_temperature_than_the_load_is_told(bar):
    printed = BAR.replace('metal = "6082-t6"', 'print = { polymer = "pa12-cf", walls = 0 }')
    case = "[cases]\none = { pull = 1.0, warm = 1.0 }\n"
    for by, told in (("40 K", True), ("2 K", False)):
        warm = f'[loads.warm]\ntemperature_change = {{ by = "{by}" }}\n'
        found = solved(bar, printed + PULL + warm + case).cautions
        assert any(c.kind == "card_temperature" and c.decisive for c in found) is told


def test_check_and_run_tell_what_the_study_leaves_doubtful(bar, capsys):
    """A load in no case, a point off the part, and a case without any load: each told as it is, by both commands."""
    idle = '[loads.idle]\nface = "right"\npressure = "1 MPa"\n'
    points = '[points]\neye = ["44 mm", "5 mm", "5 mm"]\n'.replace("44", "49")
    text = BAR + PULL + idle + points + "[cases]\none = { pull = 1.0 }\nnone = { pull = 0.0 }\n"
    path = study(bar, text)
    kinds = {c.kind for c in check_study(read_study(path)).cautions}
    assert {"idle_load", "point_off_part"} <= kinds
    found = {c.kind for c in solved(bar, text).cautions}
    assert {"idle_load", "point_off_part"} <= found and "permanent_alone" not in found
    assert main(["check", str(path)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "Supports" in out and "fixed x" in out and "Load idle works in no case" in out
    far = text.replace("49 mm", "490 mm")
    with pytest.raises(InputError, match=r"points\.eye: the point lies 450 mm off the part"):
        check_study(read_study(study(bar, far)))


def test_strict_says_what_it_asked_where_the_study_asks_nothing(bar, capsys, tmp_path):
    text = BAR + PULL + "[cases]\none = { pull = 1.0 }\n"
    assert main(["run", str(study(bar, text)), "--strict", "--out", str(tmp_path / "out")]) == 0
    assert "--strict asked for 1" in " ".join(capsys.readouterr().out.split())
