"""The keys of a mesh that is chosen for its accuracy."""

import re

import pytest
from helpers_cad import draw

from fem.errors import InputError
from fem.study.file import read_study
from fem.study.plans import DEFAULT_ACCURACY, MOST_UNKNOWNS

STUDY = """
title = "Two bars"
[bodies.one]
solid = "bar.step"
metal = "6082-t6"
mesh = { accuracy = "5 %", size = "4 mm", most_unknowns = 50000 }
[bodies.two]
solid = "bar.step"
metal = "6082-t6"
[faces]
back = { body = "one", plane = { normal = [-1, 0, 0], at = "min" } }
[supports.back]
face = "back"
fixed = ["x", "y", "z"]
[loads.weight]
acceleration = ["0 m/s^2", "0 m/s^2", "-9.81 m/s^2"]
"""


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bars")
    draw(folder / "bar.step", lambda occ: occ.addBox(0, 0, 0, 20, 5, 5))
    (folder / "bars.toml").write_text(STUDY)
    return read_study(folder / "bars.toml")


def test_the_tightest_accuracy_counts(study):
    assert (study.accuracy, study.most_unknowns) == (0.05, 50_000)
    assert (study.bodies["one"].size, study.bodies["two"].accuracy) == (4.0, None)
    tighter = study.with_({"bodies.two.mesh": {"accuracy": "0,5 %"}})
    assert (tighter.accuracy, tighter.most_unknowns) == (0.005, 50_000)
    plain = study.with_({"bodies.one.mesh": {"size": "4 mm"}})
    assert (plain.accuracy, plain.most_unknowns) == (None, MOST_UNKNOWNS)


def test_a_study_that_names_no_size_has_its_mesh_chosen(study):
    none = study.with_({"bodies.one.mesh": {}})
    assert [b.accuracy for b in none.bodies.values()] == [DEFAULT_ACCURACY] * 2 and none.accuracy == DEFAULT_ACCURACY
    bounded = study.with_({"bodies.one.mesh": {"finest": "1 mm", "most_unknowns": 20_000}})
    assert (bounded.accuracy, bounded.most_unknowns) == (DEFAULT_ACCURACY, 20_000)
    # One size is enough for all to stay as they are
    assert study.with_({"bodies.one.mesh": {"size": "4 mm"}}).accuracy is None


WRONG = {
    "too sharp": ({"accuracy": "0.4 %"}, 'mesh.accuracy: "0.4 %" is not between 0.5 % and 50 %.'),
    "too dull": ({"accuracy": "51 %"}, 'mesh.accuracy: "51 %" is not between 0.5 % and 50 %.'),
    "not a number": ({"accuracy": "fine"}, "mesh.accuracy: .* does not start with a number"),
    "no sign": ({"accuracy": "5"}, "mesh.accuracy: must be a number with a per cent sign, as text. Write"),
    "a share": ({"accuracy": 0.05}, "mesh.accuracy: must be a number with a per cent sign, as text. Write"),
    "another unit": ({"accuracy": "5 mm"}, "mesh.accuracy: must be a number with a per cent sign"),
    "a budget alone": ({"size": "4 mm", "most_unknowns": 50_000}, "mesh: most_unknowns stands beside a size alone."),
    "a budget of nothing": ({"accuracy": "5 %", "most_unknowns": 10}, "mesh.most_unknowns: must be at least 10000"),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_cannot_be_is_told_in_a_line(study, name):
    mesh, told = WRONG[name]
    with pytest.raises(InputError, match=re.escape(told).replace(r"\.\*", ".*")):
        study.with_({"bodies.one.mesh": mesh})
