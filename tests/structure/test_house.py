"""The house holds its own rules; a wrong sample beside each check shows that the check can fail."""

from __future__ import annotations

import sys
import tomllib
import types
from pathlib import Path

import pytest

import fem
from fem.errors import CardError

sys.path.insert(0, str(Path(__file__).parent))

import house

ROOT = Path(fem.__file__).parent
PROJECT = Path(__file__).parents[2]
SOURCES = house.sources_of(ROOT)
NOT_AT_START = {"numba", "gmsh", "pyvista", "vtk", "vtkmodules", "scipy", "skfem", "pydantic", "pyamg"}
CARDS = sorted((ROOT / "cards").glob("*.toml"))


def test_the_sources_are_found():
    assert {"fem", "fem.errors", "fem.part.solid", "fem.study.run"} <= set(SOURCES)


RULES = [
    house.unknown_rooms,
    house.upward_imports,
    house.wrong_doors,
    house.early_imports,
    house.long_modules,
]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_rule_is_kept(rule):
    assert rule(SOURCES) == []


WRONG = [
    (house.unknown_rooms, "fem.attic.box", "x = 1"),
    (house.upward_imports, "fem.part.solid", "from fem.solving.space import element"),
    (house.upward_imports, "fem.part.solid", "def f():\n    import fem.study.run"),
    (house.upward_imports, "fem.part.solid", "def f():\n    from fem import telling"),
    (house.upward_imports, "fem.part.solid", "from fem import run_study"),
    (house.upward_imports, "fem.part.solid", "from ..judging import stress"),
    (house.upward_imports, "fem.part.solid", "import importlib\nx = importlib.import_module('fem.cli')"),
    (house.upward_imports, "fem.errors", "from fem.units import quantity"),
    (house.wrong_doors, "fem.solving.space", "def f():\n    import gmsh"),
    (house.wrong_doors, "fem.study.run", "def f():\n    import trimesh.repair"),
    (house.wrong_doors, "fem.judging.stress", "def f():\n    from skfem import Basis"),
    (house.wrong_doors, "fem.part.faces", "def f():\n    import pyvista as pv"),
    (house.wrong_doors, "fem.study.run", "def f():\n    from jinja2 import Environment"),
    (house.wrong_doors, "fem.study.review", "def f():\n    import typst"),
    (house.wrong_doors, "fem.solving.space", "def f():\n    import meshio"),
    (house.wrong_doors, "fem.unitsystem", "def f():\n    import pint"),
    (house.wrong_doors, "fem.printing.polymer", "def f():\n    from pydantic import BaseModel"),
    (house.early_imports, "fem.solving.stiffness", "import numba"),
    (house.early_imports, "fem.part.cad", "if True:\n    import gmsh"),
    (house.early_imports, "fem.part.cad", "class A:\n    from scipy.sparse import coo_matrix"),
    (house.early_imports, "fem.study.file", "from fem.study.keys import StudyForm"),
    (house.early_imports, "fem.study.file", "from fem.study import keys"),
    (house.long_modules, "fem.part.cad", "x = 1\n" * 401),
]


@pytest.mark.parametrize(("rule", "module", "source"), WRONG, ids=lambda v: getattr(v, "__name__", None))
def test_a_wrong_sample_is_found(rule, module, source):
    assert len(rule({module: source})) == 1


RIGHT = [
    (house.upward_imports, "fem.solving.space", "from fem.part.tetmesh import TetMesh\nimport numpy"),
    (house.upward_imports, "fem.solving.space", "from .linear import solve\nfrom ..errors import InputError"),
    (house.wrong_doors, "fem.telling.files", "def f():\n    import meshio, vtk"),
    (house.wrong_doors, "fem.units", "def f():\n    import pint"),
    (house.early_imports, "fem.part.cad", "def f():\n    import gmsh"),
    (
        house.early_imports,
        "fem.study.file",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from fem.study.keys import StudyForm",
    ),
    (house.long_modules, "fem.part.cad", "x = 1\n" * 400),
]


@pytest.mark.parametrize(("rule", "module", "source"), RIGHT, ids=lambda v: getattr(v, "__name__", None))
def test_a_right_sample_passes(rule, module, source):
    assert rule({module: source}) == []


def test_every_public_name_is_there():
    assert len(fem.__all__) > 10
    assert house.missing_names(fem) == []


