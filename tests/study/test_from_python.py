"""A study and its answer as used from Python: exact fields at any point, names that are not there, tables."""

from __future__ import annotations

import importlib.util
import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
from helpers_cad import draw

import fem
from fem import InputError, Study, answer

ROOT = Path(__file__).parents[2]
SIZE = np.array([40.0, 6.0, 8.0])
E, NU, YIELD = 70_000.0, 0.33, 250.0  # EN 1999-1-1:2007, 3.2.5; EN 755-2: the card's own


def tables(load: dict) -> dict:
    plane = {"back": ([-1, 0, 0], "min"), "side": ([0, -1, 0], "min"), "low": ([0, 0, -1], "min")}
    faces = {name: {"plane": {"normal": n, "at": at}} for name, (n, at) in plane.items()}
    return {
        "title": "Bar <1>",
        "question": "What does it bear?",
        "bodies": {"bar": {"solid": Path("bar.step"), "mesh": {"size": "4 mm"}, "metal": "6082-t6"}},
        "faces": {**faces, "end": {"plane": {"normal": np.array([1, 0, 0]), "at": "max"}}},
        "supports": {f: {"face": f, "fixed": [a]} for f, a in (("back", "x"), ("side", "y"), ("low", "z"))},
        "loads": {"pull": {"face": "end", **load}},
        "requirements": {"reserve": 2.0},
        "judge": {"zoom": 0},
    }


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    where = tmp_path_factory.mktemp("bar")
    draw(where / "bar.step", lambda occ: occ.addBox(0, 0, 0, *SIZE))
    return where


@pytest.fixture(scope="module")
def study(folder):
    return Study.of(tables({"force": ["4800 N", "0 N", "0 N"]}), folder=folder, name="bar")


@pytest.fixture(scope="module")
def pulled(study):
    return answer(study)


def test_a_bar_in_tension_at_any_point(pulled):
    """Stress F / A = 100 MPa; u = x s / E, -nu y s / E, -nu z s / E."""
    points = np.random.default_rng(5).uniform(0, 1, (200, 3)) * SIZE
    found = pulled.case().at(points)
    exact = points * 100 / E * [1, -NU, -NU]
    assert found.displacement == pytest.approx(exact, abs=1e-8 * exact.max())
    assert found.stress == pytest.approx(np.tile([100.0, 0, 0, 0, 0, 0], (200, 1)), abs=1e-5)
    assert found.reserve == pytest.approx(YIELD / 100, rel=1e-6)
    assert set(found.body) == {"bar"}
    assert pulled.at(points)["all"].von_mises == pytest.approx(100.0, rel=1e-6)


def test_a_bent_beam_along_a_line(pulled):
    """Pure bending, s = M z / I: u = k x z, w = -k (x^2 + nu (z^2 - y^2)) / 2, v = -k nu y z, z from the middle."""
    from dataclasses import replace

    from fem.judging.scene import CaseFields
    from fem.judging.stress import recover_stress

    curvature = 1e-4
    x, y, z = (pulled.mesh.nodes - [0, 3, 4]).T
    moved = curvature * np.stack([x * z, -NU * y * z, -(x**2 + NU * (z**2 - y**2)) / 2], axis=1)
    stress = recover_stress(pulled.mesh, pulled.printed, moved).node
    reserve = YIELD / np.maximum(np.abs(stress[:, 0]), 1e-9)
    fields = CaseFields(moved, stress, stress, reserve)
    bent = replace(pulled, fields={"all": fields})
    line = bent.case("all").along((3.0, 1.0, 0.3), (31.0, 5.0, 7.9), 401)
    x, y, z = (line.points - [0, 3, 4]).T
    exact = curvature * np.stack([x * z, -NU * y * z, -(x**2 + NU * (z**2 - y**2)) / 2], axis=1)
    assert line.displacement == pytest.approx(exact, abs=1e-9 * np.abs(exact).max())
    assert line.stress[:, 0] == pytest.approx(E * curvature * z, abs=1e-6 * E * curvature * 4)
    assert np.abs(np.diff(line.stress[:, 0])).max() < 1.01 * E * curvature * 7.6 / 400  # no jump from edge to edge
    assert line.distance[-1] == pytest.approx(np.sqrt(28**2 + 4**2 + 7.6**2))


def test_points_outside_are_refused_or_told(pulled):
    points = [[1.0, 1, 1], [41.0, 1, 1], [1.0, 1, -2]]
    with pytest.raises(InputError, match=r"2 of 3 points lie outside the part, the first at \(41, 1, 1\) mm"):
        pulled.at(points)
    found = pulled.case().at(points, outside="nan")
    assert found.inside.tolist() == [True, False, False]
    assert np.isnan(found.reserve).tolist() == [False, True, True]
    for wrong in ([[1.0, 2]], [[np.nan, 0, 0]], "abc"):
        with pytest.raises(InputError, match="three finite numbers"):
            pulled.at(wrong)


def test_what_is_not_there_is_told_with_what_is(pulled):
    with pytest.raises(InputError, match=r"no case 'al'. Nearest: all"):
        pulled.case("al")
    with pytest.raises(InputError, match=r"no zone 'wall'. Known: metal"):
        pulled.case().zone("wall")
    with pytest.raises(InputError, match="no quantity 'stres'"):
        pulled.picture("stres")
    assert pulled.case().zone("metal").stress()[:, 0] == pytest.approx(100, rel=1e-6)


def test_a_study_without_a_file_is_one_of_a_file(study, folder):
    path = folder / "written.toml"
    path.write_text(study.text, encoding="utf-8")
    again = Study.read(path)
    assert tomllib.loads(study.text) == again.tree == study.tree
    assert again.bodies == study.bodies and again.loads == study.loads
    assert study.with_({"loads.pull.force": ["1 N", "0 N", "0 N"]}).loads["pull"] != study.loads["pull"]


def test_all_that_is_wrong_with_tables_is_told_at_once(folder):
    wrong = tables({"force": [1, 0, 0]}) | {"titel": "x"}
    with pytest.raises(InputError) as told:
        Study.of(wrong, folder=folder)
    assert "titel: unknown key" in str(told.value) and "loads.pull.force" in str(told.value)


def test_tables_for_a_notebook(study, pulled):
    assert "Bar &lt;1&gt;" in study._repr_html_() and "<1>" not in pulled._repr_html_()
    assert "2.49" in pulled._repr_html_() and "met" in pulled._repr_html_()


def test_a_picture_shows_the_bar(pulled):
    picture = pulled.picture("displacement")
    assert picture.size == (1600, 1200)
    assert len(picture.getcolors(2_000_000)) > 100


def test_the_page_is_up_to_date():
    script = ROOT / "studies" / "write_python_reference.py"
    spec = importlib.util.spec_from_file_location("write_python_reference", script)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    page = module.PAGE.read_text(encoding="utf-8")
    assert page == module.python_page()
    assert all(f"### `{name}`" in page for name in fem.__all__)


@pytest.mark.parametrize("path", sorted((ROOT / "notebooks").glob("*.ipynb")), ids=lambda path: path.stem)
def test_notebooks_use_the_front_page_alone(path):
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    lines = [line.strip() for c in cells if c["cell_type"] == "code" for line in "".join(c["source"]).splitlines()]
    own = [line for line in lines if line.startswith(("from fem", "import fem"))]
    assert own and all(line.startswith("from fem import ") for line in own)
