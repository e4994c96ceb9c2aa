"""The command as a user types it: what it prints, and the status it leaves with."""

import json
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "telling"))

from old_words import old_words

from fem.cli import main
from fem.printing.polymer import all_cards, load_card

ROOT = Path(__file__).resolve().parents[1]


def test_faces_lists_numbers_units_and_draws_a_picture(tmp_path, capsys):
    picture = tmp_path / "faces.png"
    solid = ROOT / "meshes" / "cantilever_bracket.step"
    assert main(["faces", str(solid), "--picture", str(picture)]) == 0
    out = capsys.readouterr().out
    assert "area [mm²]" in out
    assert "radius [mm]" in out
    assert picture.read_bytes()[:4] == b"\x89PNG"
    assert main(["faces", str(solid), "--picture", str(picture), "--json"]) == 0
    faces = json.loads(capsys.readouterr().out)
    bolts = [f for f in faces if f["radius_mm"] == pytest.approx(3.3, rel=1e-6)]
    assert len(bolts) == 2
    assert all(f["hole"] and f["kind"] == "cylinder" for f in bolts)
    assert next(f["query"] for f in faces if f["area_mm2"] == pytest.approx(480)) == (
        '{ plane = { normal = [0, 0, 1], at = "13 mm" } }'
    )


def test_step_and_stl_show_the_same_faces(tmp_path, capsys):
    found = []
    for suffix, more in (("step", []), ("stl", ["--unit", "mm"])):
        solid = str(ROOT / "meshes" / f"cantilever_bracket.{suffix}")
        assert main(["faces", solid, "--json", "--picture", str(tmp_path / "p.png"), *more]) == 0
        faces = json.loads(capsys.readouterr().out)
        found.append(sorted((f["kind"], round(f["area_mm2"])) for f in faces))
    kinds = [[kind for kind, _ in one] for one in found]
    assert kinds[0] == kinds[1]
    for (_, a), (_, b) in zip(*found, strict=True):
        assert a == pytest.approx(b, rel=0.01)


def test_cards_lists_every_card_in_a_line(capsys):
    assert main(["cards"]) == 0
    lines = capsys.readouterr().out.splitlines()
    for card in all_cards():
        line, values = [line for line in lines if line.split()[:1] == [card.name]]
        assert all(state in line for state in card.states)
        assert card.about.split(",")[0] in line and " of " in line, "what it is, and how much of it is estimated"
        state = next(iter(card.states.values()))
        modulus = values.split()[1].split("/")[0].rstrip("*")
        assert float(modulus) == pytest.approx(state.E[0] / 1000, rel=1e-3)
        assert ("*" in values) == bool(set(state.estimates) - {"nu", "density"})


def test_cards_shows_one_card_with_its_sources(capsys, tmp_path):
    assert main(["cards", "pla"]) == 0
    out = capsys.readouterr().out
    strengths = " / ".join(f"{value:g}" for value in load_card("pla").state("dry").tension)
    assert "tension [MPa] along / across / up" in out and strengths in out
    assert "source" in out and "estimate" in out
    text = 'name = "tough"\nfrom = "pla"\n[dry]\ntoughness = "2.5 MPa*m^0.5"\nsource = "five notched bars"\n'
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    assert main(["cards", str(tmp_path / "own.toml")]) == 0
    out = " ".join(capsys.readouterr().out.split())
    # (2.5 / 55)^2 / pi, in metres
    assert "2.5 / 2.5 / 2.5" in out and "critical distance 0.658 mm" in out and "five notched bars" in out
    # square brackets are a name's own, not markup
    text = 'name = "[red]spool[/] [link=x]"\nfrom = "pla"\nabout = "[bold]"\n'
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    assert main(["cards", str(tmp_path / "own.toml")]) == 0
    assert "[red]spool[/] [link=x] (polymer: [bold])" in capsys.readouterr().out


def test_all_faults_of_a_card_are_printed_a_line_each(capsys, tmp_path):
    (tmp_path / "own.toml").write_text('name = "own"\nfrom = "pla"\ndensity = "1 mm"\nsource = "x"\ncolour = 3\n')
    assert main(["cards", str(tmp_path / "own.toml")]) == 2
    told = capsys.readouterr().err.splitlines()
    assert told[0] == "beadwork: card own.toml: 2 things are wrong."
    assert [line.split(":")[0] for line in told[1:]] == ['  unknown key "colour". Nearest', "  density"]


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [
        ("--density", "nan", "--density: "),
        ("--density", "30 %", "--density: "),
        ("--density", "1e300", "density"),
        ("--bead-width", "0.001 mm", "not plausible"),
        ("--bead-width", "1,500 mm", "--bead-width: '1,500 mm' can be read in two ways"),
        ("--bead-height", "9**9**9 mm", "--bead-height: "),
        ("--temperature", "60", "--temperature: '60' has no unit"),
        ("--temperature", "60 K^999", "--temperature: "),
    ],
)
def test_options_are_read_by_the_same_door(capsys, option, value, words):
    given = {"--density": "0.4", "--bead-width": "0.45 mm", option: value}
    assert main(["cell", "grid", *(part for pair in given.items() for part in pair)]) == 2
    err = capsys.readouterr().err
    assert words in err and "Traceback" not in err


@pytest.mark.parametrize("name", ["wing_saddle", "cantilever_bracket"])
def test_the_shipped_studies_can_be_checked(name, capsys):
    assert main(["check", str(ROOT / "studies" / f"{name}.toml")]) == 0
    out = capsys.readouterr().out
    assert "total force [N]" in out
    assert "The study can be run." in out


def test_the_bracket_meets_what_its_study_asks(tmp_path, capsys):
    study = ROOT / "studies" / "cantilever_bracket.toml"
    assert main(["run", str(study), "--out", str(tmp_path / "out"), "--strict"]) == 0
    out = capsys.readouterr().out
    assert "deflection" in out
    assert "NOT MET" not in out
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    found = json.loads((tmp_path / "out" / "findings.json").read_text())
    assert len(page.encode()) < 8e6
    assert found["title"] in page
    assert max(c["force_error"] for c in found["cases"].values()) < 1e-8


def test_help_speaks_the_fields_language():
    from fem.cli import _parser

    commands = next(a for a in _parser()._actions if hasattr(a, "choices") and a.choices)
    told = _parser().format_help() + "".join(each.format_help() for each in commands.choices.values())
    assert old_words(" ".join(told.split())) == []
    assert "solve a study" in told and "exit with status 3" in told


def test_cards_as_json_holds_every_number_with_its_unit(capsys):
    assert main(["cards", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert set(told) == {card.name for card in all_cards()}
    dry = told["pla"]["states"]["dry"]
    state = load_card("pla").state("dry")
    assert dry["E_MPa"] == list(state.E) and dry["shear_MPa"]["12"] == state.shear[2]
    assert dry["strain_at_break"] == list(state.strain_at_break) and dry["elastic_scatter"] == state.elastic_scatter
    ply = told["carbon-ply"]["states"]["dry"]
    assert ply["toughness_MPa_m05"] == pytest.approx([90, 1.5, 1.5]) and ply["critical_distance_mm"] > 0
    assert main(["cards", "steel", "--json"]) == 0
    assert set(json.loads(capsys.readouterr().out)) == {"steel"}
