"""Variants and sweeps spelled out: what changes, what each is called, and what is refused."""

import pytest

from fem.errors import InputError
from fem.study.change import put, split_path
from fem.study.file import read_study
from fem.study.variants.expand import count_variants, expand

STUDY = """
title = "Bracket"
question = "Which way?"
[bodies.arm]
solid = "arm.step"
print = { polymer = "pla", walls = 2, infill = "solid" }
[faces]
"far end" = { plane = { normal = [1, 0, 0], at = "max" } }
near = { plane = { normal = [-1, 0, 0], at = "min" } }
[supports.wall]
face = "near"
fixed = ["x", "y", "z"]
[loads.pull]
face = "far end"
force = ["1 N", "0 N", "0 N"]
[cases]
soft = { pull = 1.0 }
"""


@pytest.fixture
def read(tmp_path):
    (tmp_path / "arm.step").write_text("not opened here")

    def reading(more):
        path = tmp_path / "arm.toml"
        path.write_text(STUDY + more)
        return read_study(path)

    return reading


def test_named_variants_change_what_they_say_and_nothing_else(read):
    study = read(
        """
[variants.as_drawn]
[variants.edge]
"bodies.arm.print.build_direction" = [1, 0, 0]
"bodies.arm.print.infill" = { pattern = "grid", density = 0.3 }
[variants.machined]
"bodies.arm.metal" = "6082-t6"
reference = true
[variants.harder]
"cases.soft.pull" = 2.0
"faces.\\"far end\\".plane.at" = "3 mm"
"""
    )
    plain, edge, machined, harder = expand(study)
    assert count_variants(study) == 4
    assert plain.study.bodies == study.bodies and plain.settings == {}
    print_ = edge.study.bodies["arm"].print
    assert (print_.build_direction, print_.walls) == ((1.0, 0.0, 0.0), 2)
    assert (print_.infill_pattern, print_.infill_density) == ("grid", 0.3)
    assert edge.settings["bodies.arm.print.build_direction"] == "[1, 0, 0]"
    assert edge.settings["bodies.arm.print.infill"] == '{ pattern = "grid", density = 0.3 }'
    assert edge.study.cases == study.cases and edge.study.variant == "edge"
    assert machined.study.bodies["arm"].print is None and machined.study.bodies["arm"].metal == "6082-t6"
    assert [v.reference for v in (plain, edge, machined, harder)] == [False, False, True, False]
    assert harder.study.cases["soft"] == {"pull": 2.0} and harder.study.faces["far end"].at == 3.0
    # the study itself is answered as it stands
    assert study.bodies["arm"].print.walls == 2 and study.cases["soft"] == {"pull": 1.0}
    assert edge.study.inputs["variant"] == "edge" and "variant" not in study.inputs


def test_a_sweep_is_the_full_product_beside_the_named_ones(read):
    study = read(
        """
[variants]
as_drawn = {}
[sweep]
"bodies.arm.print.walls" = [2, 3, 6]
"bodies.arm.print.infill" = ["solid", { pattern = "grid", density = 0.3 }]
"""
    )
    found = expand(study)
    assert count_variants(study) == len(found) == 7
    assert [v.name for v in found[:3]] == [
        "as_drawn",
        "2 walls, solid",
        "2 walls, 30 % grid",
    ]
    assert [(v.study.bodies["arm"].print.walls, v.study.bodies["arm"].print.infill_pattern) for v in found[1:]] == [
        (w, p) for w in (2, 3, 6) for p in ("solid", "grid")
    ]
    assert not any(v.error for v in found)


def test_a_word_for_a_table_makes_room_for_the_tables_keys(read):
    study = read('[sweep]\n"bodies.arm.print.infill.density" = [0.2]\n"bodies.arm.print.infill.pattern" = ["grid"]\n')
    (only,) = expand(study)
    assert (only.study.bodies["arm"].print.infill_pattern, only.study.bodies["arm"].print.infill_density) == (
        "grid",
        0.2,
    )


