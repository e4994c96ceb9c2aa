"""A new kind of load or support is a module and its line in a table: a made-up one goes all the way in a run."""

import json
import re
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import pytest
from helpers_cad import draw

from fem.loading import values
from fem.loading.kinds import LOAD_KINDS, SUPPORT_KINDS
from fem.study.keys import values as checked

SCRIPT = Path(__file__).parent / "made_up_kinds.py"
ROOT = Path(values.__file__).parents[2]
STUDY = """
title = "Bar on a rope"
[bodies.bar]
solid = "bar.step"
metal = "6082-t6"
mesh = { size = "10 mm" }
[faces]
near = { plane = { normal = [-1, 0, 0], at = "min" } }
far = { plane = { normal = [1, 0, 0], at = "max" } }
[supports.back]
face = "near"
wall = "none"
[loads.rope]
face = "far"
tow = { force = "1.5 kN", off = "far" }
[watch]
faces = ["far"]
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    where = tmp_path_factory.mktemp("rope")
    draw(where / "bar.step", lambda occ: occ.addBox(0, 0, 0, 100, 10, 10))
    return where


def run(folder: Path, *changes: tuple[str, str], more: tuple[str, ...] = ()) -> dict:
    text = STUDY
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "rope.toml").write_text(text, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(SCRIPT), str(folder / "rope.toml"), *more],
        capture_output=True,
        text=True,
        check=True,
        timeout=240,
    )
    return json.loads(done.stdout.splitlines()[-1])


def test_a_made_up_load_and_support_are_read_solved_and_told(folder):
    found = run(folder)
    rope = found["loads"]["rope"]
    assert (rope["kind"], rope["permanent"], rope["rope_N"]) == ("tow", True, 1500.0)
    assert rope["force_N"] == pytest.approx([1500, 0, 0], rel=1e-9)
    assert found["supports"] == {"back": {"face": "near", "free": "none"}}
    assert found["reaction_N"] == pytest.approx([-1500, 0, 0], abs=1e-3)
    # F L / (E A), E = 70 GPa; the clamped end shortens it by less than 1 % at a slenderness of ten
    assert found["mean_mm"][0] == pytest.approx(1500 * 100 / (70_000 * 100), rel=0.01)
    keys = " ".join(found["told"])
    assert all(key in keys for key in ("`tow`", "`tow.force`", "`tow.towards`", "`wall`"))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('force = "1.5 kN"', 'force = "1.5 mm"', "loads.rope.tow.force"),
        ('off = "far"', 'off = "fra"', 'there is no face "fra"'),
        ('off = "far"', 'off = "far", towards = [0, 0, 1]', "a rope pulls along the floor. Leave z at 0."),
        ('face = "far"\ntow', "tow", "tow needs a face to act on."),
        ("tow = {", 'force = ["1 N", "0 N", "0 N"]\ntow = {', "both force and tow are given."),
        ('wall = "none"', 'wall = "none"\nfixed = "normal"', "both fixed and wall are given."),
    ],
)
def test_what_is_wrong_with_it_is_told(folder, old, new, words):
    assert words in run(folder, (old, new))["wrong"]


def test_without_its_line_in_the_table_it_is_unknown(folder):
    assert "unknown key" in run(folder, more=("unregistered",))["wrong"]


def test_each_kind_is_its_own_module_and_named_in_one_place():
    for kind in [*LOAD_KINDS.values(), *SUPPORT_KINDS.values()]:
        assert sys.modules[kind.noun.__module__].KIND is kind
        assert kind.says.endswith(".") and kind.examples
    # No other module of the program names a kind's noun, but for the caution on a card's temperature
    allowed = {("TemperatureChangeKeys", "remarks")}
    for kind in [*LOAD_KINDS.values(), *SUPPORT_KINDS.values()]:
        home = Path(sys.modules[kind.noun.__module__].__file__)
        for path in sorted((ROOT / "fem").rglob("*.py")):
            if path != home and (kind.noun.__name__, path.stem) not in allowed:
                assert not re.search(rf"\b{kind.noun.__name__}\b", path.read_text(encoding="utf-8")), path


def test_every_value_of_a_noun_has_its_check():
    names = [name for name in vars(values) if name[0].isupper() and name != "Vector"]
    assert len(names) > 15
    assert [name for name in names if not hasattr(checked, name)] == []
    assert all(fields(kind.noun) for kind in LOAD_KINDS.values())
