"""`quality = { infill = 0.8 }` in a study: a block of infill alone gives by it and fails by it, in a sweep, too."""

import pytest
from helpers_cad import draw

from fem.errors import InputError
from fem.study.file import read_study
from fem.study.run import answer, prepare
from fem.study.variants.expand import expand

STUDY = """
title = "Block"
[bodies.block]
solid = "block.step"
mesh = { size = "10 mm" }
[bodies.block.print]
polymer = "pla"
walls = 0
covers = 0
infill = { pattern = "grid", density = 0.4 }
[faces]
bottom = { plane = { normal = [0, 0, -1], at = "min" } }
top = { plane = { normal = [0, 0, 1], at = "max" } }
left = { plane = { normal = [-1, 0, 0], at = "min" } }
front = { plane = { normal = [0, -1, 0], at = "min" } }
[supports.floor]
face = "bottom"
fixed = ["z"]
[supports.side]
face = "left"
fixed = ["x"]
[supports.guide]
face = "front"
fixed = ["y"]
[loads.press]
face = "top"
force = ["0 N", "0 N", "-500 N"]
[judge]
zoom = 0
"""


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("block")
    draw(folder / "block.step", lambda occ: occ.addBox(0, 0, 0, 20, 20, 20))
    (folder / "block.toml").write_text(STUDY + '[sweep]\n"bodies.block.print.quality.infill" = [1.0, 0.8]\n')
    return read_study(folder / "block.toml")


def test_a_block_of_infill_gives_and_fails_by_its_quality(study):
    sound = answer(prepare(study)).findings
    poor = answer(prepare(study.with_({"bodies.block.print.quality": {"infill": 0.8}}))).findings
    one, other = sound.cases["all"], poor.cases["all"]
    assert other.maximum_displacement_mm == pytest.approx(one.maximum_displacement_mm / 0.8, rel=1e-4)
    assert other.reserve.minimum == pytest.approx(0.8 * one.reserve.minimum, rel=1e-4)
    assert poor.bodies["block"].print.infill_quality == 0.8
    assert poor.bodies["block"].mass_g == pytest.approx(sound.bodies["block"].mass_g)
    told = [c for c in sound.cautions if c.kind == "infill_sound"]
    assert len(told) == 1 and not told[0].decisive and "measure a printed block" in told[0].text
    assert not any(c.kind == "infill_sound" for c in poor.cautions)


def test_a_sweep_names_its_qualities(study):
    names = [variant.name for variant in expand(study)]
    assert any("infill quality 80 %" in name for name in names), names
    plans = [variant.study.bodies["block"].print.plan.infill_quality for variant in expand(study)]
    assert sorted(plans)[-1] == 1.0 and 0.8 in plans


@pytest.mark.parametrize(("quality", "told"), [({"infill": 1.3}, "at most 1"), ({"walls": 0.5}, "unknown key")])
def test_what_no_print_can_be_worth_is_refused(study, quality, told):
    with pytest.raises(InputError, match=told):
        study.with_({"bodies.block.print.quality": quality})