def test_an_invalid_variant_is_kept_with_its_reason(read):
    study = read('[sweep]\n"bodies.arm.print.walls" = [2, -1]\n"cases.soft.push" = [1.0]\n')
    two, minus = expand(study)
    assert two.study is None and 'cases.soft.push: there is no load "push". Nearest: pull.' in two.error
    assert minus.study is None and "bodies.arm.print.walls: must be at least 0, not -1." in minus.error
    both = read('[variants]\nb = { "bodies.arm.metal" = "steel", "bodies.arm.print.walls" = 3 }\n')
    assert "both print and metal are given" in expand(both)[0].error


WRONG = {
    "a misspelt key": (
        '[sweep]\n"bodies.arm.print.wals" = [1]',
        'sweep: no key has the path "bodies.arm.print.wals"',
        "Nearest: walls",
    ),
    "a misspelt name": (
        '[variants]\nv = { "bodies.amr.print.walls" = 1 }',
        "variants.v: no key has the path",
        "Nearest: arm.",
    ),
    "a misspelt table": ('[sweep]\n"body.arm.print.walls" = [1]', "at the top", "Nearest: bodies."),
    "a part of a value": (
        '[sweep]\n"bodies.arm.print.build_direction.x" = [1]',
        "no key has the path",
        "give all of it",
    ),
    "no path": ('[sweep]\n"bodies..walls" = [1]', "is no path of keys", "Write"),
    "a table without quotes": (
        "[variants]\nv = { bodies.arm.print.walls = 3 }",
        "bodies would be replaced",
        '"bodies.arm."'[:-2],
    ),
    "variants of variants": ('[sweep]\n"sweep.x" = [1]', "cannot be changed by a variant", ""),
    "a value twice": ('[sweep]\n"bodies.arm.print.walls" = [2, 3, 2]', "2 stands there twice", ""),
    "two references": (
        "[variants]\na = { reference = true }\nb = { reference = true }",
        "a and b are both marked",
        "",
    ),
    "no mark": ("[variants]\na = { reference = 1 }", "variants.a.reference: reference must be true or false", ""),
    "one name twice": (
        '[variants]\n"2 walls" = {}\n[sweep]\n"bodies.arm.print.walls" = [2]',
        'name "2 walls"',
        "Rename",
    ),
    "nothing": ("", "nothing to compare", "Add [variants] or [sweep]"),
}


@pytest.mark.parametrize("slip", WRONG)
def test_slips_get_one_line(read, slip):
    text, *words = WRONG[slip]
    with pytest.raises(InputError) as caught:
        expand(read(text))
    line = str(caught.value)
    assert all(w in line for w in words) and "arm.toml" in line and "\n" not in line, line


def test_paths_and_short_names():
    assert split_path('faces."a.b".near') == ("faces", "a.b", "near")
    assert split_path("a b.c") == () and split_path("") == ()
    tree = {"bodies": {"a": {"metal": "steel", "state": "dry"}}}
    put(tree, ("bodies", "a", "print"), {"polymer": "pla"})
    assert tree == {"bodies": {"a": {"print": {"polymer": "pla"}}}}


def test_a_million_combinations_are_counted_not_spelled_out(read, monkeypatch):
    from fem.study.variants import expand as module

    monkeypatch.setattr(module, "_made", lambda *_: pytest.fail("spelled out"))
    values = ", ".join(map(str, range(1, 101)))
    paths = ("walls", "bead.width", "bead.height")
    study = read("[sweep]\n" + "".join(f'"bodies.arm.print.{path}" = [{values}]\n' for path in paths))
    with pytest.raises(InputError, match="holds 1,000,000 variants; 20,000 can be compared"):
        expand(study)


def test_a_variant_that_the_reader_fails_on_is_kept_with_its_reason(read, monkeypatch, tmp_path):
    from fem.study.variants import expand as module

    def failing(*_, **__):
        raise ZeroDivisionError("of nothing")

    study = read('[variants]\nodd = { "bodies.arm.print.walls" = 3 }\n')
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(module, "changed", failing)
    (odd,) = expand(study)
    assert odd.study is None and "ZeroDivisionError" in odd.error
