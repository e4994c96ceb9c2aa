"""What counts for the fingerprint of a study and what does not; how a study is changed with its provenance."""

from __future__ import annotations

import pickle
import shutil
import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "variants"))

import bars

from fem.errors import InputError
from fem.printing import polymer
from fem.study import fingerprint as fingerprint_module
from fem.study.clock import Clock
from fem.study.file import read_study
from fem.study.fingerprint import fingerprint, fingerprint_of_all, mesh_key
from fem.study.run import prepare
from fem.study.shared_mesh import make_shared_mesh
from fem.study.variants.expand import expand

OWN = bars.PULLED.replace('"./even.toml"', '"./even"')


@pytest.fixture
def own(tmp_path):
    """A folder with a solid that nobody opens, and a card of one's own whose name has no suffix."""
    (tmp_path / "bar.step").write_text("ISO-10303-21; ENDSEC;")
    (tmp_path / "even").write_text(bars.CARD)
    return tmp_path


def mark(folder, text=OWN, name="bar.toml"):
    return fingerprint(read_study(bars.study(folder, text, name)))


def change(path, old, new):
    text = path.read_text()
    assert text.count(old) >= 1
    path.write_text(text.replace(old, new, 1))


COUNTS = {
    "a load": lambda own: OWN.replace("-4 MPa", "-4.000001 MPa"),
    "a name": lambda own: OWN.replace("[supports.left]", "[supports.side]"),
    "the solver": lambda own: 'solver = "direct"\n' + OWN,
    "a default that is named otherwise": lambda own: OWN.replace("angle = 0", "angle = 1"),
    "a watched face": lambda own: OWN.replace("reserve = 2.0", 'rotation = { head = "1 deg" }'),
    "a value set over the card": lambda own: OWN.replace("walls = 2", 'walls = 2\ncard = { density = "2 g/cm^3" }'),
    "the price": lambda own: OWN.replace("walls = 2", "walls = 2\nprice_per_kg = 30"),
    "the own card": lambda own: change(own / "even", "1.2 g", "1.3 g") or OWN,
    "the solid": lambda own: change(own / "bar.step", "ENDSEC;", "ENDSEC; ") or OWN,
    "what reads the solid": lambda own: (
        (own / "bar.step").rename(own / "bar.stl") and OWN.replace("bar.step", "bar.stl")
    ),
}


@pytest.mark.parametrize("what", COUNTS)
def test_what_may_change_a_number_counts(own, what):
    before = mark(own)
    assert before == mark(own)
    assert mark(own, COUNTS[what](own)) != before


def elsewhere(own):
    (own / "in" / "there").mkdir(parents=True)
    (own / "bar.step").rename(own / "in" / "other.STEP")
    (own / "even").rename(own / "in" / "there" / "mine.toml")
    return OWN.replace("bar.step", "in/other.STEP").replace("./even", "in/there/mine.toml")


COUNTS_NOT = {
    "title and question": lambda own: OWN.replace("How many", "Why").replace('"Bar"', '"Rod"'),
    "currency": lambda own: 'currency = "CHF"\n' + OWN,
    "requirements": lambda own: OWN.replace("reserve = 2.0", 'reserve = 3.0\nmass = "1 g"'),
    "remarks and other units": lambda own: OWN.replace('"-4 MPa"', '"-4e6 Pa" # as before'),
    "variants": lambda own: OWN + "[variants]\nplain = {}\n",
    "names and places of files": elsewhere,
}


@pytest.mark.parametrize("what", COUNTS_NOT)
def test_words_and_places_do_not_count(own, what):
    before = mark(own)
    assert mark(own, COUNTS_NOT[what](own), "other.toml") == before


@pytest.mark.parametrize("name", ["program_version", "METHOD", "ALGORITHM", *fingerprint_module.NUMERIC])
def test_what_computes_counts(own, monkeypatch, name):
    before = mark(own)
    if name in fingerprint_module.NUMERIC:
        real = fingerprint_module.version_of
        monkeypatch.setattr(fingerprint_module, "version_of", lambda p: "0.0" if p == name else real(p))
    else:
        monkeypatch.setattr(fingerprint_module, name, (lambda: "99") if name == "program_version" else 99)
    assert mark(own) != before


def test_a_card_of_the_program_counts_by_its_content(own, monkeypatch):
    text = OWN.replace("./even", "pla")
    before = mark(own, text)
    shutil.copytree(polymer.CARDS, own / "cards")
    monkeypatch.setattr(polymer, "CARDS", own / "cards")
    assert mark(own, text) == before
    change(own / "cards" / "pla.toml", "density", "density ")
    assert mark(own, text) != before


def test_a_card_counts_with_the_one_that_it_is_made_from(own):
    (own / "even").rename(own / "base")
    (own / "even").write_text('name = "mine"\nfrom = "./base"\n')
    before = mark(own)
    change(own / "base", "1.2 g", "1.3 g")
    assert mark(own) != before


