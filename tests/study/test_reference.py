"""The reference page: no key is left out, every example can be read and solved, the page is up to date."""

from __future__ import annotations

import copy
import shutil
import tomllib
from pathlib import Path

import pytest
from helpers_cad import draw

from fem.loading.kinds import LOAD_KINDS
from fem.study.file import study_of
from fem.study.keys import StudyForm
from fem.study.keys.supports import SupportForm
from fem.study.keys.values import Form
from fem.study.reference import Key, reference_page, sections
from fem.study.run import answer, prepare

ROOT = Path(__file__).parents[2]
BASE = ROOT / "studies" / "cantilever_bracket.toml"
FOUND = list(sections())
KEYS = [key for _, top, keys in FOUND for key in ([top] if top else []) + keys]
EXAMPLES = [(key, n) for key in KEYS for n in range(len(key.examples))]


def undescribed(form: type[Form]) -> list[str]:
    """Keys of a form and of those inside it that no full sentence describes, by pydantic's own listing of them."""
    schema = form.model_json_schema()
    tables = {"": schema, **schema.get("$defs", {})}
    return [
        f"{table}.{key}"
        for table, facts in tables.items()
        for key, told in facts.get("properties", {}).items()
        if not told.get("description", "").endswith(".")
    ]


def with_example(text: str, folder: Path):
    """The bracket's study with an example added, and the files that it names beside it."""
    tree = tomllib.loads(BASE.read_text(encoding="utf-8"))
    _add(tree, tomllib.loads(text))
    return study_of(tree, file=folder / "studies" / "bracket.toml", text="")


def _add(tree: dict, more: dict) -> None:
    for key, value in more.items():
        if isinstance(value, dict) and isinstance(tree.get(key), dict):
            _add(tree[key], value)
        else:
            tree[key] = copy.deepcopy(value)
    for body in tree.get("bodies", {}).values():
        if "metal" in body or "laminate" in body:
            body.pop("print", None)


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    where = tmp_path_factory.mktemp("reference")
    (where / "studies").mkdir()
    (where / "meshes").mkdir()
    for suffix in ("step", "stl"):
        shutil.copy(ROOT / "meshes" / f"cantilever_bracket.{suffix}", where / "meshes")
    curve = "\n".join(f"{0.1 * k:.1f};{0.01 * k:.2f};0" for k in range(12))
    (where / "studies" / "pull.csv").write_text(f"force [N];dial gauge [mm];time [s]\n{curve}\n")
    draw(
        where / "studies" / "case.step",
        lambda occ: (occ.addBox(0, 0, 0, 40, 20, 10), occ.addBox(0, 0, 10, 40, 20, 4)),
    )
    return where


def test_every_key_is_described() -> None:
    assert undescribed(StudyForm) == []

    class Careless(StudyForm):
        more: int = 3

    assert undescribed(Careless) == [".more"]


def test_the_page_holds_every_key_once_a_table() -> None:
    schema = StudyForm.model_json_schema()
    page = reference_page()
    for table in schema["properties"]:
        assert f"## [{table}" in page or f"| `{table}` |" in page
    for facts in schema["$defs"].values():
        ends = [[k.path.split(".")[-1] for k in keys] for _, _, keys in FOUND]
        for key in facts["properties"]:
            assert any(key in names for names in ends), key
    for _, _, keys in FOUND:
        paths = [key.path for key in keys]
        assert len(paths) == len(set(paths))


def test_defaults_and_ranges_are_the_forms_own() -> None:
    by_path = {(heading, key.path): key for heading, _, keys in FOUND for key in keys}
    width = by_path["[bodies.NAME]", "print.bead.width"]
    assert (width.value, width.default) == ("a length above 0", '`"0.45 mm"`')
    fraction = by_path["[loads.NAME]", "wing.weight_fraction"]
    assert (fraction.value, fraction.default) == ("a number, above 0 and at most 1", "needed")
    assert by_path["[loads.NAME]", "pressure"].value == "a pressure or a table"
    assert by_path["[loads.NAME]", "acceleration"].value == "three accelerations"
    assert by_path["[requirements]", "rotation"].value == "angles above 0 by name"
    assert by_path["[supports.NAME]", "foundation.normal"].value == "a foundation stiffness, at least 0"


def test_every_load_and_support_has_an_example() -> None:
    examples = {heading: {key.path: key.examples for key in keys} for heading, _, keys in FOUND}
    for kind in [*LOAD_KINDS, "spot", "permanent"]:
        assert examples["[loads.NAME]"][kind], kind
    assert len(examples["[loads.NAME]"]["pressure"]) == 2
    for way in [k for k in SupportForm.model_fields if k != "face"]:
        assert examples["[supports.NAME]"][way], way
    assert "push_only = true" in examples["[supports.NAME]"]["foundation.push_only"][0]


@pytest.mark.parametrize(("key", "number"), EXAMPLES, ids=[f"{k.path}-{n}" for k, n in EXAMPLES])
def test_every_example_can_be_read(key: Key, number: int, folder: Path) -> None:
    text = key.examples[number]
    assert key.path.split(".")[-1] in text
    with_example(text, folder)


def test_the_examples_of_faces_supports_and_loads_are_solved_together(folder: Path) -> None:
    there = [
        text
        for heading, _, keys in FOUND
        if heading in ("[faces.NAME]", "[supports.NAME]", "[loads.NAME]")
        for key in keys
        for text in key.examples
        if "the bracket has none" not in text
    ]
    tree: dict = {"bodies": {"bracket": {"metal": "6082-t6", "mesh": {"size": "15 mm", "finest": "2 mm"}}}}
    for text in there:
        _add(tree, tomllib.loads(text))
    loads = [load for load in tree["loads"] if load != "settle"]  # that one also moves the face that the others push
    tree["cases"] = {"service": {"hang": 1.0}, "all": dict.fromkeys(loads, 1.0), "settle": {"settle": 1.0}}
    base = tomllib.loads(BASE.read_text(encoding="utf-8"))
    _add(base, tree)
    del base["cases"]["overload"]
    made = prepare(study_of(base, file=folder / "studies" / "bracket.toml", text=""))
    assert set(made.loads) == {"hang", "settle", *loads}
    assert set(made.groups) >= {"end", "holes", "one_hole", "some", "tip", "patch"}
    assert made.groups["patch"].area == pytest.approx(12 * 10, rel=1e-6)
    cases = answer(made).findings.cases
    assert all(case.force_error < 1e-6 for case in cases.values())


@pytest.mark.parametrize("text", ["part = 2", "fused = true"])
def test_the_examples_of_a_file_with_two_solids_are_meshed(text: str, folder: Path) -> None:
    (example,) = [t for key in KEYS for t in key.examples if text in t and "joints" not in t]
    study = with_example(example, folder)
    tree = {**study.tree, "faces": {f: {"plane": {"normal": [0, 0, 1], "at": "max"}} for f in study.tree["faces"]}}
    tree["supports"] = {"rest": {"face": "back", "fixed": "normal"}}
    tree["bodies"]["bracket"]["mesh"] = {"size": "10 mm"}
    made = prepare(study_of(tree, file=study.path, text=""))
    assert made.solids["bracket"].volume == pytest.approx(3200 if "part" in text else 11200, rel=1e-9)


def test_the_page_is_what_the_script_writes() -> None:
    written = (ROOT / "studies" / "REFERENCE.md").read_text(encoding="utf-8")
    assert written == reference_page(), "run python studies/write_reference.py"