def test_a_missing_public_name_is_found():
    hollow = types.ModuleType("hollow")
    hollow.__all__ = ["answer"]
    assert house.missing_names(hollow) == ["answer: is not there", "answer: is not shown by dir()"]


START = {
    "import fem": "import fem",
    "from fem import read_study": "from fem import read_study, load_card, quantity",
    "beadwork --help": "import sys; sys.argv = ['beadwork', '--help']; from fem.cli import main; sys.exit(main())",
}


@pytest.mark.parametrize("code", START.values(), ids=START.keys())
def test_the_start_loads_nothing_heavy(code):
    loaded = house.loaded_by(code)
    assert "fem" in loaded
    assert loaded & NOT_AT_START == set()


def test_a_heavy_start_is_found():
    assert "scipy" in house.loaded_by("import fem, scipy.sparse") & NOT_AT_START


def test_all_cards_load():
    names = {card.name for card in fem.all_cards()}
    assert names == {path.stem for path in CARDS}
    assert len(names) >= 11


@pytest.mark.parametrize("path", CARDS, ids=lambda path: path.stem)
def test_every_value_of_a_card_has_a_source(path):
    assert house.values_without_source(tomllib.loads(path.read_text(encoding="utf-8"))) == []


def test_a_value_without_source_is_found(tmp_path):
    text = (ROOT / "cards" / "pla.toml").read_text(encoding="utf-8")
    lines = text.splitlines()
    bare = [line for k, line in enumerate(lines) if not (line.startswith("E =") and "[dry.source]" in lines[:k])]
    assert len(bare) == len(lines) - 1
    path = tmp_path / "bare.toml"
    path.write_text("\n".join(bare), encoding="utf-8")
    assert house.values_without_source(tomllib.loads("\n".join(bare))) == ["pla.dry.E: has no source"]
    assert house.values_without_source({"name": "x", "density": "1 g/cm^3"}) == ["x.top.density: has no source"]
    with pytest.raises(CardError, match='"E" has no source'):
        fem.load_card(path)


def _package_data() -> list[str]:
    table = tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))
    return table["tool"]["setuptools"]["package-data"]["fem"]


def test_an_installed_copy_lacks_nothing():
    assert house.unpacked_files(ROOT, _package_data()) == []


def test_a_file_left_behind_is_found(tmp_path):
    for name in (
        "__init__.py",
        "cards/a.toml",
        "telling/__init__.py",
        "telling/templates/deep/page.html",
        "loft/b.py",
    ):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("")
    assert house.unpacked_files(tmp_path, ["cards/*.toml", "telling/templates/*"]) == [
        "loft/b.py: its folder loft has no __init__.py",
        "telling/templates/deep/page.html: no entry of package-data names it",
    ]
    assert len(house.unpacked_files(tmp_path, [])) == 3


NOUNS = {
    *("Study", "Body", "Face", "Load", "Support", "Case", "Card", "Print plan", "Zone", "Bead", "Cell", "Field"),
    *("Displacement", "Stress", "Reserve", "Hot spot", "Zoom", "Band", "Findings", "Scene", "Variant", "Direction"),
    *("Page", "Block"),
}


def test_every_noun_is_where_the_glossary_says():
    page = (PROJECT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert house.nouns_astray(page, ROOT) == []
    assert [noun for noun in NOUNS if f"\n| {noun} | " not in page] == []


@pytest.mark.parametrize(
    "row", ["| Face | x | `Visage` in `part/solid.py` |", "| Face | x | `Face` in `part/sold.py` |", "no table"]
)
def test_a_noun_astray_is_found(row):
    assert len(house.nouns_astray(row, ROOT)) == 1


def test_the_drawing_names_what_is_there():
    page = (PROJECT / "DEVELOPERS.md").read_text(encoding="utf-8")
    drawing = page[page.index("```\nstudy file") : page.index("beadwork orient:")]
    shown = (
        "read_study",
        "prepare",
        "body_print",
        "make_shared_mesh",
        "solve_as_asked",
        "solve_cases_of",
        "solve_units",
    )
    shown += ("answer_case", "ask_beads", "with_chances", "findings_of", "tell")
    for verb in shown:
        assert verb in drawing and any(f"\ndef {verb}(" in source for source in SOURCES.values()), verb