def test_the_bytes_are_those_of_the_reading(own):
    study = read_study(bars.study(own, OWN))
    before, sent = fingerprint(study), pickle.dumps(study)
    change(own / "even", "1.2 g", "1.3 g")
    change(own / "bar.step", "ENDSEC;", "ENDSEC; ")
    assert fingerprint(study) == fingerprint(pickle.loads(sent)) == before != mark(own)


def test_a_comparison_counts_all_of_its_variants_and_words(own):
    (own / "other.step").write_text("another")
    text = OWN + '[variants]\nplain = {}\nother = { "bodies.bar.solid" = "other.step" }\nnone = { "solver" = "x" }\n'

    def whole(text=text):
        study = read_study(bars.study(own, text))
        return fingerprint_of_all(study, {v.name: v.study for v in expand(study)})

    before = whole()
    assert whole() == before
    assert whole(text.replace("How many", "Why")) != before
    assert whole(text.replace("plain", "bare")) != before
    (own / "other.step").write_text("another one")
    assert whole() != before


# ---- a study is changed with its provenance


def test_a_study_is_changed_with_its_provenance(own):
    study = read_study(bars.study(own, OWN))
    changed = study.with_({"bodies.bar.print.walls": 3, "loads.pull.pressure": "-5 MPa"})
    assert changed.bodies["bar"].print.walls == 3 and changed.loads["pull"].what.pressure == -5.0
    assert changed.inputs["changes"] == {"bodies.bar.print.walls": "3", "loads.pull.pressure": "-5 MPa"}
    assert (changed.text, changed.sha256) == (study.text, study.sha256)
    by_hand = OWN.replace("walls = 2", "walls = 3").replace("-4 MPa", "-5 MPa")
    assert fingerprint(changed) == mark(own, by_hand, "hand.toml") != fingerprint(study)
    twice = changed.with_({'bodies."bar".print.walls': 2, "loads.pull.pressure": "-4 MPa"})
    assert fingerprint(twice) == fingerprint(study) and twice.inputs["changes"]["bodies.bar.print.walls"] == "2"
    assert study.bodies["bar"].print.walls == 2 and "changes" not in study.inputs


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"bodies.bar.print.wals": 3}, "Nearest: walls"),
        ({"bodies.bar.print.walls": -1}, "walls: must be at least 0"),
        ({"bodies.bar.print.walls": "3"}, "must be a whole number"),
        ({"bodies.rod.print.walls": 3}, "Known: bar"),
        ({"variants": {}}, "cannot be changed"),
        ({"loads.pull.pressure": "4 mm"}, "pressure"),
        ({"supports.left.face": "lft"}, "Nearest: left"),
    ],
)
def test_a_wrong_change_is_one_line(own, changes, told):
    with pytest.raises(InputError, match=told):
        read_study(bars.study(own, OWN)).with_(changes)


def test_a_replaced_study_has_no_text_that_could_lie(own):
    study = read_study(bars.study(own, OWN))
    other = replace(study, cases={"pulled": {"pull": 2.0}})
    assert (other.text, other.sha256, dict(other.tree), dict(other.changes)) == ("", "", {}, {})
    assert "no file holds it" in other.inputs["study"] and fingerprint(other) != fingerprint(study)
    for lie in ({"text": study.text}, {"sha256": study.sha256}, {"tree": {}}, {"solid_sha256": {}}, {"changes": {}}):
        with pytest.raises((TypeError, ValueError)):
            replace(study, **lie)
    with pytest.raises(InputError, match="changed by a script"):
        other.with_({"bodies.bar.print.walls": 3})
    (own / "new.step").write_text("new")
    moved = replace(study, bodies={"bar": replace(study.bodies["bar"], solid=own / "new.step")})
    assert moved.solid_sha256 != study.solid_sha256 and mesh_key(moved) != mesh_key(study)


def test_a_ground_serves_only_studies_of_its_key(tmp_path):
    study = read_study(bars.study(bars.put_into(tmp_path), bars.PULLED))
    shared_mesh = make_shared_mesh(study, clock=Clock(None))
    assert prepare(study.with_({"bodies.bar.print.walls": 0}), shared_mesh=shared_mesh).shared_mesh is shared_mesh
    assert pickle.loads(pickle.dumps(shared_mesh)).key == shared_mesh.key
    for other in (study.with_({"bodies.bar.mesh.size": "5 mm"}), study.with_({"bodies.bar.mesh.finest": "2 mm"})):
        with pytest.raises(InputError, match="the shared mesh is of other solids, or meshed otherwise"):
            prepare(other, shared_mesh=shared_mesh)
    coarse = {"bar": (6.0, 3.0)}
    rough = make_shared_mesh(study, clock=Clock(None), sizes=coarse)
    assert len(rough.mesh.tets) < len(shared_mesh.mesh.tets)
    assert prepare(study, shared_mesh=rough, sizes=coarse).shared_mesh is rough
    with pytest.raises(InputError, match="meshed otherwise"):
        prepare(study, shared_mesh=rough)
    change(tmp_path / "bar.step", "ENDSEC;", "ENDSEC; ")
    with pytest.raises(InputError, match="of other solids"):
        prepare(read_study(study.path), shared_mesh=shared_mesh)
